"""MicroPython's prompt and its raw mode, as a board's port speaks them.

Read in shared/runtime/pyexec.c: what each control character does, the raw mode's answers, and the window of a raw
paste. The friendly prompt here echoes, and calls whatever is typed a mistake.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

RAW, FRIENDLY, INTERRUPT, END, PASTE = 1, 2, 3, 4, 5  # Ctrl-A to Ctrl-E
RAW_BANNER = b"raw REPL; CTRL-B to exit\r\n>"
BANNER = b'MicroPython v1.28.0; Raspberry Pi Pico with RP2040\r\nType "help()" for more information.\r\n>>> '
WINDOW = 128  # half of the buffer of standard input


class RestartedError(Exception):
    """Ctrl-D: the interpreter starts anew."""


class Prompt:
    """read: the next byte, however long it takes. tell: sends bytes. run: runs a program; its error's text, or b""."""

    def __init__(
        self, read: Callable[[], int], tell: Callable[[bytes], None], run: Callable[[bytes], bytes], *, raw: bool
    ) -> None:
        self._read, self._tell, self._run = read, tell, run
        self.raw = raw

    def serve(self) -> None:
        """Serve the port until it is told to restart. Raises RestartedError."""
        while True:
            if self.raw:
                self._serve_raw()
            else:
                self._serve_friendly()

    def _serve_friendly(self) -> None:
        self._tell(BANNER)
        typed = 0
        while True:
            byte = self._read()
            if byte == RAW:
                self.raw = True
                return
            if byte == FRIENDLY:
                return
            if byte == END and not typed:
                raise RestartedError
            if byte == INTERRUPT:
                self._tell(b"\r\n>>> ")
                typed = 0
            elif byte == ord("\r"):
                self._tell(b"\r\nSyntaxError: invalid syntax\r\n>>> " if typed else b"\r\n>>> ")
                typed = 0
            elif byte >= ord(" "):
                typed += 1
                self._tell(bytes((byte,)))

    def _serve_raw(self) -> None:
        self._tell(RAW_BANNER)
        line = bytearray()
        while True:
            byte = self._read()
            if byte == RAW:
                if line[:1] == bytes((PASTE,)) and len(line) == 2:
                    self._answer(self._paste())
                else:
                    self._tell(RAW_BANNER)
                line.clear()
            elif byte == FRIENDLY:
                self._tell(b"\r\n")
                self.raw = False
                return
            elif byte == INTERRUPT:
                line.clear()
            elif byte == END:
                if not line:
                    self._tell(b"\r\n")
                    raise RestartedError
                self._tell(b"OK")
                self._answer(bytes(line))
                line.clear()
            else:
                line.append(byte)

    def _paste(self) -> bytes:
        self._tell(b"R\x01" + bytes((WINDOW, 0, 1)))
        taken = bytearray()
        left = WINDOW
        while True:
            byte = self._read()
            if byte == END:
                self._tell(b"\x04")
                return bytes(taken)
            taken.append(byte)
            left -= 1
            if not left:
                self._tell(b"\x01")
                left = WINDOW

    def _answer(self, program: bytes) -> None:
        mistake = self._run(program)
        self._tell(b"\x04" + mistake + b"\x04>")

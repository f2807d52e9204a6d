"""The port of a simulated board on which no program runs: the interpreter's own prompt has it."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from boards.desktop import SocketPort, TerminalPort

_PROMPT = b">>> "
_RESTART = 4  # Ctrl-D, which restarts the interpreter
_INTERRUPT = 3  # Ctrl-C, with nothing to interrupt
_LINE_ENDS = (10, 13)
_MOST_WAITING = 4096  # bytes that nobody has read; what comes on top is lost


class FreePrompt:
    """Says a line, then echoes what is typed and calls it a mistake, as the real one does with what is no Python."""

    def __init__(self, port: "TerminalPort | SocketPort", line: str) -> None:
        self._port = port
        self._room = bytearray(128)
        self._typed = 0
        self._out = line.encode() + b"\r\n" + _PROMPT

    def restarts(self) -> bool:
        """Serve the port once. Whether it was told to restart."""
        if self._out:
            self._out = self._out[self._port.write(self._out) :]
        for byte in self._room[: self._port.receive(self._room)]:
            if byte == _RESTART:
                return True
            self._take(byte)
        return False

    def _take(self, byte: int) -> None:
        if len(self._out) > _MOST_WAITING:
            return
        if byte == _INTERRUPT:
            self._typed = 0
            self._out += b"\r\n" + _PROMPT
        elif byte not in _LINE_ENDS:
            self._typed += 1
            self._out += bytes((byte,))
        elif self._typed:
            self._typed = 0
            self._out += b"\r\nSyntaxError: invalid syntax\r\n" + _PROMPT

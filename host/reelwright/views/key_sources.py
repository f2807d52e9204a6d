"""Where the operator's requests come from: a terminal on POSIX, a console on Windows, a pipe on either."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections import deque
from typing import TYPE_CHECKING

from reelwright.views.keys import KeyReader, action_of_line, unknown_line

if TYPE_CHECKING:
    from collections.abc import Callable

BYTES_A_READ = 1024
LONGEST_LINE = 200  # bytes; a longer one asks for nothing known, and is not kept


class NoInput:
    """No standard input at all: nobody can answer."""

    ended = True

    def open(self) -> None:
        """Nothing to take."""

    def close(self) -> None:
        """Nothing to give back."""

    def read(self) -> list[str]:
        """Nothing, ever."""
        return []


class PipedLines:
    """One request a line, from a pipe or a file.

    A thread reads, since not every system can ask a pipe whether a read would block. It touches nothing but
    its queue, and dies with the program.
    """

    def __init__(self, descriptor: int, on_unknown: Callable[[str], None]) -> None:
        self.ended = False
        self._descriptor = descriptor
        self._on_unknown = on_unknown
        self._chunks: deque[bytes] = deque()  # an empty chunk is the end
        self._unfinished = b""
        self._thread = threading.Thread(target=self._fetch, name="operator's requests", daemon=True)

    def open(self) -> None:
        """Begins to listen."""
        self._thread.start()

    def close(self) -> None:
        """The thread may still wait in a read that nothing can end; it holds nothing that has to be given back."""

    def _fetch(self) -> None:
        chunk = b"-"
        while chunk:
            try:
                chunk = os.read(self._descriptor, BYTES_A_READ)
            except OSError:
                chunk = b""
            self._chunks.append(chunk)

    def read(self) -> list[str]:
        """The requests of the lines that have come since; an unknown line is reported, and asks for nothing."""
        asked: list[str] = []
        while self._chunks:
            chunk = self._chunks.popleft()
            self.ended = self.ended or not chunk
            # The last line may end with the input instead of a line break.
            *lines, self._unfinished = (self._unfinished + (chunk or b"\n")).split(b"\n")
            self._unfinished = self._unfinished[:LONGEST_LINE]
            asked += [action for line in lines if (action := self._action(line)) is not None]
        return asked

    def _action(self, line: bytes) -> str | None:
        text = line[:LONGEST_LINE].decode("utf-8", "replace").strip()
        action = action_of_line(text)
        if text and action is None:
            self._on_unknown(unknown_line(text))
        return action


if sys.platform == "win32":
    import msvcrt

    class WindowsConsole:
        """Single keys from a Windows console."""

        ended = False

        def __init__(self, tell: Callable[[str], None]) -> None:
            self._reader = KeyReader(tell)

        def open(self) -> None:
            """The console needs no other mode."""

        def close(self) -> None:
            """Nothing to give back."""

        def read(self) -> list[str]:
            """The requests typed since. Raises KeyboardInterrupt for Ctrl-C, which arrives here as a character."""
            typed = ""
            while msvcrt.kbhit():
                sign = msvcrt.getwch()
                if sign == "\x03":
                    raise KeyboardInterrupt
                if sign in "\x00\xe0":  # a cursor or function key: its second half is no letter of ours
                    msvcrt.getwch()
                    continue
                typed += sign
            return self._reader.actions(typed)

else:
    import select
    import termios

    class Terminal:
        """Single keys from a terminal, without echo; signals keep working, so Ctrl-C does what it always does.

        A program in the background may not touch its terminal: the system would stop it. There it reads
        nothing, and takes the terminal once it is brought to the foreground; again, where a shell has set it
        to lines meanwhile.
        """

        def __init__(self, descriptor: int, tell: Callable[[str], None]) -> None:
            self.ended = False
            self._descriptor = descriptor
            self._found: list[int | list[bytes | int]] | None = None  # the terminal's settings as they were
            self._is_open = False
            self._reader = KeyReader(tell)

        def open(self) -> None:
            """Takes the terminal if it is ours now."""
            self._is_open = True
            self._take()

        def close(self) -> None:
            """Sets the terminal as it was found."""
            self._is_open = False
            if self._found is not None and self._in_foreground():
                with contextlib.suppress(termios.error):
                    termios.tcsetattr(self._descriptor, termios.TCSANOW, self._found)
            self._found = None

        def read(self) -> list[str]:
            """The requests typed since."""
            if self.ended or not self._is_open or not self._in_foreground():
                return []
            self._take()
            try:
                ready, _, _ = select.select([self._descriptor], [], [], 0)
                typed = os.read(self._descriptor, BYTES_A_READ) if ready else None
            except (OSError, ValueError):  # the terminal was closed
                typed = b""
            if typed is None:
                return []
            self.ended = not typed
            return self._reader.actions(typed.decode("latin-1"))

        def _take(self) -> None:
            if not self._in_foreground():
                return
            with contextlib.suppress(termios.error):
                found = termios.tcgetattr(self._descriptor)
                if self._found is not None and not found[3] & (termios.ICANON | termios.ECHO):
                    return  # as it was taken
                changed = termios.tcgetattr(self._descriptor)
                changed[
                    0
                ] &= ~termios.IXON  # Ctrl-S would block the output, and with it the loop that serves the winder
                changed[3] &= ~(termios.ICANON | termios.ECHO)
                changed[6][termios.VMIN] = 1
                changed[6][termios.VTIME] = 0
                termios.tcsetattr(self._descriptor, termios.TCSANOW, changed)
                self._found = self._found or found

        def _in_foreground(self) -> bool:
            try:
                return os.tcgetpgrp(self._descriptor) == os.getpgrp()
            except OSError:  # a terminal that controls no session, such as a bare pty: nobody can stop us for it
                return True

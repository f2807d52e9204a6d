"""What the simulated board needs of a desktop: a clock, waiting, and two kinds of port that never block.

The only place that asks which interpreter runs it.
"""

import errno
import select
import socket
import time

# The same numbers everywhere; MicroPython's socket module does not name them.
_TCP = 6
_NO_DELAY = 1

# How often it is looked for what is rare: a second client, and the end of the launcher.
_RARE_PERIODS = 20

_BUSY = (errno.EAGAIN, getattr(errno, "EWOULDBLOCK", errno.EAGAIN))

# MicroPython's ticks have 62 bits on a desktop, and never wrap there.
_ticks_us = getattr(time, "ticks_us", None)


def real_ms() -> float:
    """Milliseconds on a real clock that never steps back."""
    if _ticks_us is None:
        return time.monotonic() * 1000
    return float(_ticks_us()) / 1000


class Lifeline:
    """Standard input: a pipe that the launcher holds, and says nothing through. It ends with the launcher, however that
    is ended, while a client may hold the port for longer."""

    def __init__(self) -> None:
        self._pipe = open(0, "rb", buffering=0)
        self._poll = select.poll()
        self._poll.register(self._pipe, select.POLLIN)
        self._periods = 0

    def is_cut(self) -> bool:
        """Whether the launcher is gone; to be asked in every period."""
        self._periods += 1
        return self._periods % _RARE_PERIODS == 0 and bool(self._poll.poll(0))


class TerminalPort:
    """An open file that the launcher hands over by its number: an end of a non-blocking pseudo-terminal.

    Not standard output: what the interpreter itself writes there, as when the program fails, is no part of the link.
    `gone` becomes true when the launcher is gone, or nobody holds the other end any more.
    """

    def __init__(self, number: int) -> None:
        self._end = open(number, "r+b", buffering=0)
        self._poll = select.poll()
        self._poll.register(self._end, select.POLLIN)
        self._lifeline = Lifeline()
        self.gone = False

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived, at most a room full; how many."""
        if self._lifeline.is_cut():
            self.gone = True
        ready = self._poll.poll(0)
        if not ready:
            return 0
        try:
            count = self._end.readinto(room)
        except OSError:
            self.gone = True
            return 0
        if count == 0 and not ready[0][1] & select.POLLIN:
            self.gone = True
        return count or 0

    def write(self, data: bytes) -> int:
        """Write what the port takes now; how many bytes."""
        try:
            return self._end.write(data) or 0
        except OSError:
            return 0

    def pause(self, wait_ms: int) -> None:
        """Wait in real time, or until something arrives."""
        self._poll.poll(wait_ms)


class SocketPort:
    """A TCP port on this computer, for one client at a time. `gone` becomes true when the launcher is gone."""

    def __init__(self, number: int) -> None:
        self._listener = socket.socket()
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._listener.bind(socket.getaddrinfo("127.0.0.1", number)[0][-1])
        self._listener.listen(1)
        self._listener.setblocking(False)
        self._client: "socket.socket | None" = None
        self._lifeline = Lifeline()
        self._knock = select.poll()
        self._knock.register(self._listener, select.POLLIN)
        self._poll = select.poll()
        self._periods = 0
        self.gone = False

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived, at most a room full; how many."""
        if self._lifeline.is_cut():
            self.gone = True
        if self._client is None:
            if self._knock.poll(0):
                self._accept()
            return 0
        self._turn_away()
        if not self._poll.poll(0):
            return 0
        try:
            data = self._client.recv(len(room))
        except OSError as failure:
            if failure.args[0] in _BUSY:
                return 0
            data = b""
        if not data:
            self._drop()
            return 0
        room[: len(data)] = data
        return len(data)

    def write(self, data: bytes) -> int:
        """Write what the port takes now; how many bytes."""
        if self._client is None:
            return 0
        try:
            return self._client.send(data)
        except OSError as failure:
            if failure.args[0] not in _BUSY:
                self._drop()
            return 0

    def pause(self, wait_ms: int) -> None:
        """Wait in real time, or until something arrives."""
        (self._poll if self._client else self._knock).poll(wait_ms)

    def _accept(self) -> None:
        self._client, _ = self._listener.accept()
        self._client.setblocking(False)
        # answers are short lines: waiting for more to send with them would only delay them
        self._client.setsockopt(_TCP, _NO_DELAY, 1)
        self._poll.register(self._client, select.POLLIN)

    def _turn_away(self) -> None:
        """A second client finds the port busy, as on a serial port; looked for once in a while, since it is rare."""
        self._periods += 1
        if self._periods % _RARE_PERIODS == 0 and self._knock.poll(0):
            other, _ = self._listener.accept()
            other.close()

    def _drop(self) -> None:
        if self._client is not None:
            self._poll.unregister(self._client)
            self._client.close()
            self._client = None

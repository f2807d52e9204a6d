"""The port of a board: standard input and output of the interpreter, which is its USB or its UART.

Ctrl-C on it interrupts the program, as it should; a byte is read only where one waits, and written only where it fits,
one at a time, since no more than that is promised. A write of more may hold up the program for half a second, while the
host does not read (MicroPython's shared/tinyusb/mp_usbd_cdc.c).
"""

import select
import sys

# Bytes in one pass of the loop, each way, so that no flood can hold it up: on an RP2040 a byte takes 0.1 ms, a whole
# request some 10 ms more. With 128 in and two lines out a pass took up to 64 ms, which is beyond the drive's lease.
_MOST_IN_A_PASS = 32
_MOST_OUT_IN_A_PASS = 48


def _is_ready(watch: "select.poll") -> bool:
    """Whether what it watches is ready now. By `ipoll`, since `poll` makes a list at every call."""
    for _ in watch.ipoll(0):
        return True
    return False


class Console:
    """Never waits, never prints, allocates nothing. A pass begins with `receive`."""

    def __init__(self) -> None:
        self._source = sys.stdin.buffer
        self._sink = sys.stdout.buffer
        self._incoming = select.poll()
        self._incoming.register(sys.stdin, select.POLLIN)
        self._outgoing = select.poll()
        self._outgoing.register(sys.stdout, select.POLLOUT)
        self._one = bytearray(1)
        self._line = b""
        self._sent = 0
        self._left = _MOST_OUT_IN_A_PASS

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived, at most a room full; how many. Raises KeyboardInterrupt where Ctrl-C was pressed."""
        self._left = _MOST_OUT_IN_A_PASS
        count = 0
        one = self._one
        most = min(len(room), _MOST_IN_A_PASS)
        while count < most and _is_ready(self._incoming):
            self._source.readinto(one)
            room[count] = one[0]
            count += 1
        return count

    def send(self, line: bytes) -> bool:
        """Take a whole line, or nothing of it while the last one has not gone."""
        self.flush()
        if self._sent < len(self._line) or not _is_ready(self._outgoing):
            return False
        self._line = line
        self._sent = 0
        self.flush()
        return True

    def flush(self) -> None:
        """Hand on what the port takes now, and this pass may still give."""
        line = self._line
        one = self._one
        while self._left and self._sent < len(line) and _is_ready(self._outgoing):
            one[0] = line[self._sent]
            self._sink.write(one)
            self._sent += 1
            self._left -= 1

    def say(self, text: str) -> None:
        """A line for a person, when the loop does not run."""
        sys.stdout.write(text + "\n")

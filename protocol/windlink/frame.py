"""One line of the link: printable, bounded, closed by a CRC-32.

    KIND SEQUENCE SP VERB {SP FIELD} SP CRC LF

Printable, because a frame with byte 03 in it would interrupt the interpreter that listens on the same
port. The CRC is CRC-32/ISO-HDLC over every byte before the space that precedes it, as eight upper-case
hexadecimal digits. A carriage return before the line feed is dropped.
"""

from binascii import crc32

REQUEST = ">"
ANSWER = "<"
PROGRESS = "="
EVENT = "+"

# The longest line, line feed included.
LONGEST_FROM_DEVICE = 64
LONGEST_TO_DEVICE = 128

_CRC_TEXT = 9  # the space and eight digits


class FrameError(ValueError):
    """A line that is no valid frame, or a message that cannot become one. args[0] says why."""


def seal(body: str) -> bytes:
    """Close a body such as '>7 status' with its CRC and line feed."""
    data = body.encode()
    return b"%s %08X\n" % (data, crc32(data))


def unseal(line: bytes) -> str:
    """The body of a line (with or without its line end). Raises FrameError when the CRC disagrees."""
    data = line
    if data[-1:] == b"\n":
        data = data[:-1]
    if data[-1:] == b"\r":
        data = data[:-1]
    if len(data) <= _CRC_TEXT + 3:
        raise FrameError("too short")
    body = data[:-_CRC_TEXT]
    if data[-_CRC_TEXT:] != b" %08X" % crc32(body):
        raise FrameError("checksum")
    # two passes in C are shorter than one in Python, which the winder's period has no room for
    if min(body) < 32 or max(body) > 126:
        raise FrameError("not printable")
    return body.decode()


class LineReader:
    """Gathers bytes into lines. Bounded: a line longer than its room is dropped whole and counted.

    The room is one buffer made at the start; feeding allocates nothing.
    """

    def __init__(self, longest: int) -> None:
        self._room = bytearray(longest)
        self._used = 0
        self._overlong = False
        self.dropped = 0

    def feed(self, byte: int) -> int:
        """Take one byte. The length of the line that it completes (line feed excluded), else 0."""
        if byte == 10:
            length = self._used
            self._used = 0
            if self._overlong:
                self._overlong = False
                self.dropped += 1
                return 0
            return length
        if self._used == len(self._room):
            self._overlong = True
            return 0
        self._room[self._used] = byte
        self._used += 1
        return 0

    def line(self, length: int) -> bytes:
        """The line that feed() has just completed."""
        return bytes(self._room[:length])

    def reset(self) -> None:
        """Forget a line begun."""
        self._used = 0
        self._overlong = False

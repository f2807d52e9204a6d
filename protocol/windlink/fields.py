"""The kinds of field that a message has, each with its range: reading, writing, and refusing."""

from windlink.frame import FrameError

SMALL = 1 << 30  # first integer that a 32-bit MicroPython keeps on its heap; no field reaches it

_WORD_CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-"
_CRC_DIGITS = "0123456789ABCDEF"


class Field:
    """A whole number in decimal, low <= value <= high. No leading zeros, no plus sign."""

    def __init__(self, name: str, low: int, high: int) -> None:
        self.name = name
        self.low = low
        self.high = high

    def write(self, value: object) -> str:
        """The field as text. Raises FrameError when out of range."""
        if not isinstance(value, int) or not self.low <= value <= self.high:
            raise FrameError("%s: %r is not within %d to %d" % (self.name, value, self.low, self.high))
        return "%d" % value  # of a truth too, whose own text is a word

    def read(self, text: str) -> int:
        """The value of a text. Raises FrameError when it is not the one way to write it, or out of range."""
        try:
            value = int(text)
        except ValueError:
            raise FrameError("%s: not a whole number" % self.name)  # noqa: B904 - MicroPython has no exception causes
        if str(value) != text or not self.low <= value <= self.high:
            raise FrameError("%s: not within %d to %d" % (self.name, self.low, self.high))
        return value

    def extreme(self) -> object:
        """The value whose text is longest."""
        return self.low if len(str(self.low)) > len(str(self.high)) else self.high

    def kind(self) -> str:
        """The range, for the table of the specification."""
        return "%d to %d" % (self.low, self.high)


class Token:
    """A word of letters, digits, dot, dash and underscore, 1 to `longest` characters."""

    def __init__(self, name: str, longest: int) -> None:
        self.name = name
        self.longest = longest

    def write(self, value: object) -> str:
        """The field as text. Raises FrameError when it is no such word."""
        return self.read(str(value))

    def read(self, text: str) -> str:
        """The text itself. Raises FrameError when it is no such word."""
        if not 1 <= len(text) <= self.longest or [c for c in text if c not in _WORD_CHARACTERS]:
            raise FrameError("%s: not a word of 1 to %d characters" % (self.name, self.longest))
        return text

    def extreme(self) -> object:
        """The value whose text is longest."""
        return "W" * self.longest

    def kind(self) -> str:
        """The shape, for the table of the specification."""
        return "word, 1 to %d characters" % self.longest


class Checksum:
    """A CRC-32 as eight upper-case hexadecimal digits."""

    def __init__(self, name: str) -> None:
        self.name = name

    def write(self, value: object) -> str:
        """The field as text. Raises FrameError when it is not eight digits."""
        return self.read(str(value))

    def read(self, text: str) -> str:
        """The text itself: as a number it would pass 2^30. Raises FrameError when it is not eight digits."""
        if len(text) != 8 or [c for c in text if c not in _CRC_DIGITS]:
            raise FrameError("%s: not eight hexadecimal digits" % self.name)
        return text

    def extreme(self) -> object:
        """The value whose text is longest."""
        return "FFFFFFFF"

    def kind(self) -> str:
        """The shape, for the table of the specification."""
        return "8 hexadecimal digits"

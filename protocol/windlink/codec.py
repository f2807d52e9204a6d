"""Messages to lines and back."""

from windlink.catalogue import BY_NAME, Message
from windlink.fields import Field
from windlink.frame import FrameError, seal, unseal

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any


def encode(kind: str, sequence: int, verb: str, values: "tuple[Any, ...]" = ()) -> bytes:
    """The line of a message. Raises FrameError, naming the field, when a value is out of range."""
    message = BY_NAME.get(kind + verb)
    if message is None:
        raise FrameError("no message %s%s" % (kind, verb))
    if not 0 <= sequence <= message.highest_sequence:
        raise FrameError("sequence: %d is not within 0 to %d" % (sequence, message.highest_sequence))
    _check_count(message, len(values))
    body = "%s%d %s" % (kind, sequence, verb)
    last = len(message.fields) - 1
    for position, value in enumerate(values):
        body += " " + message.fields[min(position, last)].write(value)
    line = seal(body)
    if len(line) > message.longest:
        raise FrameError("%s: %d bytes, at most %d" % (verb, len(line), message.longest))
    return line


def decode(line: bytes) -> "tuple[Message, int, tuple[Any, ...]]":
    """Message, sequence number and values of a line. Raises FrameError when it is no valid frame."""
    body = unseal(line)
    words = body.split(" ")
    kind = body[0]
    if len(words) < 2:
        raise FrameError("no verb")
    message = BY_NAME.get(kind + words[1])
    if message is None:
        raise FrameError("unknown message")
    sequence = read_sequence(words[0])
    if sequence > message.highest_sequence:
        raise FrameError("sequence")
    texts = words[2:]
    _check_count(message, len(texts))
    last = len(message.fields) - 1
    values = tuple([message.fields[min(position, last)].read(text) for position, text in enumerate(texts)])
    return message, sequence, values


def read_sequence(word: str) -> int:
    """The sequence number in a line's first word, such as '>17'. Raises FrameError."""
    digits = word[1:]
    try:
        sequence = int(digits)
    except ValueError:
        raise FrameError("sequence")  # noqa: B904 - MicroPython has no exception causes
    if sequence < 0 or str(sequence) != digits:
        raise FrameError("sequence")
    return sequence


def _check_count(message: Message, count: int) -> None:
    fewest = len(message.fields)
    if not fewest <= count <= fewest + message.more:
        raise FrameError("%s: %d fields, not %d" % (message.verb, count, fewest))


def read_hello(kind: str, line: bytes) -> "tuple[int, int, int] | None":
    """(sequence, major, minor) of a `hello` of any version, whatever follows these fields; None for another line.

    Only these are promised to stay, so that two sides of different majors can still name their versions.
    """
    words = unseal(line).split(" ")
    if len(words) < 4 or words[0][:1] != kind or words[1] != "hello":
        return None
    number = Field("hello", 0, 9999)
    return read_sequence(words[0]), number.read(words[2]), number.read(words[3])

"""Lines are read byte by byte, and whatever is no line is dropped whole."""

from __future__ import annotations

import random

import pytest

from windlink.codec import decode, encode, read_hello
from windlink.frame import LONGEST_TO_DEVICE, FrameError, LineReader, seal

LINE = encode(">", 7, "go_on", (4711, 12))


def lines_of(data: bytes, longest: int = LONGEST_TO_DEVICE) -> tuple[list[bytes], int]:
    reader = LineReader(longest)
    found = []
    for byte in data:
        length = reader.feed(byte)
        if length:
            found.append(reader.line(length))
    return found, reader.dropped


def test_a_line_cut_at_any_byte_is_no_frame() -> None:
    for end in range(len(LINE) - 1):
        with pytest.raises(FrameError):
            decode(LINE[:end])


def test_any_flipped_bit_is_noticed() -> None:
    for position in range(len(LINE) - 1):
        for bit in range(8):
            damaged = bytearray(LINE)
            damaged[position] ^= 1 << bit
            for line in bytes(damaged).split(b"\n"):
                with pytest.raises(FrameError):
                    decode(line)


def test_random_bytes_never_make_a_frame_nor_another_exception() -> None:
    source = random.Random(20)
    for _ in range(20000):
        noise = bytes(source.randrange(256) for _ in range(source.randrange(80)))
        for line in noise.split(b"\n"):
            with pytest.raises(FrameError):
                decode(line)


def test_an_overlong_line_is_dropped_whole_and_counted_and_the_next_one_read() -> None:
    found, dropped = lines_of(b"x" * 500 + b"\n" + LINE)
    assert found == [LINE[:-1]]
    assert dropped == 1


def test_a_line_that_just_fits_is_read() -> None:
    found, dropped = lines_of(b"y" * LONGEST_TO_DEVICE + b"\n")
    assert (found, dropped) == ([b"y" * LONGEST_TO_DEVICE], 0)


def test_a_carriage_return_before_the_line_feed_is_dropped() -> None:
    assert decode(LINE[:-1] + b"\r\n")[1:] == decode(LINE)[1:]


def test_a_value_out_of_range_is_named_before_it_is_packed() -> None:
    with pytest.raises(FrameError, match="wait: 100000 is not within 0 to 99999"):
        encode(">", 1, "go_on", (4711, 100000))
    with pytest.raises(FrameError, match="go_on: 1 fields, not 2"):
        encode(">", 1, "go_on", (4711,))
    with pytest.raises(FrameError, match="sequence"):
        encode(">", 1000, "status")
    with pytest.raises(FrameError, match="no message"):
        encode(">", 1, "dance")


def test_a_greeting_of_any_version_is_understood() -> None:
    assert read_hello(">", seal(">5 hello 9 3 and more to come")) == (5, 9, 3)
    assert read_hello(">", seal("<5 hello 1 0 7")) is None
    assert read_hello(">", encode(">", 5, "status")) is None

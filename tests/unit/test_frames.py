"""Lines are read byte by byte, and whatever is no line is dropped whole."""

from __future__ import annotations

import random

import pytest

from windlink.catalogue import MESSAGES
from windlink.codec import decode, encode, read_hello
from windlink.frame import LONGEST_TO_DEVICE, REQUEST, FrameError, LineReader, seal, unseal

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


def test_a_line_ends_with_its_line_feed_with_both_or_with_neither() -> None:
    body = LINE[:-1]
    assert unseal(body) == unseal(body + b"\n") == unseal(body + b"\r") == unseal(body + b"\r\n") == body[:-9].decode()


@pytest.mark.parametrize("body", ["", ">", ">1", ">1 "])
def test_a_good_checksum_over_less_than_a_verb_makes_no_frame(body: str) -> None:
    with pytest.raises(FrameError, match="too short"):
        decode(seal(body))


def test_the_shortest_line_that_may_mean_something_is_let_through_to_the_catalogue() -> None:
    with pytest.raises(FrameError, match="unknown message"):
        decode(seal(">1 a"))


def test_the_winder_writes_at_most_64_bytes_and_the_host_128() -> None:
    # one packet of full-speed USB bulk transfer is 64 bytes: USB 2.0, 5.8.3
    assert {message.longest for message in MESSAGES if message.kind == REQUEST} == {2 * 64}
    assert {message.longest for message in MESSAGES if message.kind != REQUEST} == {64}


def test_every_printable_character_and_no_other_is_let_into_a_line() -> None:
    # printable ASCII is space to tilde, 20 to 7E: ISO/IEC 646
    printable = "".join(chr(code) for code in range(0x20, 0x7F))
    assert unseal(seal(printable)) == printable
    for code in (*range(0x20), 0x7F):
        with pytest.raises(FrameError, match="not printable"):
            unseal(seal(">7 " + chr(code) + "a"))


def test_a_reader_tells_a_line_by_its_length_and_till_then_nothing() -> None:
    reader = LineReader(4)
    assert [reader.feed(byte) for byte in b"abcd\n"] == [0, 0, 0, 0, 4]
    assert [reader.feed(byte) for byte in b"abcdefghi\n"] == [0] * 10
    assert [reader.feed(byte) for byte in b"xy\n"] == [0, 0, 2]
    assert (reader.line(2), reader.dropped) == (b"xy", 1)


@pytest.mark.parametrize("begun", [b"ab", b"abcdefghi"])
def test_a_line_begun_before_a_reset_is_forgotten_and_not_counted(begun: bytes) -> None:
    reader = LineReader(4)
    for byte in begun:
        reader.feed(byte)
    reader.reset()
    assert [reader.feed(byte) for byte in b"xyz\n"] == [0, 0, 0, 3]
    assert (reader.line(3), reader.dropped) == (b"xyz", 0)


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

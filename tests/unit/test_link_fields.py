"""One way to write each value, and no other is read."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interpreters import PROTOCOL
from windlink.catalogue import BY_NAME, Message
from windlink.codec import decode, encode, read_hello
from windlink.fields import Checksum, Field, Token
from windlink.frame import FrameError, seal

READER = Path(__file__).parents[1] / "contract" / "read_vectors.py"

SIGNED = Field("count", -12, 99)
WORD = Token("word", 5)
CRC = Checksum("crc")


def test_every_vector_reads_and_writes_as_it_says_in_this_process_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # the contract tests start the same script on each interpreter; here a debugger or a mutant reaches it
    monkeypatch.setattr("sys.argv", ["", str(PROTOCOL), str(PROTOCOL / "vectors.json")])
    monkeypatch.syspath_prepend(str(PROTOCOL))
    runpy.run_path(str(READER))
    assert "ignored: empty - too short" in capsys.readouterr().out


@pytest.mark.parametrize("value", [-12, -1, 0, 9, 10, 99])
def test_a_number_within_its_range_is_written_the_one_way_and_read_back(value: int) -> None:
    assert SIGNED.write(value) == str(value)
    assert SIGNED.read(str(value)) == value


@pytest.mark.parametrize("value", [-13, 100, 1 << 30, 9.0, "9", None])
def test_what_is_no_whole_number_in_range_is_not_written(value: object) -> None:
    with pytest.raises(FrameError, match=r"count: .* is not within -12 to 99"):
        SIGNED.write(value)


@pytest.mark.parametrize("text", ["-13", "100", "007", "+7", "-0", " 7", "7 ", "1_0", "٧", "0x7", "7.0"])
def test_no_other_way_to_write_a_number_is_read(text: str) -> None:
    with pytest.raises(FrameError, match=r"count: not within -12 to 99|count: not a whole number"):
        SIGNED.read(text)


def test_a_truth_is_written_as_the_number_that_it_is() -> None:
    assert SIGNED.read(SIGNED.write(True)) == 1


@given(st.text(max_size=12))
def test_whatever_a_field_reads_it_writes_in_the_same_letters(text: str) -> None:
    for field in (SIGNED, WORD, CRC):
        try:
            value = field.read(text)
        except FrameError:
            continue
        assert field.write(value) == text


def test_a_word_is_one_to_so_many_letters_digits_dots_dashes_and_underscores() -> None:
    for text in ("a", "aZ09.", "_-", "12345"):
        assert WORD.read(text) == text
    for text in ("", "123456", "a b", "a,b", "é", "a\n"):
        with pytest.raises(FrameError, match="word: not a word of 1 to 5 characters"):
            WORD.write(text)


def test_a_checksum_is_eight_upper_case_digits() -> None:
    assert CRC.write("0123ABEF") == "0123ABEF"
    for text in ("0123ABE", "0123ABEF0", "0123abef", "0123ABEG", "-123ABEF", ""):
        with pytest.raises(FrameError, match="crc: not eight hexadecimal digits"):
            CRC.read(text)


@pytest.mark.parametrize(
    ("field", "longest"),
    [
        (SIGNED, 3),
        (Field("debt", -1000, 99), 5),
        (Field("even", -99, 999), 3),
        (Field("gain", 0, 1000), 4),
        (WORD, 5),
        (CRC, 8),
    ],
)
def test_the_extreme_of_a_field_is_in_its_range_and_as_long_as_any(field: Any, longest: int) -> None:
    assert len(field.write(field.extreme())) == longest


@pytest.mark.parametrize(
    ("kind", "verb", "highest"),
    [(">", "status", 999), ("<", "done", 999), ("=", "progress", 999), ("+", "began", 99999)],
)
def test_sequence_numbers_run_from_nothing_to_the_highest_of_their_kind(kind: str, verb: str, highest: int) -> None:
    message = BY_NAME[kind + verb]
    values = tuple(field.extreme() for field in message.fields)
    for sequence in (0, 1, highest):
        assert decode(encode(kind, sequence, verb, values)) == (message, sequence, values)
    for sequence in (-1, highest + 1):
        with pytest.raises(FrameError, match="sequence"):
            encode(kind, sequence, verb, values)
    body = encode(kind, highest, verb, values).decode()[:-10]
    for written in (str(highest + 1), "-1", "01", "+1", "1 1", ""):
        with pytest.raises(FrameError):
            decode(seal(body.replace(f"{kind}{highest} ", f"{kind}{written} ", 1)))


def test_a_line_without_a_verb_is_no_message() -> None:
    with pytest.raises(FrameError, match="no verb"):
        decode(seal(">12345"))


def test_a_greeting_needs_both_its_numbers_and_nothing_more() -> None:
    assert read_hello(">", seal(">5 hello 9 3")) == (5, 9, 3)
    assert read_hello(">", seal(">5 hello 0 0")) == (5, 0, 0)
    assert read_hello(">", seal(">5 hello 9")) is None
    assert read_hello(">", seal(">5 offer 9 3")) is None
    for words in ("x 3", "9 -1", "09 3", "9 "):
        with pytest.raises(FrameError, match="hello"):
            read_hello(">", seal(f">5 hello {words}"))


@pytest.mark.parametrize(("kind", "room"), [(">", 128), ("<", 64), ("=", 64), ("+", 64)])
def test_a_line_that_would_not_fit_the_other_sides_room_is_not_made(
    monkeypatch: pytest.MonkeyPatch, kind: str, room: int
) -> None:
    # no message of the catalogue can grow so long; one that is added may
    monkeypatch.setitem(BY_NAME, kind + "say", Message(kind, "say", (Token("word", 200),)))
    around = len(encode(kind, 7, "say", ("W",))) - 1
    assert len(encode(kind, 7, "say", ("W" * (room - around),))) == room
    with pytest.raises(FrameError, match=f"say: {room + 1} bytes, at most {room}"):
        encode(kind, 7, "say", ("W" * (room - around + 1),))


def test_a_job_has_at_most_600_values() -> None:
    assert decode(encode(">", 1, "offer", (1, 600)))[2] == (1, 600)
    with pytest.raises(FrameError, match="count: 601 is not within 1 to 600"):
        encode(">", 1, "offer", (1, 601))

"""The link's lines mean the same on CPython and on MicroPython."""

from __future__ import annotations

import importlib.util
import json
from binascii import crc32
from pathlib import Path

import pytest

from interpreters import CPYTHON, MICROPYTHON, PROTOCOL, all_three, needs_micropython, run_script
from windlink import codes, meanings, sentences
from windlink.catalogue import MESSAGES
from windlink.codec import encode
from windlink.job import JOB_FIELDS

HERE = Path(__file__).parent
VECTORS = PROTOCOL / "vectors.json"


@all_three
def test_every_vector_reads_and_writes_as_it_says(interpreter: tuple[str, ...]) -> None:
    vectors = json.loads(VECTORS.read_text())
    lines = run_script(interpreter, HERE / "read_vectors.py", PROTOCOL, VECTORS).splitlines()
    assert len(lines) == len(vectors["valid"]) + len(vectors["invalid"])


@needs_micropython
def test_both_interpreters_say_the_same_of_every_vector() -> None:
    said = [run_script(each, HERE / "read_vectors.py", PROTOCOL, VECTORS) for each in (CPYTHON, MICROPYTHON)]
    assert said[0] == said[1]


def test_the_vectors_hold_every_message_at_its_longest_within_its_room() -> None:
    vectors = json.loads(VECTORS.read_text())
    for message in MESSAGES:
        values = [field.extreme() for field in message.fields]
        line = encode(message.kind, message.highest_sequence, message.verb, tuple(values + values[-1:] * message.more))
        assert len(line) <= message.longest
        assert any(v["kind"] == message.kind and v["verb"] == message.verb for v in vectors["valid"]), message.verb


def test_the_vectors_checksums_are_the_crc_catalogues() -> None:
    # check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms
    assert crc32(b"123456789") == 0xCBF43926
    for vector in json.loads(VECTORS.read_text())["valid"]:
        body, crc = vector["line"].rstrip("\n").rsplit(" ", 1)
        assert f"{crc32(body.encode()):08X}" == crc


def test_the_specification_is_up_to_date_with_the_catalogue() -> None:
    module = importlib.util.spec_from_file_location("specification", PROTOCOL / "specification.py")
    assert module is not None
    assert module.loader is not None
    specification = importlib.util.module_from_spec(module)
    module.loader.exec_module(specification)
    page = (PROTOCOL / "README.md").read_text(encoding="utf-8")
    assert specification.updated(page) == page, "run: python protocol/specification.py"


@pytest.mark.parametrize(
    ("prefix", "table"),
    [
        (("EMPTY", "LOADED", "WINDING", "EASING", "WAITING", "FINISHED", "TRIPPED"), sentences.STATES),
        (("CAN_", "_BUTTON", "_SWITCH", "_WHEEL"), sentences.CAPABILITIES),
    ],
)
def test_each_code_has_its_sentence(prefix: tuple[str, ...], table: dict[int, sentences.Saying]) -> None:
    named = {v for name, v in vars(codes).items() if name.startswith(prefix) or name.endswith(prefix)}
    assert named == set(table)


def test_no_code_is_without_a_sentence_and_no_word_stands_for_two() -> None:
    for name, table in sentences.TABLES.items():
        words = [saying.word for saying in table.values()]
        assert len(set(words)) == len(words), name
        assert all(saying.sentence.endswith(".") for saying in table.values()), name
    # the codes of a table run without a gap, so a code without a sentence shows as one
    assert list(sentences.TRIPS) == list(range(1, codes.LOST_STEPS + 1))
    assert list(sentences.REFUSALS) == list(range(1, codes.TOO_FAST + 1))


def test_every_message_field_and_value_of_a_job_says_what_it_is_for_and_nothing_else_does() -> None:
    assert set(meanings.MESSAGES) == {(message.kind, message.verb) for message in MESSAGES}
    for message in MESSAGES:
        assert meanings.about_message(message).endswith(".")
        assert all(meanings.about_field(message, field.name) for field in message.fields)
        assert set(meanings.MESSAGES[message.kind, message.verb].fields) <= {field.name for field in message.fields}
    assert set(meanings.JOB) == {field.name for field in JOB_FIELDS}

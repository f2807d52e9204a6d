"""What the ledger cannot do, it says in words, with what to do about it; and it keeps what it has."""

import sqlite3

import attrs
import pytest

from reelwright.errors import EXIT_DEVICE, ReelwrightError
from reelwright.ledger import LedgerError
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import Happening

LAYER_DONE = Happening(1, "layer_done", "Layer 1 is full.", {"layer": 1, "pulses": 2088}, "")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "made on demand" / "ledger.sqlite3"


@pytest.fixture
def ledger(path):
    with SqliteLedger(path, busy_s=0.05) as opened:
        yield opened


def begin(ledger):
    ledger.open_wind(7, job={}, plan={}, port="p", board="pico", firmware="0.1.0", protocol="1.0", boot=11)


def refusal(act):
    """What a failed act tells the person. It is never a bare failure of the database."""
    with pytest.raises(LedgerError) as told:
        act()
    assert isinstance(told.value, ReelwrightError)
    assert told.value.exit_code == EXIT_DEVICE
    assert told.value.remedy
    return told.value.message


def test_a_locked_ledger_is_said_to_be_in_use(ledger, path):
    begin(ledger)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        assert "in use by another program" in refusal(lambda: ledger.record_count(7, 1, "winding"))
    finally:
        other.close()
    ledger.record_count(7, 2, "winding")
    assert ledger.find(7).last_pulses == 2


def test_a_full_disk_is_said_to_be_full_and_what_was_kept_stays(ledger):
    begin(ledger)
    ledger.record_count(7, 1, "winding")
    pages = ledger._connection.execute("PRAGMA page_count").fetchone()[0]
    ledger._connection.execute(f"PRAGMA max_page_count = {pages}")  # SQLite's own way to fill the disk

    def fill():
        for number in range(1, 1000):
            ledger.record_event(7, 11, attrs.evolve(LAYER_DONE, number=number, sentence="long " * 500))

    assert "the disk is full" in refusal(fill)
    assert ledger.find(7).last_pulses == 1


def test_a_ledger_that_may_only_be_read_says_so(ledger):
    begin(ledger)
    ledger._connection.execute("PRAGMA query_only = ON")

    assert "may not be written" in refusal(lambda: ledger.record_count(7, 1, "winding"))


def test_a_damaged_ledger_says_so(path):
    with SqliteLedger(path) as ledger:
        begin(ledger)
        for number in range(1, 300):
            ledger.record_event(7, 11, attrs.evolve(LAYER_DONE, number=number))
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xa5" * (len(content) - 4096)
    path.write_bytes(content)

    def use():
        with SqliteLedger(path) as ledger:
            ledger.winds()

    assert "is damaged" in refusal(use)


def test_a_file_that_is_no_database_says_so_and_is_left_alone(path):
    path.parent.mkdir()
    path.write_text("Dear diary, " * 100)

    assert "is no ledger" in refusal(lambda: SqliteLedger(path))
    assert path.read_text().startswith("Dear diary")


def test_a_folder_in_the_ledgers_place_says_so(path):
    path.mkdir(parents=True)

    assert "cannot be opened" in refusal(lambda: SqliteLedger(path))


def test_a_folder_that_cannot_be_made_says_so(tmp_path):
    (tmp_path / "file").write_text("in the way")

    assert "cannot be made" in refusal(lambda: SqliteLedger(tmp_path / "file" / "ledger.sqlite3"))

"""The ledger tells apart the winders that one job was given to, and an older ledger's jobs were at one."""

from __future__ import annotations

import sqlite3
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from reelwright.ledger import LedgerError, Stay
from reelwright.ledger.layout import STEPS, bring_up_to_date
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.whereabouts import is_another, is_same, whereabouts
from reelwright.snapshot import Happening

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

TRIPPED = Happening(1, "tripped", "The strand is caught.", {"reason": "snag"})


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[SqliteLedger]:
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.open_wind(
            7, job={}, plan={}, port="first", board="b", firmware="f", protocol="1", boot=11, serial_number="A1"
        )
        yield ledger


def test_each_time_that_a_job_is_given_to_a_winder_is_a_stay_with_its_own_counts(ledger: SqliteLedger) -> None:
    ledger.record_count(7, 100, "winding")
    ledger.begin_series(7, 12, port="second", serial_number="B2")
    ledger.record_count(7, 200, "winding")
    ledger.adopt(7, 12, port="second, plugged in elsewhere", serial_number="B2")
    told = [(stay.series, stay.port, stay.serial_number, stay.boot) for stay in ledger.stays(7)]
    assert told == [(1, "first", "A1", 11), (2, "second, plugged in elsewhere", "B2", 12)]
    assert [(count.series, count.pulses) for count in ledger.counts(7)] == [(1, 100), (2, 200)]
    record = ledger.find(7)
    assert record is not None
    assert record.port == "second, plugged in elsewhere"


def test_a_trip_is_told_of_the_port_at_which_it_came(ledger: SqliteLedger) -> None:
    ledger.record_event(7, 11, TRIPPED)
    ledger.begin_series(7, 12, port="second")
    assert [len(ledger.trips(port)) for port in ("first", "second")] == [1, 0]


def test_what_an_earlier_winder_still_tells_is_kept_as_its_own(ledger: SqliteLedger) -> None:
    ledger.begin_series(7, 11, port="second")
    assert ledger.record_event(7, 11, TRIPPED)
    assert ledger.record_event(7, 11, TRIPPED, series=1)
    assert not ledger.record_event(7, 11, TRIPPED, series=1)
    assert [event.series for event in ledger.events(7)] == [2, 1]


def test_an_older_ledgers_jobs_were_at_one_port_and_their_counts_are_the_newest(tmp_path: Path) -> None:
    path = tmp_path / "older.sqlite3"
    raw = sqlite3.connect(path, isolation_level=None)
    bring_up_to_date(raw, path, STEPS[:3])
    for job_id, series in ((7, 2), (8, 1)):
        raw.execute(
            "INSERT INTO winds VALUES (?, ?, '{}', '{}', 'p', 'b', 'f', '1', 'v', 12, 'then', NULL, 1, NULL, ?)",
            (job_id, job_id, series),
        )
    raw.execute("INSERT INTO counts (job_id, at, pulses, state) VALUES (7, 'then', 300, 'waiting')")
    raw.close()
    with SqliteLedger(path) as ledger:
        assert ledger.stays(7) == [Stay(number, "then", "p", "", 12) for number in (1, 2)]
        assert ledger.stays(8) == [Stay(1, "then", "p", "", 12)]
        assert [count.series for count in ledger.counts(7)] == [2]
    raw = sqlite3.connect(path, isolation_level=None)
    with pytest.raises(LedgerError, match="written by a newer reelwright"):
        bring_up_to_date(raw, path, STEPS[:3])  # as the program that wrote it would
    raw.close()


def test_a_winder_is_known_by_its_serial_number_before_its_port() -> None:
    known = Stay(1, "then", "/dev/ttyACM0", "A1", 11)
    assert is_same(known, "/dev/ttyACM3", "A1")
    assert not is_another(known, "/dev/ttyACM3", "A1")
    assert not is_same(known, "/dev/ttyACM0", "B2")
    assert is_another(known, "/dev/ttyACM0", "B2"), "another board may have the first one's port by now"


def test_without_serial_numbers_the_port_tells_and_one_that_is_gone_tells_nothing(tmp_path: Path) -> None:
    there = tmp_path / "ttyUSB0"
    unnamed = Stay(1, "then", str(there), "", 11)
    assert is_same(unnamed, str(there), "B2")
    assert not is_another(unnamed, "/dev/ttyUSB1", ""), "it may be the same, plugged in elsewhere"
    there.touch()
    assert is_another(unnamed, "/dev/ttyUSB1", "")
    link = tmp_path / "winder"
    link.symlink_to(there)
    assert is_same(unnamed, str(link), "")


def test_a_stay_of_another_serial_number_is_not_taken_for_this_winders_by_a_boot_drawn_twice(
    ledger: SqliteLedger,
) -> None:
    ledger.begin_series(7, 11, port="second", serial_number="B2")
    ledger.record_count(7, 200, "winding")
    record = ledger.find(7)
    assert record is not None

    def seen(serial_number: str) -> tuple[int | None, list[int]]:
        winder = SimpleNamespace(boot=11, serial_number=serial_number)
        where = whereabouts(record, ledger, winder, "plugged in elsewhere")
        return where.here and where.here.series, sorted(where.series)

    assert seen("C3") == (None, [])
    assert seen("") == (2, [1, 2])
    assert seen("A1") == (1, [1])

"""What the ledger still holds for true of a result that it kept."""

from __future__ import annotations

import json
import sqlite3
from typing import TYPE_CHECKING

import attrs
import pytest

from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import WindResult

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AT_A_STOP = WindResult(
    job_id=7,
    state="waiting",
    outcome="",
    target_pulses=10104,
    counted_pulses=4000,
    turns=66.7,
    layers=2,
    length_m=15.0,
    length_u_m=0.05,
    mass_g=None,
    mass_u_g=None,
    phase_turns=2.9,
)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[SqliteLedger]:
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.open_wind(7, job={}, plan={}, port="p", board="b", firmware="f", protocol="1.0", boot=11)
        ledger.record_count(7, 4000, "waiting")
        ledger.settle(7, AT_A_STOP)
        yield ledger


def known(ledger: SqliteLedger) -> WindResult:
    (record,) = ledger.winds()
    assert record.known is not None
    return record.known


def test_a_rest_is_known_until_something_else_is_heard(ledger: SqliteLedger) -> None:
    assert known(ledger) == AT_A_STOP
    ledger.record_count(7, 4000, "winding")
    after = known(ledger)
    assert (after.count_known, after.uncertain, after.state) == (False, True, "winding")
    assert (after.length_lowest_m, after.length_highest_m, after.phase_turns) == (14.9, None, None)


def test_an_unconfirmed_count_keeps_the_ends_that_it_was_kept_with(ledger: SqliteLedger) -> None:
    last_heard = attrs.evolve(
        AT_A_STOP, state="winding", uncertain=True, count_known=False, length_highest_m=20.0, phase_turns=None
    )
    ledger.settle(7, last_heard)
    ledger.record_count(7, 4000, "winding")
    assert known(ledger) == last_heard


@pytest.mark.parametrize("is_open", [True, False])
def test_an_unconfirmed_count_of_an_older_ledger_is_the_least_and_puts_the_guide_nowhere(
    ledger: SqliteLedger, tmp_path: Path, is_open: bool
) -> None:
    since = ("count_known", "length_lowest_m", "length_highest_m", "mass_lowest_g", "mass_highest_g")
    older = {name: value for name, value in attrs.asdict(AT_A_STOP).items() if name not in since}
    connection = sqlite3.connect(tmp_path / "ledger.sqlite3")
    with connection:
        connection.execute("UPDATE winds SET result = ?, open = ?", (json.dumps({**older, "uncertain": True}), is_open))
    connection.close()
    result = known(ledger)
    assert (result.count_known, result.length_lowest_m, result.length_highest_m) == (False, 14.9, None)
    assert result.phase_turns is None

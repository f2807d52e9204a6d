"""What the last wind of a winder has left on its spool is known by the winder, and not by what its port is called."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest

from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.before import strand_of_this_job, tell_before
from reelwright.operation.telling import result_of
from reelwright.views.plain import PlainView
from winding_jobs import plan_of
from windlink import codes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PLAN = plan_of()


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[SqliteLedger]:
    """This job, wound to its end by the board with serial number A1 at its first port."""
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        told = {"plan": {}, "board": "b", "firmware": "f", "protocol": "1.0", "boot": 11}
        ledger.open_wind(7, job=PLAN.job.to_dict(), port="/dev/ttyACM0", serial_number="A1", **told)
        ledger.close_wind(7, result_of(PLAN, 7, codes.FINISHED, PLAN.target_pulses, outcome="reached"))
        yield ledger


@pytest.mark.parametrize(
    ("port", "serial_number", "is_asked"),
    [
        ("/dev/ttyACM0", "A1", True),
        ("/dev/ttyACM3", "A1", True),  # plugged in elsewhere
        ("/dev/ttyACM0", "", True),
        ("/dev/ttyACM3", "", False),
        ("/dev/ttyACM0", "B2", False),  # another board at the first one's port
    ],
)
def test_whether_an_empty_spool_is_on_hangs_on_the_winder(
    ledger: SqliteLedger, port: str, serial_number: str, is_asked: bool
) -> None:
    left = strand_of_this_job(PLAN, ledger, port, serial_number, None)
    assert left.startswith("Job 7 was this one too, and left ") is is_asked
    shown = io.StringIO()
    tell_before(PLAN, ledger, port, serial_number, PlainView(shown, shown, ""))
    assert (left in shown.getvalue() if left else shown.getvalue() == "") is True

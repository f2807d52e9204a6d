"""`reelwright ledger` as tests call it, and the winds that they keep."""

import time
from datetime import UTC, datetime

import attrs
import pytest
from click.testing import CliRunner

import shown_wind
from reelwright.cli.ledger import command
from reelwright.errors import ReelwrightError
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import Happening

JOB = {
    "take_up": {"name": "tide clock 3", "barrel_diameter_mm": 80.0},
    "strand": {"diameter_mm": 1.75, "material": "reed green"},
}
REACHED = attrs.evolve(
    shown_wind.REACHED,
    job_id=7,
    counted_pulses=10103,
    turns=168.38,
    turns_lowest=168.38,
    turns_highest=168.38,
    phase_turns=5.62,
)
LAST_HEARD = attrs.evolve(
    REACHED,
    state="tripped",
    outcome="",
    trip="restarted",
    counted_pulses=199,
    length_m=2.055,
    length_u_m=6.1,
    mass_g=6.13,
    mass_u_g=18.1,
    uncertain=True,
    uncertain_turns=51.1,
    phase_turns=None,
    count_known=False,
    length_lowest_m=2.0431,
    length_highest_m=12.514,
    mass_lowest_g=6.1,
    mass_highest_g=37.4,
)


AGREED = attrs.evolve(
    REACHED,
    counted_pulses=10104,
    uncertain_turns=25.55,
    agreed_within_turns=25.55,
    count_known=False,
    turns_lowest=142.83,
    turns_highest=193.93,
)


def own_home(monkeypatch, tmp_path):
    """A ledger of its own, in a zone that is no other's."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")
    if hasattr(time, "tzset"):
        time.tzset()
    yield tmp_path / "home"
    monkeypatch.undo()
    if hasattr(time, "tzset"):
        time.tzset()


def keep(job_id, *, job=JOB, result=REACHED, port="/dev/winder"):
    """Keeps a wind, begun and ended within a moment."""
    with SqliteLedger(ledger_path(), now=lambda: datetime(2031, 5, 4, 9, 30, tzinfo=UTC)) as ledger:
        ledger.open_wind(job_id, job=job, plan={"turns": 168.4}, port=port, board="pico", firmware="0.1.0",
                         protocol="1.0", boot=11)  # fmt: skip
        ledger.record_count(job_id, 4000, "winding")
        ledger.record_count(job_id, 10103, "finished")
        ledger.record_event(job_id, 11, Happening(1, "began", "Winding began."))
        ledger.record_event(job_id, 11, Happening(2, "ended", "The target was reached.", {"pulses": 10103}))
        if result is not None:
            ledger.close_wind(job_id, attrs.evolve(result, job_id=job_id))


def run(*arguments):
    """What the command ends with."""
    return CliRunner().invoke(command, arguments, catch_exceptions=False)


def failure_of(*arguments):
    """The failure that the command ends with."""
    with pytest.raises(ReelwrightError) as told:
        run(*arguments)
    return told.value

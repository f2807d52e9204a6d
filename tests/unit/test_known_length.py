"""A pay-off spool of which the length is known, and not its mass."""

from __future__ import annotations

from typing import Any

import pytest

from reelwright.errors import FileFaultsError
from reelwright.winding.job import PayOff, Strand
from reelwright.winding.source import check_source
from winding_jobs import job_of, plan_of

STRAND = Strand(diameter_mm=1.75)  # no density: a length needs none


@pytest.mark.parametrize(
    ("held_m", "held_u_m", "verdict"),
    [
        (41.1, 0.5, "enough"),
        (41.0, 0.5, "doubtful"),  # the wind's own length is unsure too
        (40.9, 0.5, "doubtful"),
        (39.1, 0.5, "doubtful"),
        (38.9, 0.5, "short"),
        (40.0, 0, "doubtful"),
        (40.5, 0, "enough"),
    ],
)
def test_the_verdict_is_that_of_the_interval(held_m: float, held_u_m: float, verdict: str) -> None:
    plan = plan_of(pay_off={"held_m": held_m, "held_u_m": held_u_m})
    assert plan.source is not None
    assert (plan.source.method, plan.source.verdict) == ("known length", verdict)
    assert ("source_short" in plan.blocking) == (verdict == "short")


def test_the_rounding_of_a_sum_does_not_make_a_spool_too_short() -> None:
    held_m = 45.3 - 12.1
    assert held_m < 33.2
    check = check_source(PayOff(held_m=held_m, held_u_m=0), STRAND, 33.2)
    assert check is not None
    assert check.verdict == "enough"
    short = check_source(PayOff(held_m=33.1999, held_u_m=0), STRAND, 33.2)
    assert short is not None
    assert short.verdict == "short"


@pytest.mark.parametrize(
    ("pay_off", "key", "words"),
    [
        ({"held_m": 40}, "pay_off.held_u_m", "this key is missing"),
        ({"held_m": 40, "held_u_m": 1, "gross_mass_g": 300}, "pay_off.held_m", "beside gross_mass_g"),
        ({"held_m": 0, "held_u_m": 1}, "pay_off.held_m", "out of range"),
        ({"held_u_m": 1}, "pay_off", "held_m with held_u_m"),
    ],
)
def test_a_length_half_said_or_said_twice_is_a_fault(pay_off: dict[str, Any], key: str, words: str) -> None:
    with pytest.raises(FileFaultsError) as told:
        job_of(pay_off=pay_off)
    assert words in {fault.path: fault.message for fault in told.value.faults}[key]

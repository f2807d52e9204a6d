"""Where a job stands after a restart: exact where the spool stood, else as wide as it can have gone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from reelwright.operation.standing import DRIVEN_S, HAND_SHARE, HAND_STOPS_S, Heard, Memory, standing
from winding_jobs import plan_of
from windlink import codes

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan

PER_TURN = 20


def memory(**changes: Any) -> Memory:
    kept = {"job_id": 7, "pulses": 1000, "rate": 2000, "state": codes.WINDING, "outcome": 0, "dark_ms": 330}
    return Memory(**{"source": codes.FROM_REGISTERS, **kept, **changes})


def plan(**machine: Any) -> Plan:
    """A job of 60 rpm at most, 20 pulses a turn."""
    return plan_of(
        machine={
            "pulses_per_turn": PER_TURN,
            "max_spool_rpm": 60,
            "acceleration_rpm_s": 60,
            "deceleration_rpm_s": 30,
            **machine,
        }
    )


def where(kept: Memory | None, heard: Heard | None = None, **machine: Any) -> Any:
    wound = plan(**machine)
    return standing(wound.job, wound, kept, heard)


@pytest.mark.parametrize("source", [codes.FROM_REGISTERS, codes.FROM_JOURNAL])
@pytest.mark.parametrize("state", [codes.WAITING, codes.FINISHED, codes.TRIPPED])
def test_a_spool_that_stood_has_one_count(state: int, source: int) -> None:
    found = where(memory(state=state, rate=0, source=source))
    assert (found.lowest, found.best, found.highest, found.uncertain_pulses) == (1000, 1000, 1000, 0)


def test_a_trip_that_still_coasts_is_no_rest() -> None:
    assert where(memory(state=codes.TRIPPED, rate=500)).uncertain_pulses > 0


def test_a_turning_spool_may_have_gone_on_at_its_greatest_rate_through_the_dark() -> None:
    # 60 rpm of 20 pulses trip at 1.15 times that and 0.7 pulses a second: 23.7 pulses a second, for 0.33 s
    found = where(memory())
    assert (found.lowest, found.highest) == (1000, 1000 + 8 + 1)


def test_without_an_end_of_the_dark_it_coasts_to_rest() -> None:
    # v^2 / 2a from 23.7 pulses a second at a third of the job's 10 a second squared, after a tenth of one under drive
    found = where(memory(dark_ms=0))
    assert found.highest - 1000 == pytest.approx(23.7 * DRIVEN_S + 23.7**2 / 20 * 3, abs=2)


def test_slower_means_nearer_and_rare_pulses_tell_too_little_of_the_rate() -> None:
    reach = [where(memory(dark_ms=0, rate=rate)).highest for rate in (500, 1000, 2000)]
    assert reach == sorted(reach)
    assert reach[0] < reach[-1]
    for rate in (0, 100):
        assert where(memory(dark_ms=0, rate=rate)).highest == reach[-1]


def test_a_hand_is_granted_the_time_to_look_up() -> None:
    found = where(memory(dark_ms=0, rate=2000), drive="hand")
    assert found.highest - 1000 == round(HAND_SHARE * 20 * HAND_STOPS_S) + 1


def test_without_a_ratchet_the_strand_may_have_drawn_it_back() -> None:
    assert where(memory(), ratchet=False).lowest == 1000 - 2


def test_from_the_journal_it_lies_between_what_was_heard_and_the_next_stop() -> None:
    kept = memory(source=codes.FROM_JOURNAL, pulses=100, rate=0, dark_ms=0)
    target = plan().target_pulses
    alone = where(kept)
    assert alone.lowest == 100
    assert target <= alone.highest <= target + 3
    heard = where(kept, Heard(400, "winding", None))
    assert (heard.lowest, heard.highest) == (400, alone.highest)
    in_time = where(kept, Heard(400, "winding", 1.0))
    assert 400 + 24 < in_time.highest < 400 + 24 * 4 + 90


# The job's 60 rpm are 20 pulses a second, its ramp takes 10 a second from them in each: a spool driven on for 0.05 s
# that then slows down twice as fast has run out in 20 * 0.05 + 20^2 / (2 * 2 * 10) = 11 pulses.
RUN_OUT = 11


def test_the_likely_count_is_the_last_one_known_and_an_ordinary_run_out() -> None:
    assert where(memory(dark_ms=0)).best == 1000 + RUN_OUT
    kept = memory(source=codes.FROM_JOURNAL, pulses=100, rate=0, dark_ms=0)
    assert where(kept, Heard(400, "winding", None)).best == 400 + RUN_OUT
    assert where(kept, Heard(400, "winding", 60.0)).best == 400 + RUN_OUT
    assert where(None, Heard(400, "winding", 2.0)).best == 400 + RUN_OUT
    assert where(memory(dark_ms=0), drive="stepper", steps_per_spool_turn=3200).best == 1000 + 1
    assert where(memory(dark_ms=0), drive="hand").best == 1000 + 20


def test_the_likely_count_is_possible_and_no_farther_than_the_running_rate_goes_in_the_dark() -> None:
    assert where(memory(dark_ms=330)).best == 1000 + 7
    assert where(memory(dark_ms=0, rate=0)).best == 1000
    target = plan().target_pulses
    kept = memory(source=codes.FROM_JOURNAL, pulses=100, rate=0, dark_ms=0)
    assert where(kept, Heard(target - 3, "easing", None)).best == target


def test_the_likely_count_of_a_motion_of_which_nobody_heard_is_the_middle() -> None:
    kept = memory(source=codes.FROM_JOURNAL, pulses=100, rate=0, dark_ms=0)
    for heard in (None, Heard(100, "waiting", 5.0), Heard(60, "winding", None)):
        found = where(kept, heard)
        assert found.best == (100 + found.highest) // 2


@pytest.mark.parametrize("heard", [None, Heard(400, "winding", None), Heard(400, "winding", 1.0)])
def test_what_is_declared_reaches_both_ends_whichever_is_farther(heard: Heard | None) -> None:
    for kept in (memory(), memory(dark_ms=0), memory(source=codes.FROM_JOURNAL, pulses=100, rate=0), None):
        found = where(kept, heard, ratchet=False)
        if found is None:
            continue
        assert found.lowest <= found.best <= found.highest
        assert found.best - found.uncertain_pulses <= found.lowest
        assert found.best + found.uncertain_pulses >= found.highest
        assert found.uncertain_pulses in (found.best - found.lowest, found.highest - found.best)


def test_the_ledger_alone_knows_a_rest_unless_a_button_could_end_it() -> None:
    rest = Heard(400, "waiting", None)
    assert where(None, rest).uncertain_pulses == 0
    assert where(None, rest, fitted=["go_button"]).uncertain_pulses > 0
    assert where(None, Heard(400, "winding", 2.0)).uncertain_pulses > 0


def test_nobody_knows_what_nobody_kept() -> None:
    assert where(None) is None

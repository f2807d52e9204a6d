"""The simulated winder's truth about its stops: each wind is judged by its own count's zero, and by what it reached."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from plant.truth import Overshoot
from reelwright.errors import EXIT_DONE, EXIT_PAUSED, EXIT_TRIPPED
from simulated.power_cuts import STOP, TARGET, at_the_stop, power_fails

if TYPE_CHECKING:
    from simulated.lockstep import HostBench


class Control:
    """What the truth asks of a control: which wind a motion is of, and the count there."""

    def __init__(self) -> None:
        self.kept: tuple[int, int] | None = (1, 0)

    def __call__(self) -> tuple[int, int] | None:
        return self.kept


@pytest.fixture
def control() -> Control:
    return Control()


@pytest.fixture
def overshoot(control: Control) -> Overshoot:
    """Of winds with a stop at 10 pulses and the target at 20."""
    return Overshoot([10, 20], control)


def turned(overshoot: Overshoot, *passed: int, running: bool = True) -> None:
    """True pulses that the counter has all counted."""
    for each in passed:
        overshoot.step(each, each, running)


def test_it_is_the_largest_excess_of_true_pulses_over_the_stop_in_force(control: Control, overshoot: Overshoot) -> None:
    turned(overshoot, 0, 5, 9, 10, 12, 11)
    assert (overshoot.stop, overshoot.peak_pulses) == (10, 2)
    turned(overshoot, 11, running=False)
    control.kept = (1, 11)
    turned(overshoot, 11)
    assert overshoot.stop == 20
    overshoot.step(23, 20, True)
    assert overshoot.peak_pulses == 3


def test_a_spool_that_is_turned_before_a_wind_has_begun_goes_past_no_stop(
    control: Control, overshoot: Overshoot
) -> None:
    turned(overshoot, 0, 700, running=False)
    control.kept = None
    turned(overshoot, 700, 900)
    turned(overshoot, 900, running=False)
    assert overshoot.peak_pulses == 0
    control.kept = (1, 0)
    turned(overshoot, 900, 911)
    assert (overshoot.stop, overshoot.peak_pulses) == (10, 1)


def test_a_further_wind_counts_from_where_it_begins_and_begins_at_the_first_stop(
    control: Control, overshoot: Overshoot
) -> None:
    turned(overshoot, 0, 10)
    turned(overshoot, 10, running=False)
    control.kept = (1, 10)
    turned(overshoot, 10, 21)
    turned(overshoot, 22, running=False)
    assert (overshoot.stop, overshoot.peak_pulses) == (20, 2)
    control.kept = (2, 0)
    turned(overshoot, 22, 33)
    assert (overshoot.stop, overshoot.peak_pulses) == (10, 2)
    turned(overshoot, 35)
    assert overshoot.peak_pulses == 3


def test_a_wind_that_another_winder_began_counts_from_its_own_zero(control: Control, overshoot: Overshoot) -> None:
    control.kept = (7, 15)
    turned(overshoot, 0, 7)
    assert (overshoot.stop, overshoot.peak_pulses) == (20, 2)


def test_a_stop_that_was_reached_stays_behind_a_spool_that_is_drawn_back_and_comes_again_after_a_restart(
    control: Control, overshoot: Overshoot
) -> None:
    turned(overshoot, 0, 10)
    turned(overshoot, 9, running=False)
    control.kept = (1, 9)
    turned(overshoot, 9, 12)
    assert (overshoot.stop, overshoot.peak_pulses) == (20, 0)
    turned(overshoot, 12, running=False)
    overshoot.restarted()
    control.kept = (1, 8)
    turned(overshoot, 12, 13)
    assert (overshoot.stop, overshoot.peak_pulses) == (10, 3)


def peak_pulses(bench: HostBench) -> int:
    """What the winder's truth tells."""
    return bench.winder.board._overshoot.peak_pulses


def test_of_two_winds_on_one_winder_each_keeps_to_its_stops(bench: HostBench) -> None:
    for wind in (1, 2):
        assert bench.wind() == EXIT_PAUSED
        assert bench.wind() == EXIT_DONE
        assert bench.true_pulses == pytest.approx(wind * TARGET, abs=2)
        assert peak_pulses(bench) <= 1


def test_a_power_cut_at_rest_changes_nothing_of_it(bench: HostBench) -> None:
    at_the_stop(bench)
    power_fails(bench)
    bench.resume()
    assert bench.true_pulses == pytest.approx(TARGET, abs=1)
    assert peak_pulses(bench) <= 1


@pytest.mark.parametrize("bench", [(("power_cut", 9.0),)], indirect=True)
@pytest.mark.parametrize("behind", [-15, 0, 15])
def test_after_a_power_cut_on_the_way_it_is_what_the_agreed_count_is_behind(bench: HostBench, behind: int) -> None:
    assert bench.wind() == EXIT_TRIPPED
    bench.winder.pass_periods(600)
    bench.resume(counted_pulses=bench.true_pulses - behind)
    assert bench.true_pulses == pytest.approx(STOP + behind, abs=1)
    assert bench.wind() == EXIT_DONE
    assert bench.true_pulses == pytest.approx(TARGET + behind, abs=1)
    assert peak_pulses(bench) == pytest.approx(max(0, behind), abs=1)

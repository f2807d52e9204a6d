"""The drive's figures from two runs, against a motor that is solved in closed form."""

from __future__ import annotations

from fractions import Fraction
from math import exp, floor
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelwright.condition import MotorSample
from reelwright.errors import DeviceError, UsageError
from reelwright.operation.motor_test import motor_job
from reelwright.operation.motor_tune import LEAST_LAG_S, Run, fast_job, tune
from reelwright.views.checkup_page import tuning_lines
from reelwright.winding.job import Machine
from reelwright.winding.plan import make_plan


def machine(**changes: Any) -> Machine:
    return Machine(**{"pulses_per_turn": 60, "turns_per_layer": Fraction(20), **changes})


def run_of(rpm: float, no_load: float, least: float, lag_s: float) -> Run:
    """A motor that is given a little more duty than its speed needs, and nears that speed as exp(-t / lag).

    The first-order answer of a brushed motor, textbooks; a sample every 0.15 s, and its speed that of 65 ms ago.
    """
    slope = no_load / (1 - least)
    duty = least + 1.02 * rpm / slope
    goal, samples = 1.02 * rpm, []
    for step in range(200):
        seconds = 0.15 * step
        now = goal * max(0.0, 1 - exp(-(seconds - 0.065) / lag_s))
        turns = goal / 60 * (seconds - lag_s * (1 - exp(-seconds / lag_s)))
        samples.append(MotorSample(step, turns, now, duty))
    return Run(rpm, samples)


@given(st.floats(130, 260), st.floats(0.0, 0.25), st.floats(0.3, 4))
def test_a_motor_that_is_solved_in_closed_form_gives_its_own_figures_back(
    no_load: float, least: float, lag_s: float
) -> None:
    of = machine(max_spool_rpm=120)
    found = tune(of, run_of(30, no_load, least, lag_s), run_of(120, no_load, least, lag_s))
    assert found.no_load_rpm == pytest.approx(no_load, rel=0.02)
    assert found.least_duty == pytest.approx(least, abs=0.01)
    # a trapezoid over samples that are up to half a lag apart
    assert found.lag_s == pytest.approx(lag_s, rel=0.1)
    assert found.acceleration_rpm_s <= of.acceleration_rpm_s
    assert found.deceleration_rpm_s <= of.slowing_rpm_s


def test_a_run_whose_first_word_came_at_its_speed_already_asks_for_no_gentler_ramp() -> None:
    """As of a quick drive, or of a link that lost the first ones."""
    of = machine(max_spool_rpm=120)
    at_speed = [MotorSample(step, 0.3 * step, 120.0, 0.6) for step in range(40)]
    found = tune(of, run_of(30, 200, 0.1, 0.5), Run(120, at_speed))
    assert (found.lag_s, found.acceleration_rpm_s) == (LEAST_LAG_S, of.acceleration_rpm_s)


def in_whole_pulses(run: Run, window_s: float, pulses_per_turn: int) -> Run:
    """The same run, its rates told as whole pulses in a window: what is left over is told with a later one."""
    told, carried = [], 0.0
    for each in run.samples:
        pulses = each.rpm / 60 * pulses_per_turn * window_s + carried
        carried = pulses - floor(pulses)
        told.append(each._replace(rpm=floor(pulses) / window_s / pulses_per_turn * 60))
    return Run(run.wanted_rpm, told)


@pytest.mark.parametrize(("pulses_per_turn", "window_s"), [(60, 0.06), (60, 0.07), (20, 0.07), (20, 0.08)])
def test_rates_that_whole_pulses_throw_far_off_count_with_the_others(pulses_per_turn: int, window_s: float) -> None:
    slow, fast = (in_whole_pulses(run_of(rpm, 168, 0.03, 0.3), window_s, pulses_per_turn) for rpm in (30.0, 120.0))
    assert max(each.rpm for each in fast.samples) > 1.06 * 120
    found = tune(machine(max_spool_rpm=120), slow, fast)
    assert found.no_load_rpm == pytest.approx(168, rel=0.02)
    assert found.least_duty == pytest.approx(0.03, abs=0.01)


def test_a_heavy_spool_is_told_gentler_ramps_and_a_light_one_keeps_its_own() -> None:
    of = machine(max_spool_rpm=120, acceleration_rpm_s=60.0)
    light = tune(of, run_of(30, 168, 0.03, 0.3), run_of(120, 168, 0.03, 0.3))
    assert (light.acceleration_rpm_s, light.deceleration_rpm_s) == (60.0, 30.0)
    heavy = tune(of, run_of(30, 168, 0.03, 3.0), run_of(120, 168, 0.03, 3.0))
    # four fifths of (168 - 120) / 3, and of a quarter of 120 / 3
    assert heavy.acceleration_rpm_s == pytest.approx(12.8, rel=0.12)
    assert heavy.deceleration_rpm_s == pytest.approx(8.0, rel=0.1)
    lines = list(tuning_lines(heavy))
    assert f"no_load_rpm = {floor(heavy.no_load_rpm * 10) / 10:g}" in lines
    assert lines[0].startswith("Least duty that turns the spool: ")


def test_runs_that_say_nothing_are_refused() -> None:
    good = run_of(120, 168, 0.03, 0.3)
    of = machine(max_spool_rpm=120)
    with pytest.raises(DeviceError, match="not steady at 30"):
        tune(of, Run(30, good.samples), good)
    slow = run_of(30, 168, 0.03, 0.3)
    strong = Run(30, [each._replace(duty=0.9) for each in slow.samples])
    with pytest.raises(DeviceError, match="needs a duty of 90"):
        tune(of, strong, good)


def test_the_fast_run_is_at_the_machines_speed_for_long_enough_and_only_for_dc() -> None:
    of = machine(max_spool_rpm=120)
    plan = make_plan(fast_job(of))
    assert plan.cruise_rpm == 120
    # two turns to gain speed, four to lose it, and the rest at speed
    assert plan.turns == 18
    assert fast_job(of).machine.on_link_loss == motor_job(of).machine.on_link_loss == "pause"
    with pytest.raises(UsageError, match="no duty"):
        fast_job(machine(drive="stepper", steps_per_spool_turn=Fraction(3200)))
    with pytest.raises(UsageError, match="too near"):
        fast_job(machine(max_spool_rpm=120, spool_rpm=20))

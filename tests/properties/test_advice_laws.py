"""What holds for the advice and the drive of every wind."""

from __future__ import annotations

from fractions import Fraction
from math import pi
from typing import Any

import mpmath
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from reelwright.errors import FileFaultsError
from reelwright.winding.drive import Ramp, guided_tension_n, stopping_turns, torque_n_m
from winding_jobs import plan_of

Changes = dict[str, dict[str, Any]]

positive = st.floats(0.01, 100)


def millinewtons(tension_mn: int) -> float:
    """As newtons."""
    return tension_mn / 1000


@st.composite
def odd_winds(draw: st.DrawFn) -> Changes:
    """Spools, strands and winders that fit one another well, badly, or hardly at all."""
    diameter = round(draw(st.floats(0.5, 3)), 3)
    barrel = round(draw(st.floats(10 * diameter, 80 * diameter)), 2)
    layers = draw(st.integers(1, 8))
    width = round(draw(st.floats(4 * diameter, 50 * diameter)), 2)
    pitch = draw(st.floats(0.7, 1.6)) * diameter
    stroke = draw(st.none() | st.floats(0.7, 1.0).map(lambda share: round(share * width, 2)))
    oval = draw(st.sampled_from((0, 0, 0.1))) * diameter
    dwell = draw(st.sampled_from((0, 0, 1, 3)))
    turns = (stroke or width - diameter) / pitch + dwell
    return {
        "take_up": {
            "barrel_diameter_mm": barrel,
            "flange_diameter_mm": round(barrel + draw(st.floats(0.7, 1.5)) * 2 * diameter * (layers + 1), 2),
            "inside_width_mm": width,
            "barrel": draw(st.sampled_from(("smooth", "grooved"))),
            "empty_mass_g": draw(st.none() | st.floats(10, 500)),
        },
        "strand": {
            "diameter_mm": diameter - oval / 2,
            "second_diameter_mm": diameter + oval / 2 if oval else None,
            "density_g_cm3": draw(st.sampled_from((None, 1.24))),
        },
        "machine": {
            "stroke_mm": stroke,
            "dwell_turns": dwell,
            "turns_per_layer": str(Fraction(turns).limit_denominator(1000)),
            "guide_distance_mm": draw(st.none() | st.floats(20, 20_000)),
            "line_speed_m_s": draw(st.none() | st.floats(0.05, 2)),
            "motor_torque_n_m": draw(st.none() | st.floats(0.001, 0.1)),
            "gear_torque_n_m": draw(st.none() | st.floats(0.01, 0.3)),
            "motor_turns_per_spool_turn": draw(st.none() | st.integers(1, 30)),
            "back_tension_n": draw(st.floats(0, 5)),
        },
        "lay": {"rise": draw(st.sampled_from(("crossing", "nested", "stacked")))},
        "target": draw(st.sampled_from(_targets(layers, float(turns), barrel + layers * diameter, diameter))),
    }


def _targets(layers: int, layer_turns: float, middle_mm: float, diameter_mm: float) -> list[dict[str, float]]:
    """About as many layers, said in every way. middle_mm: diameter of the middle layer."""
    turns = round(layers * layer_turns, 3)
    length_m = round(turns * pi * middle_mm / 1000, 3)
    mass_g = round(length_m * pi / 4 * diameter_mm**2 * 1.24, 3)
    ends = {"leader_m": round(length_m / 10, 3), "tail_m": 0.1}
    return [
        {"layers": layers}, {"turns": turns}, {"length_m": length_m}, {"length_m": length_m} | ends, {"mass_g": mass_g}
    ]  # fmt: skip


@settings(deadline=None, max_examples=150)
@given(odd_winds())
def test_whatever_is_found_each_of_its_mends_takes_it_away(changes: Changes) -> None:
    try:
        plan = plan_of(**changes)
    except FileFaultsError:
        assume(False)
        return
    for finding in plan.findings:
        assert finding.remedy, finding
        assert finding.mends, finding
        for mend in finding.mends:
            tables = {name: dict(table) for name, table in changes.items()}
            for change in mend:
                table, _, key = change.key.partition(".")
                tables[table][key] = change.value
            assert finding.code not in {left.code for left in plan_of(**tables).findings}, (finding, mend)


@given(positive, positive, positive)
def test_torque_is_proportional_to_tension_and_to_radius(tension: float, radius: float, times: float) -> None:
    torque = torque_n_m(tension, radius)
    assert torque_n_m(times * tension, radius) == pytest.approx(times * torque, rel=1e-12)
    assert torque_n_m(tension, times * radius) == pytest.approx(times * torque, rel=1e-12)


@given(st.floats(0, 1), st.floats(0, 500), st.floats(0, 500), positive)
def test_bends_round_guides_multiply(friction: float, one_deg: float, other_deg: float, tension: float) -> None:
    both = guided_tension_n(tension, friction, one_deg + other_deg)
    assert guided_tension_n(guided_tension_n(tension, friction, one_deg), friction, other_deg) == pytest.approx(both)
    assert guided_tension_n(tension, 0, one_deg) == tension


@settings(deadline=None, max_examples=60)
@given(st.floats(0.02, 1.5), st.floats(1, 12), st.fractions(Fraction(1, 10), Fraction(174, 5), max_denominator=30))
def test_line_speed_is_the_same_in_every_layer_that_the_winder_can_turn_for(
    wanted: float, layers: float, phase: Fraction
) -> None:
    plan = plan_of(
        machine={"line_speed_m_s": wanted, "phase_turns": phase}, target={"layers": layers}, lay={"rise": "stacked"}
    )
    for row in plan.layers:
        assert row.spool_rpm <= 120
        if row.spool_rpm < 120:
            whole = phase == Fraction(174, 5)
            # after a pass of fewer turns a layer lies on two levels, and the higher one sets the speed
            assert not whole or row.line_speed_m_s == pytest.approx(wanted, rel=1e-12)
        assert row.line_speed_m_s <= wanted * (1 + 1e-12)
    speeds = [row.spool_rpm for row in plan.layers]
    assert speeds == sorted(speeds, reverse=True)
    assert (plan.cruise_rpm, plan.slowest_rpm) == (max(speeds), min(speeds))
    # nowhere on the spool does the strand run faster than wanted
    for pulses in range(0, plan.target_pulses + 1, 997):
        layer_rpm = plan.layers[plan.layer_at(pulses)[0] - 1].spool_rpm
        assert plan.line_speed_m_s(pulses, layer_rpm) <= wanted * (1 + 1e-12)


@settings(deadline=None, max_examples=60)
@given(st.floats(1, 12), st.integers(0, 10_000).map(millinewtons))
def test_each_layers_torque_is_its_radius_times_the_tension(layers: float, tension: float) -> None:
    plan = plan_of(machine={"back_tension_n": tension}, target={"layers": layers})
    for row in plan.layers:
        assert row.torque_n_m == pytest.approx(tension * (row.diameter_mm - 1.75) / 2 / 1000, abs=1e-12)
    assert plan.torque_n_m == plan.layers[-1].torque_n_m


@given(st.floats(1, 1000), st.floats(1, 1000))
def test_the_way_to_rest_is_half_the_speed_times_the_time(rpm: float, deceleration: float) -> None:
    seconds = rpm / deceleration
    assert stopping_turns(rpm, deceleration) == pytest.approx(rpm / 60 / 2 * seconds, rel=1e-12)


def integrated_seconds(ramp: Ramp, turns: float, start_rpm: float) -> float:
    """The integral of dx / v over the way, each v being the lowest of what gaining, cruising and slowing allow."""
    start, creep, cruise = start_rpm / 60, ramp.creep_rpm / 60, ramp.cruise_rpm / 60
    gain, loss, way = ramp.acceleration_rpm_s / 60, ramp.deceleration_rpm_s / 60, turns - ramp.creep_turns

    def pace(at: Any) -> Any:
        rising = mpmath.sqrt(start**2 + 2 * gain * at)
        falling = mpmath.sqrt(creep**2 + 2 * loss * (way - at))
        return 1 / min(rising, falling, cruise)

    # where the curves meet, so that each piece is smooth
    meeting = (creep**2 - start**2 + 2 * loss * way) / (2 * (gain + loss))
    corners = [(cruise**2 - start**2) / (2 * gain), way - (cruise**2 - creep**2) / (2 * loss), meeting]
    nodes = sorted({0.0, way, *(corner for corner in corners if 0 < corner < way)})
    return float(mpmath.quad(pace, nodes)) + ramp.creep_turns / creep


@settings(deadline=None, max_examples=40)
@given(st.floats(20, 300), st.floats(1, 10), st.floats(5, 300), st.floats(5, 300), st.floats(0.5, 80), st.floats(0, 1))
def test_the_time_of_a_leg_is_the_integral_over_its_trapezoid(
    cruise: float, creep: float, gain: float, loss: float, turns: float, share: float
) -> None:
    ramp = Ramp(cruise, creep, gain, loss, 0.1)
    start = share * cruise
    # a leg too short to slow down from its start is not a trapezoid
    assume(stopping_turns(start, loss) - stopping_turns(creep, loss) < turns - ramp.creep_turns)
    assume(stopping_turns(creep, gain) - stopping_turns(start, gain) < turns - ramp.creep_turns)
    assert ramp.seconds(turns, start) == pytest.approx(integrated_seconds(ramp, turns, start), rel=1e-9)

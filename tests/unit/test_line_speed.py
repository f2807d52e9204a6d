"""A wanted line speed: what each layer turns at, what the winder is sent, and what the person is told."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelwright.device.job_values import job_values
from reelwright.errors import UsageError
from reelwright.views.plan import plan_text
from windcore.job import Job
from windcore.line import LineSpeed
from windcore.ramp import grain_for
from winding_jobs import plan_of
from windlink.job import POSITION

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan

SLOW = {"line_speed_m_s": 0.3}


def sent_rpm(plan: Plan) -> float:
    """The cruise in the winder's job: hundredths of a pulse a second, at 60 pulses a turn."""
    return job_values(plan.job, plan)[POSITION["cruise_rate"]] / 100


def wound_rpm(plan: Plan, layer: int) -> float:
    """The cruise of the winder in this layer, from the job that it is sent."""
    job = Job(1, "", job_values(plan.job, plan))
    grain = grain_for(job.full_rate)
    line = LineSpeed()
    line.prepare(job, job.cruise_rate * grain // 100)
    return line.cruise(layer) / grain * 60 / float(plan.pulses_per_spool_turn)


def test_the_winder_is_sent_the_speed_of_the_first_layer_and_how_the_turns_grow() -> None:
    plan = plan_of(machine=SLOW)
    assert plan.cruise_rpm == pytest.approx(0.3 / plan.coil.turn_length_mm(0) * 60_000, rel=1e-12)
    assert sent_rpm(plan) == pytest.approx(plan.cruise_rpm, abs=0.006)
    largest_turn_m = plan.coil.turn_length_at_mm(plan.turns) / 1000
    assert plan.slowest_rpm == plan.layers[-1].spool_rpm == pytest.approx(0.3 / largest_turn_m * 60, rel=1e-12)


@settings(deadline=None, max_examples=100)
@given(
    st.floats(0.05, 3),
    st.floats(18, 120),
    st.floats(30, 300),
    st.integers(1, 600),
    st.integers(2, 40),
    st.integers(1, 348),
    st.sampled_from(("crossing", "nested", "stacked")),
)
def test_the_winder_turns_each_layer_at_the_speed_that_draws_the_line_speed(
    wanted: float, barrel: float, rpm: float, pulses: int, layers: int, phase: int, rise: str
) -> None:
    plan = plan_of(
        take_up={"barrel_diameter_mm": barrel, "flange_diameter_mm": 400},
        machine={
            "line_speed_m_s": wanted,
            "max_spool_rpm": rpm,
            "pulses_per_turn": pulses,
            "phase_turns": Fraction(phase, 10),
        },
        target={"layers": layers},
        lay={"rise": rise},
    )
    grain = grain_for(job_values(plan.job, plan)[POSITION["full_rate"]])
    # a layer's rate is a whole number of grains a second, and so is the cruise that it comes from; hundredths
    # of a pulse a second are what the cruise is sent in
    rounding = (3 / grain + 0.01) / pulses * 60
    for row in plan.layers:
        assert wound_rpm(plan, row.layer) == pytest.approx(row.spool_rpm, rel=2e-3, abs=rounding)
        assert wound_rpm(plan, row.layer) <= rpm + rounding


def test_a_line_speed_beyond_the_spools_greatest_speed_winds_at_that() -> None:
    plan = plan_of(machine={"line_speed_m_s": 3, "max_spool_rpm": 90})
    assert (plan.cruise_rpm, sent_rpm(plan)) == (90, 90)
    assert {row.spool_rpm for row in plan.layers} == {90}
    assert "line_speed_beyond" in {finding.code for finding in plan.findings}


def test_without_a_line_speed_every_layer_turns_at_the_machines_own_speed() -> None:
    plan = plan_of(machine={"spool_rpm": 77})
    assert {row.spool_rpm for row in plan.layers} == {plan.cruise_rpm} == {77}


def test_the_time_lies_between_those_of_the_first_and_of_the_last_layers_speed() -> None:
    plan = plan_of(machine=SLOW)
    fast, slow = (plan_of(machine={"spool_rpm": rpm}) for rpm in (plan.cruise_rpm, plan.slowest_rpm))
    assert fast.seconds < plan.seconds < slow.seconds
    assert plan.ramp is not None
    assert plan.ramp.cruise_rpm == plan.cruise_rpm
    assert plan.ramp.creep_rpm <= plan.slowest_rpm


@pytest.mark.parametrize("stops", [{}, {"pause_every_layer": True}, {"marks_m": [3.0, 21.0]}])
def test_the_time_left_at_the_start_is_the_plans_and_falls_to_nothing(stops: dict[str, Any]) -> None:
    plan = plan_of(machine=SLOW, target=stops)
    crept = plan.seconds_left(0, 1e-9)
    assert crept == pytest.approx(plan.seconds)
    left = [plan.seconds_left(pulses, plan.slowest_rpm) or 0.0 for pulses in range(0, plan.target_pulses + 60, 60)]
    assert left == sorted(left, reverse=True)
    assert left[-1] == 0.0


@pytest.mark.parametrize("kind", ["hand", "dc"])
def test_a_crank_is_paced_by_the_line_speed_too(kind: str) -> None:
    plan = plan_of(machine=SLOW | {"drive": kind}, target={"turns": 100})
    turning = sum(row.turns * 60 / row.spool_rpm for row in plan.layers)
    assert plan.seconds >= turning * (1 - 1e-3)  # but for the pulse that the end is rounded to
    assert kind == "dc" or plan.seconds == pytest.approx(turning, rel=1e-3)
    assert (plan.load.stopping_turns is None) == (kind == "hand")


def test_the_way_to_rest_is_that_of_the_speed_that_is_sent() -> None:
    plan = plan_of(machine={"spool_rpm": 60, "deceleration_rpm_s": 60})
    # one turn a second, lost in a second: half a turn, of the last layer's length
    assert plan.load.stopping_turns == pytest.approx(0.5)
    assert plan.load.stopping_s == pytest.approx(1)
    assert plan.load.stopping_length_m == pytest.approx(plan.coil.turn_length_at_mm(plan.turns) / 2000)


def test_a_speed_that_the_winder_cannot_count_is_refused_under_the_key_that_asked_for_it() -> None:
    plan = plan_of(machine={"line_speed_m_s": 90, "max_spool_rpm": 9000, "pulses_per_turn": 10_000})
    with pytest.raises(UsageError, match=r"machine\.line_speed_m_s"):
        job_values(plan.job, plan)


def told(**changes: dict[str, Any]) -> str:
    return " ".join(plan_text(plan_of(**changes)).split())


def test_the_text_gives_a_speed_to_each_layer_and_says_that_the_spool_slows_down() -> None:
    text = told(machine=SLOW)
    plan = plan_of(machine=SLOW)
    assert "Speed Torque" in text
    for row in plan.layers:
        assert f"{row.spool_rpm:.1f} {row.torque_n_m:.3f}" in text
    assert f"turning at {plan.cruise_rpm:.4g} rpm, slowing to {plan.slowest_rpm:.4g} rpm" in text
    assert "Line speed 0.3 m/s in the last layer, 0.3 m/s wanted: the spool slows down layer by layer" in text
    assert "Speed Torque" not in told()


@pytest.mark.parametrize("one_speed", [{"machine": {"line_speed_m_s": 5}}, {"machine": SLOW, "target": {"layers": 1}}])
def test_the_text_does_not_say_that_the_spool_slows_down_where_one_speed_holds(one_speed: dict[str, Any]) -> None:
    plan = plan_of(**one_speed)
    assert {row.spool_rpm for row in plan.layers} == {plan.cruise_rpm}
    assert "wanted: the spool keeps one speed in all layers" in told(**one_speed)
    assert not re.search("slows down|slowing", told(**one_speed))


def test_the_text_tells_the_way_to_rest_and_the_motors_share() -> None:
    machine = {"motor_torque_n_m": 0.5, "guide_wrap_deg": 90, "guide_friction": 0.2}
    text = told(machine=machine, take_up={"empty_mass_g": 150})
    # 120 rpm, lost at 30 rpm/s; the last turn is 298.9 mm long
    for words in (
        "Coming to rest 4.00 turns, 1.20 m of strand, 4.0 s when asked to pause there",
        "Tension 2.74 N at the spool, 2 N before the guides",
        "to start again with the inertia of strand and empty spool",
        "of 0.5 N m to start again, geared 1 : 1",
        "Line speed 0.598 m/s in the last layer",
    ):
        assert words in text, text


def test_the_text_sets_each_finding_beside_its_mend() -> None:
    text = told(take_up={"barrel_diameter_mm": 50})
    assert (
        "Advice Warning (tight_bend): The bending strain on the barrel is 3.382 % and should be at most 3 % (own "
        "limit): stiff or damp strand may crack when it is left so. "
        "Mend: Take a spool with a barrel of at least 56.59 mm."
    ) in text
    assert "Advice" not in told()
    assert "Forbidden (over_flange)" in told(take_up={"flange_diameter_mm": 90})

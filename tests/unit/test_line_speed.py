"""A wanted line speed: what each layer turns at, what the winder is sent, and what the person is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from reelwright.device.job_values import job_values
from reelwright.errors import UsageError
from reelwright.views.plan import plan_text
from winding_jobs import plan_of
from windlink.job import JOB_FIELDS

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan

SLOW = {"line_speed_m_s": 0.3}
CRUISE = [field.name for field in JOB_FIELDS].index("cruise_rate")


def sent_rpm(plan: Plan) -> float:
    """The cruise in the winder's job: hundredths of a pulse a second, at 60 pulses a turn."""
    return job_values(plan.job, plan)[CRUISE] / 100


def test_the_winder_is_sent_the_speed_of_the_last_and_largest_layer() -> None:
    plan = plan_of(machine=SLOW)
    largest_turn_m = plan.coil.turn_length_at_mm(plan.turns) / 1000
    assert plan.cruise_rpm == pytest.approx(0.3 / largest_turn_m * 60, rel=1e-12)
    assert sent_rpm(plan) == pytest.approx(plan.cruise_rpm, abs=0.006)
    assert plan.layers[0].spool_rpm > plan.layers[-1].spool_rpm == plan.cruise_rpm


def test_a_line_speed_beyond_the_spools_greatest_speed_winds_at_that() -> None:
    plan = plan_of(machine={"line_speed_m_s": 3, "max_spool_rpm": 90})
    assert (plan.cruise_rpm, sent_rpm(plan)) == (90, 90)
    assert {row.spool_rpm for row in plan.layers} == {90}
    assert "line_speed_beyond" in {finding.code for finding in plan.findings}


def test_without_a_line_speed_every_layer_turns_at_the_machines_own_speed() -> None:
    plan = plan_of(machine={"spool_rpm": 77})
    assert {row.spool_rpm for row in plan.layers} == {plan.cruise_rpm} == {77}


def test_time_and_ramp_go_by_the_speed_that_is_sent() -> None:
    slow, same = plan_of(machine=SLOW), plan_of(machine={"spool_rpm": plan_of(machine=SLOW).cruise_rpm})
    assert slow.seconds == same.seconds
    assert slow.ramp == same.ramp


@pytest.mark.parametrize("kind", ["hand", "dc"])
def test_a_crank_is_paced_by_the_line_speed_too(kind: str) -> None:
    plan = plan_of(machine=SLOW | {"drive": kind}, target={"turns": 100})
    assert plan.seconds >= 100 * 60 / plan.cruise_rpm
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


def test_the_text_gives_a_speed_to_each_layer_and_says_that_one_is_sent() -> None:
    text = told(machine=SLOW)
    plan = plan_of(machine=SLOW)
    assert "Speed Torque" in text
    for row in plan.layers:
        assert f"{row.spool_rpm:.1f} {row.torque_n_m:.3f}" in text
    assert "the winder is sent this one speed of the spool" in text
    assert "Speed Torque" not in told()


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

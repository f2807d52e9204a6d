"""A plan, and what a count means by it."""

from __future__ import annotations

import itertools
import json
from fractions import Fraction

import pytest

from reelwright.winding.drive import Ramp
from reelwright.winding.job import ImpossibleJobError, Job, Lay, Machine, Strand, TakeUp, Target
from reelwright.winding.plan import make_plan
from winding_jobs import job_of, plan_of

N = Fraction(174, 5)


def test_a_length_becomes_turns_layers_and_pulses_that_agree() -> None:
    plan = plan_of()
    assert plan.length_m == pytest.approx(40, abs=1e-9)
    assert plan.turns == pytest.approx(plan.full_layers * float(N) + plan.last_layer_turns, abs=1e-12)
    assert plan.target_pulses == round(plan.turns * 60)
    assert plan.pulses_per_layer == 60 * N
    assert plan.counted_turns == plan.target_pulses / 60
    assert plan.layer_pulses[-1] == plan.target_pulses
    assert plan.layers[-1].cumulative_length_m == pytest.approx(40, abs=1e-9)
    assert sum(row.length_m for row in plan.layers) == pytest.approx(40, abs=1e-9)


def test_whole_layers_end_on_their_boundary_without_a_crumb_of_another() -> None:
    plan = plan_of(target={"layers": 5})
    assert (plan.full_layers, plan.last_layer_turns, len(plan.layers)) == (5, 0.0, 5)
    assert plan.exact_turns == 5 * N
    assert plan.phase_turns == N
    again = plan_of(target={"length_m": repr_m(plan.length_m)})
    assert (again.exact_turns, again.layer_pulses) == (plan.exact_turns, plan.layer_pulses)


def repr_m(length_m: float) -> Fraction:
    return Fraction(length_m)


@pytest.mark.parametrize("phase_turns", ["7/3", "174/5"])
def test_a_length_that_fills_a_layer_ends_on_its_boundary_though_a_float_is_a_hair_off_it(phase_turns: str) -> None:
    machine = {"phase_turns": phase_turns}
    sides = set()
    for layers in range(1, 13):
        end = Fraction(phase_turns) + (layers - 1) * N
        plan = plan_of(target={"turns": end}, machine=machine)
        again = plan_of(target={"length_m": repr_m(plan.length_m)}, machine=machine)
        assert (again.exact_turns, again.last_layer_turns) == (end, 0.0)
        off = Fraction(again.coil.turns(1000 * plan.length_m)) - end
        sides.add((off > 0) - (off < 0))
    assert {-1, 1} <= sides, "floats on either side of a boundary"


def test_half_a_layer_is_half_its_turns() -> None:
    assert plan_of(target={"layers": "5/2"}).exact_turns == N * 5 / 2


def test_a_mass_is_the_mass_of_the_counted_strand() -> None:
    plan = plan_of(target={"mass_g": 100, "leader_m": 2})
    assert plan.mass_g == pytest.approx(100, rel=1e-12)
    assert plan.wound_mass_g == pytest.approx(100 * plan.wound_length_m / plan.length_m, rel=1e-12)
    assert plan.wound_length_m == pytest.approx(plan.length_m + 2, rel=1e-12)


def test_without_density_there_is_no_mass_rather_than_a_guess() -> None:
    plan = plan_of(strand={"density_g_cm3": None})
    assert (plan.mass_g, plan.mass_u_g, plan.wound_mass_g) == (None, None, None)
    assert plan.at_pulses(500).mass_g is None


def test_counting_starts_after_the_leader_and_stands_still_over_the_tail() -> None:
    plan = plan_of(target={"length_m": 20, "leader_m": 1, "tail_m": 2})
    scale, coil = plan.scale, plan.coil
    in_leader = int(coil.turns(900) * 60)
    in_tail = int(coil.turns(22_000) * 60)
    assert plan.length_m_at(in_leader) == 0.0
    assert plan.wound_length_m_at(in_leader) == pytest.approx(0.9, abs=0.01)
    assert plan.length_m_at(in_tail) == pytest.approx(20, abs=1e-9)
    assert plan.length_m_at(plan.target_pulses) == pytest.approx(20, abs=coil.turn_length_at_mm(80) / 60_000)
    beyond = plan.target_pulses + 600
    more_m = coil.length_mm(scale.turns(beyond)) / 1000 - 23
    assert plan.length_m_at(beyond) == pytest.approx(20 + more_m, abs=1e-9)


def test_pauses_are_ascending_before_the_target_and_share_a_pulse_only_once() -> None:
    two_layers_m = plan_of(target={"layers": 2}).length_m
    plan = plan_of(target={"marks_m": [30, 5, repr_m(two_layers_m)], "pause_at_layers": [2, 1]})
    assert [kind for _, kind in plan.stops] == ["mark", "layer", "layer", "mark"]
    assert [pulses for pulses, _ in plan.stops] == sorted({pulses for pulses, _ in plan.stops})
    assert plan.stops[1:3] == ((2088, "layer"), (4176, "layer"))
    assert plan.length_m_at(plan.stops[0][0]) == pytest.approx(5, abs=0.003)


def test_pausing_at_every_layer_does_not_pause_at_the_target() -> None:
    plan = plan_of(target={"layers": 4, "pause_every_layer": True})
    assert plan.stops == ((2088, "layer"), (4176, "layer"), (6264, "layer"))


def test_the_layer_just_filled_is_still_the_present_one() -> None:
    plan = plan_of(target={"layers": "9/2"})
    assert plan.layer_at(0) == (1, 0.0, 34.8)
    assert plan.layer_at(2088) == (1, 34.8, 34.8)
    assert plan.layer_at(2089)[0] == 2
    assert plan.layer_at(2089)[1] == pytest.approx(1 / 60)
    layer, *turns = plan.layer_at(plan.target_pulses)
    assert layer == 5
    assert turns == pytest.approx([17.4, 17.4])


def test_overshoot_runs_on_in_the_last_layer_and_then_into_the_next() -> None:
    plan = plan_of(target={"layers": "9/2"})
    layer, turns, planned = plan.layer_at(plan.target_pulses + 6)
    assert layer == 5
    assert [turns, planned] == pytest.approx([17.5, 34.8])
    assert plan.layer_at(plan.target_pulses + 2000)[0] == 6


@pytest.mark.parametrize("ppr", [60, 7, 1])
def test_beyond_the_target_a_layer_ends_on_the_pulse_that_a_longer_plan_gives_it(ppr: int) -> None:
    # at 7 pulses a turn a layer is 243.6 pulses, so that its end is rounded up or down
    short, long = (plan_of(machine={"pulses_per_turn": ppr}, target={"layers": each}) for each in (2, 7))
    for end in long.layer_pulses[1:-1]:
        for pulses in (end - 1, end, end + 1):
            assert short.layer_at(pulses)[0] == long.layer_at(pulses)[0], pulses


def test_a_first_pass_of_a_pulse_or_less_is_the_present_layer_no_longer_than_that() -> None:
    less, one = (plan_of(machine={"pulses_per_turn": 1, "phase_turns": each}) for each in ("2/5", 1))
    assert (less.layer_pulses[0], one.layer_pulses[0]) == (0, 1)
    assert [less.layer_at(pulses)[0] for pulses in (0, 1)] == [2, 2]
    assert [one.layer_at(pulses)[0] for pulses in (0, 1, 2)] == [1, 1, 2]


def test_a_wind_that_starts_in_mid_layer_fills_the_short_pass_first() -> None:
    plan = plan_of(machine={"phase_turns": "7.3"}, target={"layers": 3})
    assert [row.turns for row in plan.layers] == [7.3, 34.8, 34.8]
    assert plan.layer_pulses == (438, 2526, 4614)
    assert plan.layer_at(439)[0] == 2


def test_the_phase_after_a_wind_starts_the_next_one_where_this_one_stopped() -> None:
    plan = plan_of(target={"turns": 50})
    assert plan.phase_turns == 2 * N - 50
    real = plan.at_pulses(50 * 60 + 12)
    assert real.phase_turns == 2 * N - 50 - Fraction(12, 60)


def test_what_was_really_wound_is_told_short_of_the_target_and_beyond() -> None:
    plan = plan_of()
    short, exact, long = (plan.at_pulses(plan.target_pulses + more) for more in (-600, 0, 600))
    assert short.length_m < exact.length_m < long.length_m
    assert exact.length_m == pytest.approx(40, abs=0.003)
    assert exact.length_u_m == pytest.approx(plan.length_u_m, rel=1e-3)
    assert plan.mass_g is not None
    assert long.mass_g == pytest.approx(plan.mass_g * long.length_m / plan.length_m, rel=1e-9)
    assert plan.at_pulses(0).length_m == 0.0
    assert (plan.at_pulses(-9).length_m, plan.at_pulses(-9).layers) == (0.0, 0)


def test_time_left_falls_to_nothing_and_is_unknown_at_rest() -> None:
    plan = plan_of(target={"pause_every_layer": True})
    left = [plan.seconds_left(pulses, 120.0) or 0.0 for pulses in range(0, plan.target_pulses, 200)]
    assert all(later < earlier for earlier, later in itertools.pairwise(left))
    assert plan.seconds_left(plan.target_pulses, 6.0) == 0.0
    assert plan.seconds_left(100, 0.0) is None


def test_the_planned_time_is_the_sum_of_its_legs() -> None:
    plan = plan_of(target={"layers": 2, "pause_every_layer": True})
    assert plan.ramp is not None
    assert plan.seconds == pytest.approx(2 * plan.ramp.seconds(34.8), rel=1e-12)


def test_a_hand_drive_has_no_ramp_and_is_timed_by_its_pace() -> None:
    plan = plan_of(machine={"drive": "hand", "spool_rpm": 60}, target={"turns": 90})
    assert plan.ramp is None
    assert plan.seconds == pytest.approx(90)
    assert plan.seconds_left(30 * 60, 30) == pytest.approx(120)


def test_a_sensor_on_the_crank_counts_by_its_gearing_exactly() -> None:
    plan = plan_of(
        machine={"pulses_per_turn": 4, "sensor_shaft": "crank", "shaft_turns_per_spool_turn": "29/10"},
        target={"layers": 7},
    )
    assert plan.pulses_per_spool_turn == Fraction(58, 5)
    assert plan.target_pulses == round(7 * N * Fraction(58, 5))


def test_a_layer_or_a_target_of_less_than_a_pulse_forbids_winding() -> None:
    coarse = {"turns_per_layer": "1/2", "stroke_mm": 1, "pulses_per_turn": 1}
    assert "too_few_pulses" in plan_of(machine=coarse).blocking
    assert "too_few_pulses" in plan_of(machine={"pulses_per_turn": 1}, target={"turns": "0.3"}).blocking


def test_a_wind_that_stopped_just_before_a_reversal_can_be_followed_by_another() -> None:
    first = plan_of(machine={"pulses_per_turn": 1}, target={"layers": 3})
    assert first.phase_turns == Fraction(2, 5)  # 104 of 104.4 turns
    second = plan_of(machine={"pulses_per_turn": 1, "phase_turns": first.phase_turns}, target={"layers": 3})
    assert second.blocking == ()
    assert second.layer_pulses == (0, 35, 70)
    assert second.layer_at(1)[0] == 2


def test_line_speed_follows_the_turn_being_laid() -> None:
    plan = plan_of()
    slow, fast = plan.line_speed_m_s(0, 60), plan.line_speed_m_s(plan.target_pulses, 60)
    assert slow == pytest.approx(plan.coil.turn_length_mm(0) / 1000)
    assert fast > slow


def test_the_answer_is_plain_json_with_the_agreed_keys() -> None:
    answer = json.loads(json.dumps(plan_of().to_dict(), allow_nan=False))
    agreed = (
        "turns full_layers last_layer_turns turns_per_layer lay_pitch_mm rise_factor length_m length_u_m mass_g "
        "mass_u_g outer_diameter_mm flange_margin_mm target_pulses layer_pulses layers seconds warnings"
    )
    assert set(agreed.split()) <= set(answer)
    assert answer["turns_per_layer"] == "174/5"
    layer = "layer turns length_m cumulative_length_m diameter_mm spool_rpm line_speed_m_s torque_n_m"
    assert set(answer["layers"][0]) == set(layer.split())
    assert all(set(warning) >= {"code", "message"} for warning in plan_of(lay={"rise": "nested"}).to_dict()["warnings"])


def test_a_job_built_past_the_checks_is_refused_with_its_key() -> None:
    sound = job_of()
    broken = Job(sound.take_up, sound.strand, Machine(60, turns_per_layer=N, phase_turns=N + 1), sound.target)
    with pytest.raises(ImpossibleJobError) as refusal:
        make_plan(broken)
    assert refusal.value.key == "machine.phase_turns"


def test_equal_jobs_make_equal_answers() -> None:
    tables = (TakeUp(80, 200, 63), Strand(1.75), Machine(60, turns_per_layer=N), Target(length_m=40), Lay())
    assert make_plan(Job(*tables)).to_dict() == make_plan(Job(*tables)).to_dict()


def test_a_ramp_that_starts_fast_needs_less_time() -> None:
    ramp = Ramp(120, 6, 60, 60, 0.2)
    assert ramp.seconds(10, 120) < ramp.seconds(10, 0)


@pytest.mark.parametrize("asked", [30, 0.3, 1 / 3, 29.7, 0.1 + 0.2])
def test_what_was_asked_for_is_told_to_the_last_digit(asked: float) -> None:
    assert plan_of(target={"length_m": asked, "leader_m": 0.1}).to_dict()["length_m"] == asked
    assert plan_of(target={"mass_g": asked}).to_dict()["mass_g"] == asked


def test_a_length_asked_for_is_told_to_its_last_digit() -> None:
    asked = [20 + each / 10 for each in range(50)]
    plans = [plan_of(target={"length_m": each}) for each in asked]
    assert [plan.length_m for plan in plans] == asked
    assert [plan.length.value / 1000 for plan in plans] != asked  # which is rounded on its way through the turns


def test_who_has_measured_the_density_is_told_to_measure_it_better() -> None:
    measured = {"strand": "a", "figures": ["density"], "found": ["density"]}
    plan = plan_of(strand={"diameter_u_mm": 0.0001}, lay={"rise": 0.95, "rise_u": 0.0001}, calibration=measured)
    assert plan.mass is not None
    assert plan.mass.dominant == "density"
    assert plan.mass_reason.endswith("measure it better than its calibration did, or more often.")

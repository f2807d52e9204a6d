"""What a count means while a wind runs: the plan's own figures at its ends, and laws between them."""

from __future__ import annotations

import itertools
from math import inf

import pytest

from winding_jobs import plan_of

STOPS = {"pause_every_layer": True, "marks_m": [3, 17.5, 33]}
ENDS = {"leader_m": 0.8, "tail_m": 1.1}


def test_at_its_target_a_wind_is_what_was_planned() -> None:
    plan = plan_of(target=ENDS | {"turns": 150})
    wound = plan.at_pulses(plan.target_pulses)
    assert wound.length_m == pytest.approx(plan.length_m, rel=1e-12)
    assert wound.length_u_m == pytest.approx(plan.length_u_m, rel=1e-12)
    assert wound.mass_g == pytest.approx(plan.mass_g, rel=1e-12)
    assert wound.mass_u_g == pytest.approx(plan.mass_u_g, rel=1e-12)
    assert wound.turns == plan.turns == 150
    assert wound.layers == len(plan.layers) == 5
    assert plan.wound_length_m_at(plan.target_pulses) == pytest.approx(plan.wound_length_m, rel=1e-12)


@pytest.mark.parametrize("pulses", [0, -7])
def test_before_the_first_pulse_nothing_is_wound(pulses: int) -> None:
    plan = plan_of(target=ENDS)
    wound = plan.at_pulses(pulses)
    assert (wound.layers, wound.length_m, wound.mass_g) == (0, 0.0, 0.0)
    assert wound.phase_turns == plan.first_pass_turns
    assert plan.at_pulses(1).layers == 1


@pytest.mark.parametrize("phase", ["174/5", "7/3"])
def test_the_rows_of_the_layers_are_the_coil_cut_at_their_ends(phase: str) -> None:
    plan = plan_of(machine={"phase_turns": phase}, target={"turns": 150})
    ends = list(itertools.accumulate(row.turns for row in plan.layers))
    assert ends[-1] == pytest.approx(150, rel=1e-14)
    for number, (row, end) in enumerate(zip(plan.layers, ends, strict=True), start=1):
        assert row.layer == number
        assert row.cumulative_length_m == pytest.approx(plan.coil.length_mm(end) / 1000, rel=1e-12)
    lengths = [row.length_m for row in plan.layers]
    assert list(itertools.accumulate(lengths)) == pytest.approx([row.cumulative_length_m for row in plan.layers])


@pytest.mark.parametrize("ppr", [60, 7])
@pytest.mark.parametrize("target", [{"turns": 150}, {"layers": 3}], ids=str)
def test_each_count_lies_in_the_first_layer_that_does_not_end_before_it(ppr: int, target: dict[str, int]) -> None:
    # at 7 pulses a turn a layer is 243.6 pulses, so that its end is rounded up or down
    plan = plan_of(target=target, machine={"pulses_per_turn": ppr})
    for pulses in range(1, plan.target_pulses + 1):
        layer, laid, planned = plan.layer_at(pulses)
        assert layer == 1 + sum(end < pulses for end in plan.layer_pulses)
        before = plan.layer_pulses[layer - 2] if layer > 1 else 0
        assert laid == pytest.approx((pulses - before) / ppr, abs=1 / ppr)
        assert planned == plan.layers[layer - 1].turns


def test_a_mark_at_either_end_of_a_wind_is_no_stop() -> None:
    assert plan_of(target={"length_m": 40, "marks_m": [0.001, 40]}).stops == ()
    within = plan_of(target={"length_m": 40, "marks_m": [0.005, 39.99]})
    assert [pulses for pulses, _ in within.stops] == [1, within.target_pulses - 2]


def test_a_pause_after_the_last_layer_is_none() -> None:
    plan = plan_of(target={"turns": 100, "pause_at_layers": [2, 3]})
    assert plan.stops == ((plan.layer_pulses[1], "layer"),)


def test_from_rest_a_wind_takes_its_planned_time_with_every_stop_on_the_way() -> None:
    plan = plan_of(machine={"drive": "dc"}, target=STOPS)
    assert len(plan.stops) > 5
    assert plan.seconds_left(0, 1e-9) == pytest.approx(plan.seconds, rel=1e-9)
    left = [plan.seconds_left(pulses, plan.cruise_rpm) or 0.0 for pulses in (0, *(stop for stop, _ in plan.stops))]
    assert left == sorted(left, reverse=True)
    # to a wind at speed the gain of speed is no loss of time
    assert left[0] < plan.seconds
    assert plan.seconds_left(plan.target_pulses, 60) == 0.0


def test_a_crank_beyond_its_target_has_no_time_left_and_a_slow_one_has_much() -> None:
    plan = plan_of(machine={"drive": "hand"})
    assert plan.seconds_left(plan.target_pulses + 100, 60) == 0.0
    assert plan.seconds_left(0, 0.5) == pytest.approx(plan.turns * 120)
    assert plan.seconds_left(0, 0.0) is None
    assert plan.seconds_left(0, inf) == 0.0

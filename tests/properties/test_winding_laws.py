"""What holds for every wind."""

from __future__ import annotations

import itertools
from fractions import Fraction
from math import pi, sqrt

from hypothesis import given, settings
from hypothesis import strategies as st

from reelwright.winding.coil import Coil
from reelwright.winding.pulses import PulseScale, layer_boundaries, round_half_up
from winding_jobs import plan_of

N = Fraction(174, 5)

coils = st.builds(
    lambda radius, diameter, rise, pitch, layer, share, dwell: Coil(
        radius, rise * diameter, pitch * diameter, layer, layer * share, layer * dwell
    ),
    st.floats(10, 300),
    st.floats(0.2, 6),
    st.floats(0.5, 1),
    st.floats(0, 1.5),
    st.fractions(2, 200, max_denominator=50),
    st.fractions(Fraction(1, 100), 1, max_denominator=100),
    st.fractions(0, Fraction(99, 100), max_denominator=100),
)


@settings(deadline=None, max_examples=300)
@given(coils, st.floats(0.001, 60))
def test_turns_to_length_and_back_are_exact_inverses(coil: Coil, layers: float) -> None:
    turns = layers * float(coil.turns_per_layer)
    assert abs(coil.turns(coil.length_mm(turns)) - turns) <= 1e-9 * max(1.0, turns)
    length = coil.length_mm(turns)
    assert abs(coil.length_mm(coil.turns(length)) - length) <= 1e-9 * max(1.0, length)


@settings(deadline=None, max_examples=200)
@given(coils, st.floats(0, 1000), st.floats(1e-6, 100))
def test_more_turns_are_more_strand(coil: Coil, turns: float, more: float) -> None:
    assert coil.length_mm(turns + more) > coil.length_mm(turns)


@settings(deadline=None, max_examples=100)
@given(st.fractions(1, 100, max_denominator=20), st.floats(0, 800))
def test_a_whole_layer_ahead_is_the_same_as_no_phase(layer_turns: Fraction, turns: float) -> None:
    assert Coil(40, 1.6, 1.8, layer_turns, layer_turns).length_mm(turns) == Coil(40, 1.6, 1.8, layer_turns).length_mm(
        turns
    )


def cell_by_cell_length(coil: Coil, parts: int, layer_cells: int, first_cells: int, cells: int) -> float:
    """A guide carried to and fro over a row of cells, each 1/parts of a turn wide; strand lies on what is there."""
    heights = [0] * layer_cells
    position, step = layer_cells - first_cells, 1
    length = 0.0
    for _ in range(cells):
        if not 0 <= position < layer_cells:
            step = -step
            position += step
        radius = coil.inner_radius_mm + heights[position] * coil.rise_mm
        length += sqrt((2 * pi * radius) ** 2 + coil.pitch_mm**2) / parts
        heights[position] += 1
        position += step
    return length


@settings(deadline=None, max_examples=300)
@given(st.data())
def test_the_sum_over_passes_is_that_of_a_guide_followed_cell_by_cell(data: st.DataObject) -> None:
    parts = data.draw(st.integers(1, 5))
    layer_cells = data.draw(st.integers(1, 60))
    first_cells = data.draw(st.integers(1, layer_cells))
    cells = data.draw(st.integers(1, 600))
    rise_mm = data.draw(st.floats(0.1, 3))
    coil = Coil(data.draw(st.floats(10, 100)), rise_mm, 1.8, Fraction(layer_cells, parts), Fraction(first_cells, parts))
    slow = cell_by_cell_length(coil, parts, layer_cells, first_cells, cells)
    assert abs(coil.length_mm(cells / parts) - slow) <= 1e-12 * slow


@settings(deadline=None, max_examples=300)
@given(st.integers(1, 600), st.integers(1, 200), st.integers(1, 174))
def test_a_layers_end_is_within_half_a_pulse_however_deep(pulses_per_turn: int, layers: int, first: int) -> None:
    first_pass = Fraction(first, 5)
    ends = layer_boundaries(first_pass, N, PulseScale(Fraction(pulses_per_turn)), layers)
    for done, pulses in enumerate(ends):
        exact = (first_pass + done * N) * pulses_per_turn
        assert abs(pulses - exact) <= Fraction(1, 2)


def test_layer_200_of_a_plan_is_within_half_a_pulse_for_every_sensor_from_1_to_600() -> None:
    for pulses_per_turn in range(1, 601):
        ends = layer_boundaries(N, N, PulseScale(Fraction(pulses_per_turn)), 200)
        assert abs(ends[-1] - 200 * N * pulses_per_turn) <= Fraction(1, 2)
    plan = plan_of(target={"layers": 200}, take_up={"flange_diameter_mm": 900})
    assert plan.layer_pulses[-1] == 200 * 174 * 12


@given(st.fractions(-1000, 1000, max_denominator=64))
def test_rounding_takes_halves_up(value: Fraction) -> None:
    rounded = round_half_up(value)
    assert -Fraction(1, 2) < rounded - value <= Fraction(1, 2)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.05, 3000), st.fractions(Fraction(1, 10), N, max_denominator=30), st.integers(1, 600))
def test_a_planned_length_is_reached_within_half_a_pulse_at_the_target(
    length_m: float, phase: Fraction, ppr: int
) -> None:
    plan = plan_of(
        target={"length_m": length_m},
        machine={"phase_turns": phase, "pulses_per_turn": ppr},
        take_up={"flange_diameter_mm": 5000},
    )
    # the half pulse may lie on the next pass, a layer up
    half_pulse_m = plan.coil.turn_length_at_mm(plan.turns + float(plan.layer_turns)) / 1000 / ppr / 2
    assert abs(plan.length_m_at(plan.target_pulses) - length_m) <= half_pulse_m + 1e-9
    assert list(plan.layer_pulses) == sorted(plan.layer_pulses)
    assert abs(plan.layer_pulses[-1] - plan.exact_turns * ppr) <= Fraction(1, 2)


def millimetres(length_mm: int) -> float:
    """As metres."""
    return length_mm / 1000


@settings(deadline=None, max_examples=60)
@given(st.floats(1, 400), st.integers(0, 5000).map(millimetres), st.integers(0, 5000).map(millimetres))
def test_the_counted_length_never_falls(length_m: float, leader_m: float, tail_m: float) -> None:
    plan = plan_of(
        target={"length_m": length_m, "leader_m": leader_m, "tail_m": tail_m}, take_up={"flange_diameter_mm": 900}
    )
    counted = [plan.length_m_at(round(plan.target_pulses * step / 50)) for step in range(60)]
    assert all(later >= earlier - 1e-12 for earlier, later in itertools.pairwise(counted))

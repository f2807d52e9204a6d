"""Where the strand lies: levels, passes and the phase of the guide."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding.coil import MOST_LAYERS, Coil, TooManyLayersError

N = Fraction(10)


def coil_of(first_pass_turns: Fraction | None = None) -> Coil:
    return Coil(40.0, 1.7, 1.76, N, first_pass_turns)


def test_from_the_flange_each_pass_lies_one_level_higher() -> None:
    assert coil_of().stretches(35) == [(10, 0), (10, 1), (10, 2), (5, 3)]


def test_a_guide_in_mid_layer_makes_passes_of_two_levels() -> None:
    # three turns to the flange on the bare barrel; back over those three, then over bare barrel; and so on
    assert coil_of(Fraction(3)).stretches(33) == [(3, 0), (3, 1), (7, 0), (7, 1), (3, 2), (3, 3), (7, 2)]


def test_no_strand_has_no_length_and_a_spool_turned_back_has_none_either() -> None:
    assert coil_of().length_mm(0) == 0.0
    assert coil_of().length_mm(-2.5) == 0.0
    assert coil_of().turns(0) == 0.0


def test_the_first_turns_have_the_length_of_the_innermost_helix() -> None:
    coil = coil_of()
    assert coil.length_mm(1) == coil.turn_length_mm(0)


def test_asking_for_deeper_layers_leaves_the_shallow_ones_alone() -> None:
    coil = coil_of(Fraction(3))
    before = coil.length_mm(12.5)
    coil.length_mm(800)
    assert coil.length_mm(12.5) == before


def test_sensitivities_are_the_slopes_of_the_length() -> None:
    step = 1e-4
    turns = 47.3
    by_radius, by_rise = coil_of(Fraction(3)).sensitivities(turns)
    wider = Coil(40.0 + step, 1.7, 1.76, N, Fraction(3)).length_mm(turns)
    narrower = Coil(40.0 - step, 1.7, 1.76, N, Fraction(3)).length_mm(turns)
    higher = Coil(40.0, 1.7 + step, 1.76, N, Fraction(3)).length_mm(turns)
    lower = Coil(40.0, 1.7 - step, 1.76, N, Fraction(3)).length_mm(turns)
    assert by_radius == pytest.approx((wider - narrower) / (2 * step), rel=1e-7)
    assert by_rise == pytest.approx((higher - lower) / (2 * step), rel=1e-7)


@pytest.mark.parametrize("first", [Fraction(0), Fraction(-1), N + Fraction(1, 1000)])
def test_a_first_pass_of_nothing_or_of_more_than_a_layer_is_refused(first: Fraction) -> None:
    with pytest.raises(ValueError, match="first pass"):
        coil_of(first)


def test_a_wind_deeper_than_any_spool_is_refused_and_not_computed_for_ever() -> None:
    with pytest.raises(TooManyLayersError):
        coil_of().turns(1e12)
    assert coil_of().length_mm(float(N * (MOST_LAYERS - 1))) > 0


def test_the_top_level_is_that_of_the_highest_strand_even_after_the_guide_went_down() -> None:
    # pass 2 climbs over the three turns first and then lays seven on the bare barrel
    assert coil_of(Fraction(3)).top_level(12) == 1
    assert coil_of().top_level(0) == -1


def test_a_standing_guide_lays_circles_half_of_them_at_each_end_of_a_pass() -> None:
    coil = Coil(40.0, 1.7, 1.76, N, None, Fraction(2))
    assert coil.stretches(20) == [(1, 0), (8, 0), (1, 0), (1, 1), (8, 1), (1, 1)]
    assert coil.length_mm(1) == coil.circle_mm(0)
    assert coil.length_mm(9) - coil.length_mm(1) == pytest.approx(8 * coil.turn_length_mm(0))
    assert coil.length_mm(11) - coil.length_mm(9) == pytest.approx(coil.circle_mm(0) + coil.circle_mm(1))
    assert coil.turn_length_mm(0) > coil.circle_mm(0)


def test_a_guide_that_starts_in_a_stand_finishes_it_first() -> None:
    coil = Coil(40.0, 1.7, 1.76, N, Fraction(1, 2), Fraction(2))
    assert coil.stretches(11) == [(0.5, 0), (0.5, 1), (0.5, 0), (8, 0), (1, 0), (0.5, 1)]


@pytest.mark.parametrize("dwell", [N, Fraction(-1)])
def test_a_guide_that_never_travels_is_refused(dwell: Fraction) -> None:
    with pytest.raises(ValueError, match="dwell"):
        Coil(40.0, 1.7, 1.76, N, None, dwell)


@pytest.mark.parametrize("first", [N, Fraction(3)])
def test_no_strand_lies_on_a_level_before_its_turns(first: Fraction) -> None:
    coil = coil_of(first)
    assert coil.turns_below(0) == 0
    for level in range(1, 9):
        below = float(coil.turns_below(level))
        assert coil.top_level(below) == level - 1
        assert coil.top_level(below + 0.01) == level


@pytest.mark.parametrize("first", [N, Fraction(3)])
def test_a_pass_ends_where_the_next_begins_in_fractions_and_floats_alike(first: Fraction) -> None:
    coil = coil_of(first)
    for number in range(6):
        assert coil.end_turns(number) == float(coil.pass_end(number))
        assert coil.full_passes(coil.pass_end(number)) == number
        assert coil.full_passes(coil.pass_end(number + 1) - Fraction(1, 1000)) == number


def test_a_short_first_pass_begins_at_the_barrel_and_at_no_turns() -> None:
    coil = coil_of(Fraction(3))
    assert coil.length_mm(2) == pytest.approx(2 * coil.turn_length_mm(0), rel=1e-14)
    assert coil.turns(0.5) == pytest.approx(0.5 / coil.turn_length_mm(0), rel=1e-14)


def test_the_turn_at_a_layers_end_is_the_first_of_the_next_whatever_was_asked_before() -> None:
    fresh, asked = coil_of(), coil_of()
    asked.length_mm(500)
    for coil in (fresh, asked):
        assert coil.turn_length_at_mm(10) == coil.turn_length_mm(1)

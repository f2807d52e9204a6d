"""When a result contradicts what was known, and when it is less sure."""

from __future__ import annotations

from math import sqrt

import pytest
from attrs import evolve

from calibration_strands import LABEL, exact_wind
from reelwright.winding.calibration_change import LetGo, changes_between, let_go_between
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures
from reelwright.winding.calibration_methods import calibrate_layers, calibrate_together, calibrate_weight
from reelwright.winding.calibration_winds import LayerDiameter

KNOWN = StrandFigures(1.75, 0.02, 0.0, 0.957, 0.03, 1.24, 0.012)


def test_the_normalized_error_is_the_difference_over_both_expanded_uncertainties() -> None:
    # E_n = (x - X) / sqrt(U_x^2 + U_X^2) with U = 2 u: 0.03 / sqrt(0.04^2 + 0.02^2)
    (change,) = changes_between(KNOWN, evolve(KNOWN, diameter_mm=1.78, diameter_u_mm=0.01), (DIAMETER,))
    assert change.normalized_error == pytest.approx(0.03 / sqrt(0.04**2 + 0.02**2))
    assert not change.needs_decision


@pytest.mark.parametrize(("diameter_mm", "stands_out"), [(1.794, False), (1.796, True), (1.706, False), (1.704, True)])
def test_one_is_the_most_that_error_bars_explain_either_way(diameter_mm: float, stands_out: bool) -> None:
    (change,) = changes_between(KNOWN, evolve(KNOWN, diameter_mm=diameter_mm, diameter_u_mm=0.01), (DIAMETER,))
    assert change.stands_out is stands_out


@pytest.mark.parametrize(("density_u", "less_sure"), [(0.005, False), (0.012, False), (0.013, False), (0.0138, True)])
def test_less_sure_is_what_is_wider_by_more_than_a_tenth(density_u: float, less_sure: bool) -> None:
    (change,) = changes_between(KNOWN, evolve(KNOWN, density_u_g_cm3=density_u), (DENSITY,))
    assert (change.less_sure, change.needs_decision, change.stands_out) == (less_sure, less_sure, False)


def test_a_value_that_took_part_makes_the_difference_as_unsure_as_the_variances_differ() -> None:
    """The weighted mean m of x0 (u0) and y (v) has 1/u^2 = 1/u0^2 + 1/v^2, and m - x0 has variance u0^2 - u^2."""
    u0, v = 0.02, 0.01
    u = 1 / sqrt(1 / u0**2 + 1 / v**2)
    mean = 1.75 + 0.05 * u0**2 / (u0**2 + v**2)  # y = 1.80
    (change,) = changes_between(KNOWN, evolve(KNOWN, diameter_mm=mean, diameter_u_mm=u), (DIAMETER,), {DIAMETER})
    # the same as y against x0 themselves
    assert change.normalized_error == pytest.approx(0.05 / (2 * sqrt(u0**2 + v**2)))


def test_what_took_part_and_was_hardly_bettered_is_not_judged_and_what_was_not_known_neither() -> None:
    (change,) = changes_between(KNOWN, evolve(KNOWN, diameter_u_mm=0.0195), (DIAMETER,), {DIAMETER})
    assert change.normalized_error is None
    assert not change.needs_decision
    assert changes_between(evolve(KNOWN, rise=None), KNOWN, (RISE,)) == ()
    assert changes_between(None, KNOWN, (DIAMETER,)) == ()


def test_a_value_that_was_taken_as_exact_is_contradicted_by_any_other() -> None:
    exact = evolve(KNOWN, diameter_u_mm=0.0)
    (change,) = changes_between(exact, evolve(exact, diameter_mm=1.7501), (DIAMETER,))
    assert change.stands_out
    (same,) = changes_between(exact, exact, (DIAMETER,))
    assert same.normalized_error == 0
    assert not same.needs_decision


def test_a_weight_that_differs_by_its_uncertainty_stands_out_whichever_figure_it_is_solved_for() -> None:
    wind = exact_wind(LABEL)
    known_section = evolve(LABEL, diameter_u_mm=0.0005, density_u_g_cm3=0.0005)
    for figure, known, factor in ((DIAMETER, LABEL, 1.12), (DENSITY, LABEL, 1.12), (RISE, known_section, 1.02)):
        heavy = evolve(wind, gross_mass_g=(wind.gross_mass_g or 0.0) * factor)
        change = next(each for each in calibrate_weight(heavy, known, figure).changes if each.figure == figure)
        assert change.stands_out, figure
    # what the two figures had in common is known to the second weighing, so that it may not change the mass of a metre
    first = calibrate_weight(wind, LABEL)
    after = evolve(first.after, calibrated=first.figures)
    again = calibrate_weight(evolve(wind, gross_mass_g=(wind.gross_mass_g or 0.0) * 1.03), after, DENSITY)
    assert next(each for each in again.changes if each.figure == DENSITY).stands_out


def test_a_rough_caliper_makes_a_rise_less_sure_alone_and_surer_together() -> None:
    wind = evolve(exact_wind(LABEL), gross_mass_g=None, empty_mass_g=None, length_m=None, caliper_u_mm=1.0)
    wind = evolve(wind, layers=tuple(LayerDiameter(each.layer, each.outer_mm) for each in wind.layers[:2]))
    alone = next(each for each in calibrate_layers(wind, LABEL).changes if each.figure == RISE)
    assert alone.less_sure
    assert not any(each.needs_decision for each in calibrate_together([wind], LABEL).changes)


def test_what_was_known_takes_part_where_everything_is_judged_together() -> None:
    wind = exact_wind(evolve(LABEL, rise=(LABEL.rise or 0.0) + 0.01))
    change = next(each for each in calibrate_together([wind], LABEL).changes if each.figure == RISE)
    # as of the weighted mean above: the variances' difference, not their sum
    difference = change.after - change.before
    assert difference > 0.001
    apart_u = sqrt(change.before_u**2 - change.after_u**2)
    assert change.normalized_error == pytest.approx(difference / (2 * apart_u))


MEASURED = evolve(KNOWN, calibrated=(DIAMETER, RISE, DENSITY))


def test_a_measured_figure_that_a_result_does_not_give_is_let_go() -> None:
    after = evolve(KNOWN, rise=None, rise_u=0.0, density_g_cm3=1.27, density_u_g_cm3=0.02)
    assert let_go_between(MEASURED, after, (DIAMETER,)) == (
        LetGo(RISE, 0.957, 0.03),
        LetGo(DENSITY, 1.24, 0.012),
    )
    assert let_go_between(MEASURED, after, (DIAMETER, DENSITY), "reed") == (LetGo(RISE, 0.957, 0.03, "reed"),)
    # what was only the label's is no measured figure, and of an unknown strand nothing is lost
    assert let_go_between(KNOWN, after, ()) == ()
    assert let_go_between(None, after, ()) == ()


@pytest.mark.parametrize(
    ("density_g_cm3", "u_g_cm3", "is_let_go"),
    [
        (1.24, 0.012, False),
        (1.24 * (1 + 5e-7), 0.012 * (1 - 5e-7), False),  # the digits that a profile keeps
        (1.2401, 0.012, True),
        (1.24, 0.0121, True),
    ],
)
def test_a_figure_that_is_as_before_all_the_same_is_not_let_go(
    density_g_cm3: float, u_g_cm3: float, is_let_go: bool
) -> None:
    after = evolve(KNOWN, density_g_cm3=density_g_cm3, density_u_g_cm3=u_g_cm3)
    assert bool(let_go_between(MEASURED, after, (DIAMETER, RISE))) is is_let_go

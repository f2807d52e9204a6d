"""The fit that calibrates, against certified datasets and the worked examples of the guide on uncertainty."""

from __future__ import annotations

from math import erf, exp, expm1, sqrt
from typing import TYPE_CHECKING

import pytest
from scipy import stats

from reelwright.winding.calibration_fit import Fit, NoFitError, Observation, UndeterminedError, fit
from reelwright.winding.calibration_readings import mean_of_readings, modified_z_scores
from reelwright.winding.distributions import (
    TWO_SIGMA,
    chi_square_tail,
    effective_degrees,
    student_factor,
    student_share,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

# NIST StRD, linear least squares, Norris (ozone monitors); Norris.dat as carried by scipy's tests. (y, x)
NORRIS = [
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3),
    (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5),
    (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8),
    (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
    (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
]  # fmt: skip

# NIST StRD, nonlinear least squares, Misra1a (monomolecular adsorption), y = b1 (1 - exp(-b2 x)). (y, x)
MISRA1A = [
    (10.07, 77.6), (14.73, 114.9), (17.94, 141.1), (23.93, 190.8), (29.61, 239.9), (35.18, 289.0), (40.02, 332.8),
    (44.82, 378.4), (50.76, 434.8), (55.05, 477.3), (61.01, 536.8), (66.40, 593.1), (75.47, 689.1), (81.78, 760.0),
]  # fmt: skip

# JCGM 100, H.3, table H.6: calibration of a thermometer. (correction b_k, reading t_k), in degrees C
THERMOMETER = [
    (-0.171, 21.521), (-0.169, 22.012), (-0.166, 22.512), (-0.159, 23.003), (-0.164, 23.507), (-0.165, 23.999),
    (-0.156, 24.513), (-0.157, 25.002), (-0.159, 25.503), (-0.161, 26.010), (-0.160, 26.511),
]  # fmt: skip


def line_through(points: Sequence[tuple[float, float]], start: tuple[float, float] = (0.0, 0.0)) -> Fit:
    """Every point with u = 1, so that the scatter is the residual standard deviation."""

    def at(x: float) -> Callable[[Sequence[float]], tuple[float, Sequence[float]]]:
        return lambda unknowns: (unknowns[0] + unknowns[1] * x, (1.0, x))

    return fit([Observation("", y, 1.0, at(x)) for y, x in points], start)


def saturation(points: Sequence[tuple[float, float]], start: tuple[float, float]) -> Fit:
    """Misra1a's model."""

    def at(x: float) -> Callable[[Sequence[float]], tuple[float, Sequence[float]]]:
        return lambda b: (-b[0] * expm1(-b[1] * x), (-expm1(-b[1] * x), b[0] * x * exp(-b[1] * x)))

    return fit([Observation("", y, 1.0, at(x)) for y, x in points], start)


def test_the_line_through_norris_is_the_certified_one() -> None:
    found = line_through(NORRIS)
    assert len(NORRIS) == 36
    assert found.values == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-12)
    assert found.scatter == pytest.approx(0.884796396144373, rel=1e-12)
    assert found.u(0) * found.scatter == pytest.approx(0.232818234301152, rel=1e-12)
    assert found.u(1) * found.scatter == pytest.approx(0.429796848199937e-3, rel=1e-12)
    assert found.chi_square == pytest.approx(26.6173985294224, rel=1e-12)


@pytest.mark.parametrize("start", [(500, 0.0001), (250, 0.0005)])  # the two starts that come with the dataset
def test_the_curve_through_misra1a_is_the_certified_one_from_both_starts(start: tuple[float, float]) -> None:
    found = saturation(MISRA1A, start)
    assert found.values == pytest.approx((2.3894212918e2, 5.5015643181e-4), rel=1e-10)
    assert found.scatter == pytest.approx(1.0187876330e-1, rel=1e-9)
    assert found.u(0) * found.scatter == pytest.approx(2.7070075241, rel=1e-9)
    assert found.u(1) * found.scatter == pytest.approx(7.2668688436e-6, rel=1e-9)
    assert found.chi_square == pytest.approx(1.2455138894e-1, rel=1e-9)


def test_the_guides_thermometer_has_the_line_that_is_printed() -> None:
    # JCGM 100, H.3.3 and H.3.4, with t0 = 20 degrees C
    found = line_through([(correction, reading - 20) for correction, reading in THERMOMETER])
    u = [found.u(index) * found.scatter for index in (0, 1)]
    assert [round(value, 4) for value in (found.values[0], u[0])] == [-0.1712, 0.0029]
    assert [round(value, 5) for value in (found.values[1], u[1])] == [0.00218, 0.00067]
    assert round(found.correlation(0, 1), 3) == -0.930
    assert round(found.scatter, 4) == 0.0035
    at_30 = found.values[0] + 10 * found.values[1]
    at_30_u = sqrt(u[0] ** 2 + (10 * u[1]) ** 2 + 20 * u[0] * u[1] * found.correlation(0, 1))
    assert (round(at_30, 4), round(at_30_u, 4)) == (-0.1494, 0.0041)


def test_a_residual_is_normalized_by_what_the_fit_leaves_of_its_own_uncertainty() -> None:
    # a mean of three: each residual has u sqrt(2/3)
    found = fit([Observation("", value, 1.0, lambda mean: (mean[0], (1.0,))) for value in (1.0, 2.0, 6.0)], [0.0])
    assert found.values[0] == pytest.approx(3)
    assert found.normalized == pytest.approx([-2 / sqrt(2 / 3), -1 / sqrt(2 / 3), 3 / sqrt(2 / 3)])


def test_what_is_not_settled_is_named_and_what_does_not_settle_is_told() -> None:
    with pytest.raises(UndeterminedError) as open_unknown:
        line_through([(1.0, 2.0), (1.1, 2.0), (0.9, 2.0)])
    assert open_unknown.value.index == 1
    with pytest.raises(UndeterminedError):
        line_through([(1.0, 2.0)])
    with pytest.raises(NoFitError):
        # no root is below zero, and beyond zero there is none: each step ends nearer to an end that is never reached
        fit([Observation("", -1.0, 1.0, lambda x: (sqrt(x[0]), (0.5 / sqrt(x[0]),)))], [1.0])


# JCGM 100, table G.2, column p = 95.45 %
FACTORS = {1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 6: 2.52, 7: 2.43, 8: 2.37, 9: 2.32, 10: 2.28, 20: 2.13}


@pytest.mark.parametrize(("degrees", "factor"), FACTORS.items())
def test_students_factor_is_that_of_the_guides_table(degrees: int, factor: float) -> None:
    assert round(student_factor(degrees), 2) == factor
    assert student_factor(degrees + 0.9) == student_factor(degrees)  # G.4.2, note 1: cut off


# NIST/SEMATECH e-Handbook, 1.3.6.7.4: upper 5 % points of chi-square; from memory
@pytest.mark.parametrize(("degrees", "point"), [(1, 3.841), (2, 5.991), (3, 7.815), (5, 11.070), (10, 18.307)])
def test_the_tail_of_chi_square_is_that_of_the_handbooks_table(degrees: int, point: float) -> None:
    assert chi_square_tail(point, degrees) == pytest.approx(0.05, abs=2e-5)
    assert chi_square_tail(0.0, degrees) == 1


@pytest.mark.parametrize("degrees", range(1, 13))
def test_both_distributions_are_those_of_another_library(degrees: int) -> None:
    # PyPI `scipy.stats`: t.cdf and chi2.sf
    for factor in (0.3, 1.0, 2.5, 30.0):
        share = stats.t.cdf(factor, degrees) - stats.t.cdf(-factor, degrees)
        assert student_share(factor, degrees) == pytest.approx(share, rel=1e-12)
        assert chi_square_tail(3 * factor, degrees) == pytest.approx(stats.chi2.sf(3 * factor, degrees), rel=1e-12)


def test_students_factor_needs_a_degree_of_freedom_and_is_two_for_very_many() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        student_factor(0.9)
    assert student_factor(float("inf")) == student_factor(1000) == 2
    assert student_factor(999) == pytest.approx(stats.t.ppf((1 + TWO_SIGMA) / 2, 999), rel=1e-9)
    assert pytest.approx(erf(sqrt(2))) == TWO_SIGMA


def test_the_fewer_readings_share_in_an_uncertainty_the_more_degrees_it_has() -> None:
    # Welch-Satterthwaite, JCGM 100, equation G.2b, with all but one of the parts known for certain
    assert effective_degrees(5.0, 3.0, 4) == pytest.approx(4 * 5**4 / 3**4)
    assert effective_degrees(3.0, 3.0, 4) == 4
    assert effective_degrees(0.5, 0.3, 4) == pytest.approx(4 * 5**4 / 3**4)
    assert effective_degrees(5.0, 0.0, 4) == float("inf")


# JCGM 100, 4.4.3 and table 1: twenty temperatures in degrees C; from memory
TEMPERATURES = [
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
    101.20, 101.57, 101.84, 102.36, 102.72,
]  # fmt: skip


def test_the_guides_twenty_temperatures_have_the_mean_and_the_uncertainty_that_are_printed() -> None:
    found = mean_of_readings(TEMPERATURES, known_u=0.0)
    assert round(found.value, 3) == pytest.approx(100.145, abs=0.001)
    assert round(found.scatter, 3) == 1.489
    assert round(found.random_u, 3) == 0.333
    assert found.degrees == 19
    assert found.u == pytest.approx(found.random_u * student_factor(19) / 2)


def test_the_modified_z_score_is_that_of_its_definition_and_finds_the_outlier_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook, 1.3.5.17.1: eight mass spectrometer readings (Tietjen and Moore); from memory
    readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    scores = modified_z_scores(readings, least_spread=0.01)
    # median 201.37, absolute deviations 0.55 0.55 0.58 0.81 1.18 1.84 2.06 44.20 with the median 0.995
    assert scores[-1] == pytest.approx(0.6745 * 44.20 / 0.995, rel=1e-9)
    assert [position for position, score in enumerate(scores) if abs(score) > 3.5] == [7]

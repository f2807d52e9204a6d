"""What holds for every calibration: exact measurements give the truth back, and the error bars hold.

The series of random calibrations prints its seed; REELWRIGHT_CALIBRATIONS makes it longer than the suite's 300.
"""

from __future__ import annotations

import os
import random
from typing import TYPE_CHECKING

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration_strands import LABEL, TARE_G, exact_wind, lay, outer_mm
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures
from reelwright.winding.calibration_methods import (
    calibrate_diameter,
    calibrate_layers,
    calibrate_together,
    calibrate_weight,
)
from reelwright.winding.calibration_readings import Micrometer, Reading
from reelwright.winding.calibration_winds import LayerDiameter, MeasuredWind
from reelwright.winding.mass import strand_mass_g

if TYPE_CHECKING:
    from collections.abc import Callable

SERIES = int(os.environ.get("REELWRIGHT_CALIBRATIONS", "300"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "4"))
# Of normal deviates 95.45 % lie within two standard uncertainties; in a series that share scatters as a binomial one,
# by 1.2 % of 300. Three times that, and half a per cent for what a linear law leaves out of a fit that is not.
WITHIN = 0.9545
BAND = 3 * (WITHIN * (1 - WITHIN) / SERIES) ** 0.5 + 0.005
LEAST, MOST = WITHIN - BAND, WITHIN + BAND

strands = st.builds(
    StrandFigures,
    diameter_mm=st.floats(0.5, 4),
    diameter_u_mm=st.just(0.0),
    ovality_mm=st.floats(0, 0.05),
    rise=st.floats(0.6, 1.1),
    density_g_cm3=st.floats(0.8, 9),
)


def exactly(truth: StrandFigures) -> StrandFigures:
    """The strand as one would know it who is right about everything but what is to be found."""
    return evolve(truth, rise_u=0.03, density_u_g_cm3=1e-6)


@settings(deadline=None, max_examples=80)
@given(strands, st.floats(100, 900), st.floats(20, 200), st.sampled_from([DIAMETER, RISE, DENSITY]))
def test_an_exact_weight_gives_the_figure_back_whatever_was_believed_of_it(
    truth: StrandFigures, turns: float, barrel_mm: float, name: str
) -> None:
    wind = exact_wind(truth, turns, barrel_mm)
    believed = exactly(truth)
    if name == DIAMETER:
        believed = evolve(believed, diameter_mm=truth.diameter_mm * 1.07)
    elif name == RISE:
        believed = evolve(believed, rise=0.85)
    else:
        believed = evolve(believed, density_g_cm3=(truth.density_g_cm3 or 0) * 1.3)
    after = calibrate_weight(wind, believed, name).after
    assert after.value(name) == pytest.approx(truth.value(name), rel=1e-6)


@settings(deadline=None, max_examples=80)
@given(strands, st.lists(st.integers(1, 60), min_size=2, max_size=8, unique=True))
def test_exact_outer_diameters_give_the_rise_back(truth: StrandFigures, layers: list[int]) -> None:
    measured = tuple(LayerDiameter(layer, outer_mm(truth, layer)) for layer in layers)
    result = calibrate_layers(MeasuredWind(layers=measured), evolve(truth, rise=0.9))
    assert result.after.rise == pytest.approx(truth.rise, rel=1e-6)
    assert result.outlying == ()


@settings(deadline=None, max_examples=60)
@given(strands, st.floats(100, 900), st.floats(100, 900))
def test_exact_measurements_leave_what_was_rightly_known_where_it_is(
    truth: StrandFigures, turns: float, more: float
) -> None:
    winds = [exact_wind(truth, turns, name="one"), exact_wind(truth, turns + more, 60.0, name="two")]
    after = calibrate_together(winds, evolve(truth, diameter_u_mm=0.02, rise_u=0.03, density_u_g_cm3=0.02)).after
    found = (after.diameter_mm, after.rise, after.density_g_cm3)
    assert found == pytest.approx((truth.diameter_mm, truth.rise, truth.density_g_cm3), rel=1e-6)


def drawn_strand(draw: random.Random) -> StrandFigures:
    """A true strand about its label."""
    return evolve(
        LABEL,
        diameter_mm=draw.gauss(LABEL.diameter_mm, LABEL.diameter_u_mm),
        rise=draw.gauss(LABEL.rise or 0, LABEL.rise_u),
        density_g_cm3=draw.gauss(LABEL.density_g_cm3 or 0, LABEL.density_u_g_cm3),
    )


def measured_wind(draw: random.Random, truth: StrandFigures) -> MeasuredWind:
    """A wind of this strand, each measurement with a normal error of its stated uncertainty."""
    assert truth.rise is not None
    assert truth.density_g_cm3 is not None
    barrel_mm, turns = draw.gauss(80, 0.1), draw.uniform(250, 700)
    length_mm = lay(barrel_mm, truth.diameter_mm, truth.rise).length_mm(turns)
    net_g = strand_mass_g(length_mm, truth.density_g_cm3, *truth.diameters_mm())
    return MeasuredWind(
        barrel_mm=80,
        barrel_u_mm=0.1,
        lay=lay,
        turns=turns + draw.gauss(0, 0.05),
        turns_u=0.05,
        gross_mass_g=TARE_G + net_g + draw.gauss(0, 1),
        empty_mass_g=TARE_G + draw.gauss(0, 1),
        length_m=length_mm / 1000 + draw.gauss(0, 0.3),
        tape_u_m=0.3,
        layers=tuple(
            LayerDiameter(layer, outer_mm(truth, layer, barrel_mm) + draw.gauss(0, 0.3)) for layer in (1, 4, 7)
        ),
    )


WAYS: dict[str, tuple[str, Callable[[MeasuredWind], StrandFigures]]] = {
    "the rise of outer diameters": (RISE, lambda wind: calibrate_layers(wind, LABEL).after),
    "the diameter of a weight": (DIAMETER, lambda wind: calibrate_weight(wind, LABEL, DIAMETER).after),
    "the density of a weight": (DENSITY, lambda wind: calibrate_weight(wind, LABEL, DENSITY).after),
    "the rise of all together": (RISE, lambda wind: calibrate_together([wind], LABEL).after),
    "the diameter of all together": (DIAMETER, lambda wind: calibrate_together([wind], LABEL).after),
    "the density of all together": (DENSITY, lambda wind: calibrate_together([wind], LABEL).after),
}


@pytest.mark.parametrize("way", WAYS)
def test_the_truth_lies_within_two_uncertainties_in_95_of_100_calibrations(way: str) -> None:
    name, calibrate = WAYS[way]
    draw = random.Random(f"{SEED} {way}")
    inside = tried = 0
    for _ in range(SERIES):
        truth = drawn_strand(draw)
        after = calibrate(measured_wind(draw, truth))
        value, true_value = after.value(name), truth.value(name)
        assert value is not None
        assert true_value is not None
        inside += abs(value - true_value) <= 2 * after.u(name)
        tried += 1
    print(f"seed {SEED}: {inside} of {tried} hold the truth, {way}")
    assert LEAST <= inside / tried <= MOST


def test_so_does_the_mass_of_a_metre_and_the_length_of_a_wind_with_what_the_figures_have_in_common() -> None:
    draw = random.Random(SEED)
    metres = lengths = 0
    for _ in range(SERIES):
        truth = drawn_strand(draw)
        after = calibrate_together([measured_wind(draw, truth)], LABEL).after
        metre, true_metre = after.mass_per_metre_g(), truth.mass_per_metre_g()
        assert metre is not None
        assert true_metre is not None
        metres += abs(metre[0] - true_metre[0]) <= 2 * metre[1]
        assert after.rise is not None
        assert truth.rise is not None
        coil = lay(80, after.diameter_mm, after.rise)
        by_radius, by_rise = coil.sensitivities(600)
        by_diameter, by_factor = by_radius / 2 + by_rise * after.rise, by_rise * after.diameter_mm
        variance = (
            by_diameter**2 * after.covariance(DIAMETER, DIAMETER)
            + by_factor**2 * after.covariance(RISE, RISE)
            + 2 * by_diameter * by_factor * after.covariance(DIAMETER, RISE)
        )
        true_mm = lay(80, truth.diameter_mm, truth.rise).length_mm(600)
        lengths += abs(coil.length_mm(600) - true_mm) <= 2 * variance**0.5
    print(f"seed {SEED}: of {SERIES}, {metres} masses of a metre and {lengths} lengths hold the truth")
    assert LEAST <= metres / SERIES <= MOST
    assert LEAST <= lengths / SERIES <= MOST


@pytest.mark.parametrize("count", [3, 5, 10])
def test_a_mean_of_few_readings_holds_the_truth_as_often(count: int) -> None:
    # a scatter well above the last digit, so that the instrument's share, which is no normal deviate, is small
    draw = random.Random(f"{SEED} {count}")
    micrometer = Micrometer(resolution_mm=0.001, error_limit_mm=0.002)
    inside = 0
    for _ in range(SERIES):
        error_mm = draw.uniform(-0.002, 0.002)
        readings = [Reading(round(draw.gauss(1.75, 0.02) + error_mm, 3)) for _ in range(count)]
        after = calibrate_diameter(readings, micrometer).after
        inside += abs(after.diameter_mm - 1.75) <= 2 * after.diameter_u_mm
    print(f"seed {SEED}: {inside} of {SERIES} means of {count} hold the truth")
    assert LEAST <= inside / SERIES <= MOST

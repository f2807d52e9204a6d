"""Where a calibration begins to doubt its measurements, and the words in which it refuses some."""

from __future__ import annotations

from math import sqrt

import pytest
from attrs import evolve

from calibration_strands import LABEL, exact_wind, outer_mm
from reelwright.winding.calibration import fit_winds, forecast_of_weight
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures
from reelwright.winding.calibration_methods import calibrate_together
from reelwright.winding.calibration_winds import ImpossibleMeasurementsError, LayerDiameter, MeasuredWind

TRUTH = StrandFigures(1.73, 0.0, 0.0, 0.93, 0.0, 1.24)


def refusal_of(
    *winds: MeasuredWind, known: StrandFigures = LABEL, solve: str = RISE, leave_out: tuple[int, ...] = ()
) -> str:
    with pytest.raises(ImpossibleMeasurementsError) as refusal:
        fit_winds(winds, known, {solve}, leave_out)
    return str(refusal.value)


class TestScatter:
    @pytest.mark.parametrize(("chi_square", "consistent"), [(3.80, True), (3.88, False)])
    def test_what_chance_brings_about_in_one_of_twenty_cases_is_no_contradiction(
        self, chi_square: float, consistent: bool
    ) -> None:
        # tables of chi square: 3.841 is passed in 5 % of the cases at one degree of freedom.
        # One layer measured twice, either side of the truth: the fit goes between; the sum of squares is 2 (e / u)^2
        error_mm = 0.3 * sqrt(chi_square / 2)
        layers = [(3, outer_mm(TRUTH, 3) - error_mm), (3, outer_mm(TRUTH, 3) + error_mm), (12, outer_mm(TRUTH, 12))]
        wind = MeasuredWind(layers=tuple(LayerDiameter(*each) for each in layers), caliper_u_mm=0.3)
        found = fit_winds([wind], TRUTH, {RISE})
        assert (found.degrees, found.chi_square) == (1, pytest.approx(chi_square))
        assert found.consistent is consistent

    def test_each_measurement_is_shown_beside_what_the_fit_makes_of_it(self) -> None:
        exact = calibrate_together([exact_wind(LABEL)], LABEL).values
        assert [value.fitted for value in exact] == pytest.approx([value.measured for value in exact])

    def test_of_an_exactly_known_strand_on_an_exactly_known_barrel_only_the_scale_is_unsure(self) -> None:
        known = evolve(LABEL, diameter_u_mm=0.0, rise_u=0.0, density_u_g_cm3=0.0)
        wind = exact_wind(known, barrel_u_mm=0.0, turns_u=0.0, scale_u_g=0.1)
        heavier = evolve(wind, gross_mass_g=(wind.gross_mass_g or 0) + 1)
        assert forecast_of_weight(heavier, known).off == pytest.approx(1 / (sqrt(2) * 0.1))


class TestUnknown:
    def test_a_strand_of_unknown_rise_is_measured_from_nothing(self) -> None:
        unknown = evolve(LABEL, diameter_mm=1.73, diameter_u_mm=0.0005, rise=None, rise_u=0.0)
        result = calibrate_together([exact_wind(TRUTH)], unknown)
        assert RISE in result.found
        assert result.after.rise == pytest.approx(0.93, abs=2 * result.after.rise_u)

    def test_one_weighed_wind_of_two_tells_the_density(self) -> None:
        unknown = evolve(LABEL, diameter_mm=1.73, diameter_u_mm=0.0005, density_g_cm3=None, density_u_g_cm3=0.0)
        not_weighed = exact_wind(TRUTH, 300.0, 60.0, name="second", gross_mass_g=None, empty_mass_g=None)
        result = calibrate_together([exact_wind(TRUTH, name="first"), not_weighed], unknown)
        assert DENSITY in result.found
        assert result.after.density_g_cm3 == pytest.approx(1.24, rel=0.005)

    def test_layers_alone_leave_the_density_of_an_unknown_material_unknown_and_no_fault(self) -> None:
        unknown = evolve(LABEL, density_g_cm3=None, density_u_g_cm3=0.0)
        layers = MeasuredWind(barrel_mm=80, layers=exact_wind(LABEL).layers)
        found = fit_winds([layers], unknown, {RISE})
        assert found.figures.value(DENSITY) is None
        assert [found.figures.correlation(each, DENSITY) for each in (DIAMETER, RISE)] == [0, 0]

    def test_what_was_open_is_settled_however_well_it_was_known_before(self) -> None:
        layers = MeasuredWind(barrel_mm=80, layers=exact_wind(LABEL).layers)
        assert fit_winds([layers], evolve(LABEL, rise_u=1e-6), {RISE}).solved == (RISE,)


class TestRefusals:
    def test_a_spool_without_weights_tells_no_mass(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            forecast_of_weight(exact_wind(LABEL, gross_mass_g=None, empty_mass_g=None), LABEL)
        assert str(refusal.value) == (
            "gross_mass_g: the spool was not weighed; give its mass with and without the strand"
        )

    def test_an_empty_spool_alone_lacks_the_wound_one(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            forecast_of_weight(exact_wind(LABEL, gross_mass_g=None), LABEL)
        assert [place for place, _ in refusal.value.faults] == ["gross_mass_g"]
        assert "this weight is missing" in str(refusal.value)

    def test_a_mass_without_a_density_is_refused_with_what_tells_one(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            forecast_of_weight(exact_wind(LABEL), evolve(LABEL, density_g_cm3=None))
        assert str(refusal.value) == (
            "strand.density_g_cm3: a mass says nothing without the density; give it, or a material that is known"
        )

    def test_nothing_measured_is_refused_with_what_may_be(self) -> None:
        assert refusal_of(MeasuredWind(barrel_mm=80)) == (
            "measurements: nothing was measured; give outer diameters, weights or a taped length"
        )

    def test_where_all_is_left_out_the_figure_asked_for_is_named(self) -> None:
        wind = MeasuredWind(barrel_mm=80, layers=(LayerDiameter(5, outer_mm(TRUTH, 5)),))
        assert refusal_of(wind, leave_out=(1,)).startswith("measurements: 0 measurements cannot settle the rise;")

    def test_a_barrel_that_is_missing_of_one_wind_of_two_is_asked_for(self) -> None:
        first = MeasuredWind(barrel_mm=80, layers=(LayerDiameter(1, outer_mm(TRUTH, 1)),), name="first")
        second = MeasuredWind(layers=(LayerDiameter(9, outer_mm(TRUTH, 9)),), name="second")
        assert "cannot settle the rise without the barrel; give its diameter" in refusal_of(first, second)

    def test_a_length_that_no_strand_has_on_this_barrel_is_told(self) -> None:
        assert refusal_of(exact_wind(LABEL, length_m=0.001)) == (
            "measurements: no strand comes near them; check the count, the spool and the units"
        )

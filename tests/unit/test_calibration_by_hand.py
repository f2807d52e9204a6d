"""The parts of a calibration reckoned by hand: the line through the layers, the mass foretold, and what is kept."""

from __future__ import annotations

from math import atan, hypot, inf, pi, sqrt
from typing import TYPE_CHECKING

import pytest
from attrs import evolve

from calibration_strands import LABEL, exact_wind, lay, outer_mm
from reelwright.winding.calibration import fit_winds, forecast_of_weight
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, FIGURES, RISE, LabelDensity, StrandFigures
from reelwright.winding.calibration_fit import NoFitError, Observation, UndeterminedError, fit
from reelwright.winding.calibration_line import LineCheck, line_check
from reelwright.winding.calibration_methods import (
    calibrate_diameter,
    calibrate_layers,
    calibrate_together,
    calibrate_weight,
)
from reelwright.winding.calibration_readings import Micrometer, Reading
from reelwright.winding.calibration_winds import ImpossibleMeasurementsError, LayerDiameter, MeasuredWind

if TYPE_CHECKING:
    from collections.abc import Sequence

TRUTH = StrandFigures(1.73, 0.0, 0.0, 0.93, 0.0, 1.24)
CORRELATED = StrandFigures(1.75, 0.02, 0.04, 0.95, 0.03, 1.24, 0.012, correlations=(0.1, -0.2, 0.3))


def layers_of(*layers: int) -> tuple[LayerDiameter, ...]:
    return tuple(LayerDiameter(layer, outer_mm(TRUTH, layer)) for layer in layers)


def places_of(error: pytest.ExceptionInfo[ImpossibleMeasurementsError]) -> list[str]:
    return [place for place, _ in error.value.faults]


class TestFigures:
    def test_each_pair_of_figures_has_its_correlation_whichever_is_named_first(self) -> None:
        table = {(one, other): CORRELATED.correlation(one, other) for one in FIGURES for other in FIGURES}
        for one, other, r in ((DIAMETER, RISE, 0.1), (DIAMETER, DENSITY, -0.2), (RISE, DENSITY, 0.3)):
            assert table[one, other] == table[other, one] == r
        assert [table[name, name] for name in FIGURES] == [1, 1, 1]
        assert CORRELATED.covariance(RISE, DENSITY) == pytest.approx(0.3 * 0.03 * 0.012)

    def test_a_section_is_that_of_an_ellipse_and_as_unsure_as_its_mean_diameter(self) -> None:
        section_mm2, u_mm2 = CORRELATED.section_mm2()
        assert section_mm2 == pytest.approx(pi / 4 * 1.77 * 1.73)
        assert u_mm2 == pytest.approx(pi / 4 * (1.77 * 1.73 - 1.75 * 1.71), rel=0.02)  # by 0.02 mm less

    def test_a_metre_weighs_what_its_section_does_and_is_unsure_by_both_with_what_they_have_in_common(self) -> None:
        metre = CORRELATED.mass_per_metre_g()
        assert metre is not None
        grams = 1.24 * pi / 4 * 1.77 * 1.73
        assert metre[0] == pytest.approx(grams)
        # JCGM 100, 5.2.2, equation 13; the section of nearly round strand goes with the square of its diameter
        by_diameter, by_density = 2 * 0.02 / 1.75 * grams, 0.012 / 1.24 * grams
        together = 2 * -0.2 * by_diameter * by_density
        assert metre[1] == pytest.approx(sqrt(by_diameter**2 + by_density**2 + together), rel=1e-3)
        assert evolve(CORRELATED, density_g_cm3=None).mass_per_metre_g() is None


class TestLine:
    def test_two_ways_to_layer_1_agree_within_two_uncertainties_of_their_difference(self) -> None:
        # 2 sqrt(3^2 + 4^2) = 10
        for off_mm, agrees in ((9.99, True), (10, True), (10.01, False)):
            assert LineCheck(100, 3, 100 + off_mm, 4).agrees is agrees
            assert LineCheck(100, 3, 100 - off_mm, 4).agrees is agrees

    def test_the_line_is_as_unsure_at_layer_1_as_two_points_make_it(self) -> None:
        wind = MeasuredWind(barrel_mm=80, barrel_u_mm=0.1, layers=layers_of(2, 12), caliper_u_mm=0.3)
        check = line_check(wind, evolve(LABEL, diameter_u_mm=0.02))
        assert check is not None
        # y = (11 y2 - y12) / 10
        assert check.line_u_mm == pytest.approx(0.3 * sqrt(11**2 + 1) / 10)
        assert check.known_u_mm == pytest.approx(hypot(0.1, 2 * 0.02))
        assert (check.line_mm, check.known_mm) == pytest.approx((outer_mm(TRUTH, 1), 80 + 2 * 1.75))

    def test_a_line_needs_a_barrel_and_two_layers_that_are_used(self) -> None:
        wind = MeasuredWind(barrel_mm=80, layers=layers_of(2, 12))
        assert line_check(wind, LABEL) is not None
        assert line_check(evolve(wind, barrel_mm=None), LABEL) is None
        assert line_check(evolve(wind, layers=layers_of(5, 5)), LABEL) is None
        assert line_check(wind, LABEL, leave_out=(1,)) is None
        assert line_check(wind, LABEL, leave_out=(3,)) is not None

    def test_a_diameter_that_is_left_out_of_the_rise_is_left_out_of_the_line(self) -> None:
        misread = (*layers_of(2, 8), LayerDiameter(14, outer_mm(TRUTH, 14) + 3))
        result = calibrate_layers(MeasuredWind(barrel_mm=80, layers=misread), TRUTH, leave_out=(3,))
        assert result.line is not None
        assert result.line.line_mm == pytest.approx(outer_mm(TRUTH, 1))


class TestForecast:
    def test_a_mass_is_as_unsure_by_its_density_as_that_is_and_by_its_rise_as_the_coil_says(self) -> None:
        forecast = forecast_of_weight(exact_wind(LABEL), LABEL)
        assert forecast.relative_u[DENSITY] == pytest.approx(0.012 / 1.24)
        thin, thick = (lay(80, 1.75, 0.957 + off).length_mm(661) for off in (-1e-6, 1e-6))
        slope = (thick - thin) / (thick + thin) * 2 / 2e-6
        assert forecast.relative_u[RISE] == pytest.approx(slope * 0.03, rel=1e-6)
        assert forecast.least_known == max(forecast.relative_u, key=lambda name: forecast.relative_u[name])
        assert forecast.off == pytest.approx(0, abs=1e-9)

    def test_a_mass_is_off_by_what_figures_barrel_and_scale_make_of_it(self) -> None:
        wind = exact_wind(LABEL, barrel_u_mm=0.5, scale_u_g=4.0)
        assert wind.net_mass_g is not None
        assert wind.gross_mass_g is not None
        relative_u = forecast_of_weight(wind, LABEL).relative_u
        small, large = (lay(80 + off, 1.75, 0.957).length_mm(661) for off in (-1e-4, 1e-4))
        by_barrel = (large - small) / (large + small) * 2 / 2e-4 * 0.5
        of_figures = sqrt(sum(each**2 for each in relative_u.values()))
        # both weighings, of the full and of the empty spool; the count's 0.01 turns are next to nothing
        u_g = hypot(wind.net_mass_g * hypot(of_figures, by_barrel), sqrt(2) * 4.0)
        heavier = evolve(wind, gross_mass_g=wind.gross_mass_g + 3 * u_g)
        assert forecast_of_weight(heavier, LABEL).off == pytest.approx(3, rel=1e-3)

    def test_errors_that_go_against_each_other_make_a_mass_surer(self) -> None:
        wind = exact_wind(LABEL)
        assert wind.gross_mass_g is not None
        assert wind.net_mass_g is not None
        heavier = evolve(wind, gross_mass_g=wind.gross_mass_g + 10)
        alone = forecast_of_weight(heavier, LABEL)
        # JCGM 100, 5.2.2, equation 13
        both_g2 = alone.relative_u[DIAMETER] * alone.relative_u[DENSITY] * wind.net_mass_g**2
        against = forecast_of_weight(heavier, evolve(LABEL, correlations=(0.0, -0.9, 0.0)))
        assert against.off == pytest.approx(10 / sqrt((10 / alone.off) ** 2 - 2 * 0.9 * both_g2), rel=1e-6)

    @pytest.mark.parametrize("unknown", [{"density_g_cm3": None}, {"rise": None}], ids=str)
    def test_without_density_or_rise_no_mass_can_be_foretold(self, unknown: dict[str, None]) -> None:
        with pytest.raises(ImpossibleMeasurementsError):
            forecast_of_weight(exact_wind(LABEL), evolve(LABEL, **unknown))


class TestTogether:
    def test_nothing_measured_and_numbers_that_no_measurement_has_are_told(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as nothing:
            fit_winds([MeasuredWind(barrel_mm=80)], LABEL)
        assert places_of(nothing) == ["measurements"]
        # a weight, a length and three layers after three readings: 4 to 8
        wind = exact_wind(TRUTH)
        with pytest.raises(ImpossibleMeasurementsError) as outside:
            fit_winds([wind], LABEL, leave_out=(3, 4, 8, 9), first_number=4)
        assert [sentence.split()[-5:] for _, sentence in outside.value.faults] == [
            ["measurement", "3", "among", "the", "8"],
            ["measurement", "9", "among", "the", "8"],
        ]

    def test_a_fault_of_one_of_several_winds_is_told_with_its_name(self) -> None:
        bad = exact_wind(TRUTH, gross_mass_g=100.0, name="second")
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            fit_winds([exact_wind(TRUTH, name="first"), bad], LABEL)
        assert {place.split(".")[0] for place in places_of(refusal)} == {"second"}

    def test_a_measurement_left_out_is_left_out_by_its_number_after_the_readings(self) -> None:
        readings = [Reading(each) for each in (1.73, 1.74, 1.73)]
        wind = exact_wind(TRUTH)
        wrong = evolve(wind, gross_mass_g=(wind.gross_mass_g or 0) + 60)
        told = calibrate_together([wrong], LABEL, readings=readings)
        (number,) = told.outlying
        assert told.values[number - 1].unit == "g"
        without = calibrate_together([wrong], LABEL, readings=readings, leave_out=(number,))
        assert [value.number for value in without.values if value.left_out] == [number]
        assert without.outlying == ()

    def test_a_finer_micrometer_makes_the_diameter_surer(self) -> None:
        readings = [Reading(each) for each in (1.730, 1.731, 1.729)]
        wind = exact_wind(TRUTH, layers=())
        plain = calibrate_together([wind], LABEL, readings=readings)
        fine = calibrate_together([wind], LABEL, readings=readings, micrometer=Micrometer(0.001, 0.001))
        assert fine.measured is not None
        assert plain.measured is not None
        assert fine.measured.mean.u < plain.measured.mean.u / 1.3

    def test_strand_known_to_be_oval_stays_as_oval(self) -> None:
        result = calibrate_together([exact_wind(evolve(TRUTH, ovality_mm=0.04))], evolve(LABEL, ovality_mm=0.04))
        assert result.after.ovality_mm == 0.04

    def test_layers_alone_tell_nothing_of_a_density_and_leave_an_unknown_one_unknown(self) -> None:
        unknown = evolve(LABEL, density_g_cm3=None, density_u_g_cm3=0.0)
        wind = exact_wind(TRUTH, gross_mass_g=None, empty_mass_g=None)
        result = calibrate_together([wind], unknown)
        assert result.after.density_g_cm3 is None
        assert result.after.density_u_g_cm3 == 0
        assert result.after.correlations[1:] == (0, 0)
        assert DENSITY not in result.found

    def test_measurements_that_tell_nothing_leave_what_was_known_with_all_its_correlations(self) -> None:
        wind = exact_wind(CORRELATED, gross_mass_g=None, empty_mass_g=None, layers=(), tape_u_m=1e6)
        found = fit_winds([wind], CORRELATED)
        assert found.solved == ()
        for name in FIGURES:
            assert found.figures.value(name) == pytest.approx(CORRELATED.value(name), rel=1e-6)
            assert found.figures.u(name) == pytest.approx(CORRELATED.u(name), rel=1e-6)
        assert found.figures.correlations == pytest.approx(CORRELATED.correlations, abs=1e-6)

    def test_what_is_open_takes_no_part_in_what_the_others_have_in_common(self) -> None:
        wind = exact_wind(CORRELATED, gross_mass_g=None, empty_mass_g=None, length_m=None)
        found = fit_winds([wind], CORRELATED, {RISE})
        assert found.figures.u(DIAMETER) == pytest.approx(0.02, rel=0.01)
        assert found.figures.correlation(DIAMETER, DENSITY) == pytest.approx(-0.2, abs=0.01)

    def test_a_figure_that_no_strand_has_is_told_by_its_name(self) -> None:
        steep = MeasuredWind(barrel_mm=80, layers=exact_wind(evolve(TRUTH, rise=1.3)).layers)
        with pytest.raises(ImpossibleMeasurementsError, match=r"^rise: a rise factor of 1\.3 would follow"):
            calibrate_layers(steep, TRUTH)
        with pytest.raises(ImpossibleMeasurementsError, match=r"^density: a density of 90 g/cm3 would follow"):
            calibrate_weight(exact_wind(evolve(LABEL, density_g_cm3=90)), LABEL, DENSITY)

    def test_what_cannot_be_settled_is_told_with_what_would_settle_it(self) -> None:
        def told(wind: MeasuredWind, open_figure: str) -> list[tuple[str, str]]:
            with pytest.raises(ImpossibleMeasurementsError) as refusal:
                fit_winds([wind], LABEL, {open_figure})
            return [(place, sentence.split("; ")[1]) for place, sentence in refusal.value.faults]

        one = MeasuredWind(layers=layers_of(5))
        assert told(one, RISE) == [("barrel_mm", "give its diameter, or measure a second layer well apart")]
        first = MeasuredWind(barrel_mm=80, layers=layers_of(1))
        assert told(first, RISE) == [("measurements", "measure a layer further out")]
        assert told(evolve(first, layers=layers_of(2, 8)), DENSITY) == [("measurements", "tape the length too")]

    def test_a_figure_that_was_open_is_found_however_well_it_was_known_before(self) -> None:
        before = evolve(LABEL, rise_u=1e-6)
        result = calibrate_layers(MeasuredWind(barrel_mm=80, layers=layers_of(2, 8, 14)), before)
        assert RISE in result.found
        assert result.outlying == ()
        assert all(value.normalized is not None for value in result.values)

    def test_a_diameter_read_beside_layers_is_found_by_its_readings_and_a_density_by_neither(self) -> None:
        wind = exact_wind(TRUTH, gross_mass_g=None, empty_mass_g=None, length_m=None)
        fine = Micrometer(0.001, 0.001)
        result = calibrate_together([wind], LABEL, readings=[Reading(1.73)] * 3, micrometer=fine)
        assert result.found == result.figures == (DIAMETER, RISE)
        assert result.measured is not None
        assert [value.unit for value in result.values] == ["mm"] * 6
        assert calibrate_together([wind], LABEL).measured is None

    def test_a_single_mass_is_judged_by_what_was_known(self) -> None:
        wind = exact_wind(LABEL)
        heavier = evolve(wind, gross_mass_g=(wind.gross_mass_g or 0) + 10)
        (value,) = calibrate_weight(heavier, LABEL).values
        off = forecast_of_weight(heavier, LABEL).off
        assert value.normalized == off
        # a normalized error counts in expanded uncertainties, k = 2 (ISO/IEC 17043)
        changes = calibrate_weight(heavier, LABEL, DENSITY).changes
        assert [change.normalized_error for change in changes if change.figure == DENSITY] == [off / 2]


class TestDiameterAlone:
    READINGS = (Reading(1.74), Reading(1.75), Reading(1.73))

    def test_of_a_strand_of_which_nothing_is_known_the_readings_are_all(self) -> None:
        result = calibrate_diameter(self.READINGS, Micrometer())
        assert result.before is None
        assert result.measured is not None
        assert (result.after.diameter_mm, result.after.diameter_u_mm) == (
            result.measured.mean.value,
            result.measured.mean.u,
        )
        assert (result.after.rise, result.after.density_g_cm3) == (None, None)

    def test_a_density_found_with_another_diameter_goes_and_that_of_the_material_stays(self) -> None:
        stays = calibrate_diameter(self.READINGS, Micrometer(), LABEL).after
        assert (stays.density_g_cm3, stays.density_u_g_cm3) == (1.24, 0.012)
        calibrated = evolve(LABEL, calibrated=(DENSITY,), rise_pitch_mm=1.76)
        goes = calibrate_diameter(self.READINGS, Micrometer(), calibrated).after
        assert (goes.density_g_cm3, goes.density_u_g_cm3) == (None, 0)
        assert (goes.rise, goes.rise_u, goes.rise_pitch_mm) == (None, 0, None)
        label = LabelDensity(1.27, 0.006, "the label")
        back = calibrate_diameter(self.READINGS, Micrometer(), evolve(CORRELATED, calibrated=(DENSITY,)), (), label)
        assert (back.after.density_g_cm3, back.after.density_u_g_cm3, back.after.correlations) == (
            1.27,
            0.006,
            (0,) * 3,
        )
        assert back.label_density == label


def test_without_an_outer_diameter_no_layers_are_calibrated() -> None:
    with pytest.raises(ImpossibleMeasurementsError, match=r"^layers: no outer diameter is given"):
        calibrate_layers(exact_wind(TRUTH, layers=()), LABEL)


def test_layers_are_calibrated_by_their_diameters_alone() -> None:
    wind = exact_wind(TRUTH)
    plain = calibrate_layers(evolve(wind, gross_mass_g=None, empty_mass_g=None, length_m=None), LABEL)
    assert calibrate_layers(wind, LABEL) == plain
    assert {value.unit for value in plain.values} == {"mm"}


class TestPairs:
    OVAL = (Reading(1.76, 1.72),) * 3

    def test_an_ovality_is_unsure_by_the_last_digit_of_two_readings(self) -> None:
        measured = calibrate_diameter(self.OVAL, Micrometer(0.01, 0.004)).measured
        assert measured is not None
        assert measured.ovality is not None
        assert measured.ovality.value == pytest.approx(0.04)
        assert measured.ovality.u == pytest.approx(sqrt(2) * 0.01 / sqrt(12))

    def test_a_flattened_place_stands_out_by_its_difference_alone(self) -> None:
        flat = calibrate_diameter([*self.OVAL, Reading(1.80, 1.68)], Micrometer())
        assert flat.outlying == (4,)
        assert flat.values[3].normalized == pytest.approx(0.08 / 0.02)  # two last digits
        assert [value.name for value in flat.values] == ["mean of two diameters"] * 4
        assert [value.unit for value in flat.values] == ["mm"] * 4

    def test_a_difference_within_its_uncertainty_is_none(self) -> None:
        nearly_round = [Reading(1.75, 1.74), Reading(1.75, 1.75), Reading(1.75, 1.75), Reading(1.75, 1.74)]
        assert calibrate_diameter(nearly_round, Micrometer(), CORRELATED).after.ovality_mm == 0
        assert calibrate_diameter(self.OVAL, Micrometer(), CORRELATED).after.ovality_mm == pytest.approx(0.04)

    def test_single_readings_say_nothing_of_an_ovality_and_of_what_others_have_in_common(self) -> None:
        result = calibrate_diameter([Reading(1.74), Reading(1.75), Reading(1.73)], Micrometer(), CORRELATED)
        assert result.after.ovality_mm == 0
        assert result.after.correlations == (0, 0, 0.3)
        assert [value.name for value in result.values] == ["diameter"] * 3

    def test_readings_that_are_left_out_are_counted_from_one(self) -> None:
        readings = [Reading(1.74), Reading(1.75), Reading(1.73)]
        assert calibrate_diameter(readings, Micrometer(), leave_out=(1,)).used == 2
        with pytest.raises(ImpossibleMeasurementsError) as outside:
            calibrate_diameter(readings, Micrometer(), leave_out=(0, 1, 4))
        assert [place for place, _ in outside.value.faults] == ["leave_out", "leave_out"]
        with pytest.raises(ImpossibleMeasurementsError, match="readings: one reading is used; it takes two"):
            calibrate_diameter(readings, Micrometer(), leave_out=(1, 3))

    def test_pairs_and_single_readings_are_not_mixed(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError, match="1 of 3 are pairs"):
            calibrate_diameter([Reading(1.74), Reading(1.75, 1.74), Reading(1.73)], Micrometer())


class TestMeasurements:
    def test_a_mass_and_a_length_are_as_unsure_as_their_instruments_and_the_count_make_them(self) -> None:
        wind = exact_wind(LABEL, turns_u=0.5, scale_u_g=3.0, tape_u_m=0.2, caliper_u_mm=0.25, name="first")
        values = calibrate_together([wind], LABEL).values
        turn_m = lay(80, 1.75, 0.957).turn_length_at_mm(661) / 1000
        turn_g = 1000 * turn_m * 1.24 * pi / 4 * 1.75**2 / 1000
        assert [(value.name, value.unit) for value in values[-3:]] == [
            ("outer diameter over layer 18 of first", "mm"),
            ("mass of first", "g"),
            ("length of first", "m"),
        ]
        # two weighings
        assert [value.u for value in values[-3:]] == pytest.approx(
            [0.25, hypot(sqrt(2) * 3.0, 0.5 * turn_g), hypot(0.2, 0.5 * turn_m)], rel=1e-6
        )

    def test_a_tape_of_which_nothing_is_said_is_good_to_a_thousandth(self) -> None:
        wind = exact_wind(LABEL, turns_u=0.0)
        (length,) = (value for value in calibrate_together([wind], LABEL).values if value.unit == "m")
        assert length.u == pytest.approx(length.measured / 1000)
        assert length.name == "length"


class TestFit:
    def test_a_fit_through_as_many_points_as_unknowns_judges_none_of_them(self) -> None:
        found = fit([Observation("", 3.0, 0.1, lambda x: (x[0], (1.0,)))], [0.0])
        assert (found.degrees, found.scatter, found.normalized) == (0, 1.0, (None,))
        assert found.values == pytest.approx((3.0,))

    def test_no_observation_settles_no_unknown(self) -> None:
        with pytest.raises(UndeterminedError) as nothing:
            fit([], [0.0])
        assert nothing.value.index == 0
        one = Observation("", 3.0, 0.1, lambda x: (x[0] + x[1], (1.0, 1.0)))
        with pytest.raises(UndeterminedError) as short:
            fit([one], [0.0, 0.0])
        assert short.value.index == 1

    def test_a_step_out_of_what_makes_sense_is_shortened(self) -> None:
        # from 100 the tangent of the root leads to -80
        found = fit([Observation("", 1.0, 0.1, lambda x: (sqrt(x[0]), (0.5 / sqrt(x[0]),)))], [100.0])
        assert found.values == pytest.approx((1.0,))

    def test_a_step_that_leads_further_away_is_shortened(self) -> None:
        # from 3 the tangents of the arc tangent lead ever further from its zero
        found = fit([Observation("", 0.0, 0.1, lambda x: (atan(x[0]), (1 / (1 + x[0] ** 2),)))], [3.0])
        assert found.values == pytest.approx((0.0,), abs=1e-9)

    def test_a_step_beyond_all_bounds_is_shortened_whichever_observation_says_so(self) -> None:
        def steep(x: Sequence[float]) -> tuple[float, Sequence[float]]:
            return (x[0] if x[0] < 5 else inf), (0.5,)

        plain = Observation("", 4.0, 1.0, lambda x: (min(x[0], 5.0), (0.5,)))
        with pytest.raises(NoFitError):
            fit([Observation("", 4.0, 1.0, steep)], [6.0])
        for observations in ((plain, Observation("", 4.0, 1.0, steep)), (Observation("", 4.0, 1.0, steep), plain)):
            assert fit(observations, [0.0]).values == pytest.approx((4.0,))

"""What measured winds and readings tell of a strand, and what they are not allowed to tell."""

from __future__ import annotations

from math import pi, sqrt

import pytest
from attrs import evolve

from calibration_strands import LABEL, TARE_G, exact_wind, outer_mm
from reelwright.winding.calibration import forecast_of_weight
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures, cholesky, correlation_matrix
from reelwright.winding.calibration_methods import (
    calibrate_diameter,
    calibrate_layers,
    calibrate_together,
    calibrate_weight,
)
from reelwright.winding.calibration_readings import OUTLIER_Z, Micrometer, Reading, mean_of_readings
from reelwright.winding.calibration_winds import ImpossibleMeasurementsError, LayerDiameter, MeasuredWind
from reelwright.winding.distributions import student_factor

TRUTH = StrandFigures(1.73, 0.0, 0.0, 0.93, 0.0, 1.24)
KNOWN_STRAND = StrandFigures(1.73, 0.0005, 0.0, 0.957, 0.03, 1.24, 0.0005)


def faults_of(error: pytest.ExceptionInfo[ImpossibleMeasurementsError]) -> dict[str, str]:
    return dict(error.value.faults)


def layers_of(truth: StrandFigures, *layers: int) -> tuple[LayerDiameter, ...]:
    return tuple(LayerDiameter(layer, outer_mm(truth, layer)) for layer in layers)


class TestLayers:
    def test_two_layers_tell_the_rise_without_a_barrel(self) -> None:
        wind = MeasuredWind(layers=layers_of(TRUTH, 3, 12))
        result = calibrate_layers(wind, KNOWN_STRAND)
        assert result.after.rise == pytest.approx(0.93)
        # a line through two points 9 layers apart: u of its slope is sqrt(2) 0.3 / 9, and the rise is half of it over d
        assert result.after.rise_u == pytest.approx(sqrt(2) * 0.3 / 9 / 2 / 1.73, rel=1e-3)
        assert result.found == (RISE,)

    def test_one_layer_tells_it_with_barrel_and_strand(self) -> None:
        wind = MeasuredWind(barrel_mm=80, barrel_u_mm=0.1, layers=layers_of(TRUTH, 12))
        result = calibrate_layers(wind, KNOWN_STRAND)
        assert result.after.rise == pytest.approx(0.93)
        assert result.after.rise_u == pytest.approx(sqrt(0.3**2 + 0.1**2) / 22 / 1.73, rel=1e-2)

    @pytest.mark.parametrize("layers", [(5,), (5, 5)])
    def test_one_layer_without_a_barrel_is_asked_for_two_unknowns(self, layers: tuple[int, ...]) -> None:
        with pytest.raises(ImpossibleMeasurementsError, match="cannot settle"):
            calibrate_layers(MeasuredWind(layers=layers_of(TRUTH, *layers)), KNOWN_STRAND)

    def test_the_first_layer_alone_tells_no_rise_however_well_the_barrel_is_known(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError, match="cannot settle the rise"):
            calibrate_layers(MeasuredWind(barrel_mm=80, layers=layers_of(TRUTH, 1)), KNOWN_STRAND)

    def test_a_thicker_strand_than_believed_makes_the_factor_smaller_and_the_two_errors_go_together(self) -> None:
        result = calibrate_layers(MeasuredWind(layers=layers_of(TRUTH, 3, 12)), LABEL)
        after = result.after
        assert after.rise is not None
        assert after.rise * after.diameter_mm == pytest.approx(0.93 * 1.73)
        # f d is what was measured: u of f by d alone is f u(d) / d
        assert after.covariance(RISE, DIAMETER) == pytest.approx(-after.rise / 1.75 * 0.02**2, rel=1e-6)

    def test_where_the_line_meets_layer_1_is_compared_with_barrel_and_strand(self) -> None:
        good = calibrate_layers(MeasuredWind(barrel_mm=80, layers=layers_of(TRUTH, 2, 8, 14)), KNOWN_STRAND)
        assert good.line is not None
        assert good.line.agrees
        assert good.line.line_mm == pytest.approx(good.line.known_mm)
        # every layer counted one too high
        wrong = tuple(LayerDiameter(layer + 1, outer) for layer, outer in layers_of(TRUTH, 2, 8, 14))
        bad = calibrate_layers(MeasuredWind(barrel_mm=80, layers=wrong), KNOWN_STRAND)
        assert bad.line is not None
        assert not bad.line.agrees
        assert bad.line.known_mm - bad.line.line_mm == pytest.approx(2 * 0.93 * 1.73)

    def test_a_misread_diameter_is_named_and_may_be_left_out(self) -> None:
        layers = list(layers_of(TRUTH, 2, 5, 8, 11, 14))
        layers[3] = layers[3]._replace(outer_mm=layers[3].outer_mm + 2.5)
        wind = MeasuredWind(barrel_mm=80, layers=tuple(layers))
        with_it = calibrate_layers(wind, KNOWN_STRAND)
        assert with_it.outlying == (4,)
        assert with_it.estimated is not None
        assert not with_it.estimated.consistent
        without = calibrate_layers(wind, KNOWN_STRAND, leave_out=(4,))
        assert without.outlying == ()
        assert without.after.rise == pytest.approx(0.93)
        assert without.used == 4
        assert without.values[3].left_out

    def test_of_two_misread_diameters_each_is_told_by_the_distance_that_decided(self) -> None:
        layers = list(layers_of(TRUTH, 2, 4, 6, 8, 10, 12, 14))
        layers[0] = layers[0]._replace(outer_mm=layers[0].outer_mm + 4.0)
        layers[4] = layers[4]._replace(outer_mm=layers[4].outer_mm + 1.5)
        wind = MeasuredWind(barrel_mm=80, layers=tuple(layers))
        both = calibrate_layers(wind, KNOWN_STRAND)
        assert both.outlying == (1, 5)
        first, second = (value for value in both.values if value.stands_out)
        assert first.doubt == ""
        assert second.doubt == "this is judged without measurement 1"
        without = calibrate_layers(wind, KNOWN_STRAND, leave_out=(1,))
        assert second.normalized == pytest.approx(without.values[4].normalized)
        assert abs(second.normalized or 0.0) > OUTLIER_Z

    def test_inconsistent_measurements_make_every_uncertainty_larger_by_the_birge_ratio(self) -> None:
        layers = tuple(
            LayerDiameter(layer, outer + (0.6 if layer % 2 else -0.6))
            for layer, outer in layers_of(TRUTH, 2, 3, 6, 7, 10, 11)
        )
        rough = calibrate_layers(MeasuredWind(layers=layers, caliper_u_mm=0.2), KNOWN_STRAND)
        even = calibrate_layers(
            MeasuredWind(layers=layers_of(TRUTH, 2, 3, 6, 7, 10, 11), caliper_u_mm=0.2), KNOWN_STRAND
        )
        assert rough.estimated is not None
        assert not rough.estimated.consistent
        assert rough.estimated.scatter > 2
        assert rough.after.rise_u == pytest.approx(even.after.rise_u * rough.estimated.scatter, rel=0.01)

    def test_everything_impossible_is_told_at_once(self) -> None:
        layers = (LayerDiameter(2, 79.0), LayerDiameter(3, 90.0), LayerDiameter(4, 89.0))
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            calibrate_layers(MeasuredWind(barrel_mm=80, layers=layers), KNOWN_STRAND, leave_out=(7,))
        assert set(faults_of(refusal)) == {"layers[0]", "layers[2]", "leave_out"}
        assert "not more than the barrel's 80 mm" in faults_of(refusal)["layers[0]"]
        assert "each layer lies on the one before" in faults_of(refusal)["layers[2]"]

    @pytest.mark.parametrize("rise", [0.4, 1.3])
    def test_a_rise_that_no_strand_has_is_refused(self, rise: float) -> None:
        wind = MeasuredWind(barrel_mm=80, layers=layers_of(evolve(TRUTH, rise=rise), 2, 12))
        with pytest.raises(ImpossibleMeasurementsError, match=r"a strand's is at least 0\.5 and at most 1\.2"):
            calibrate_layers(wind, KNOWN_STRAND)


class TestWeight:
    @pytest.mark.parametrize(
        ("known", "least_known"),
        [
            (LABEL, DIAMETER),
            (evolve(LABEL, diameter_u_mm=0.002), DENSITY),
            (evolve(LABEL, diameter_u_mm=0.002, density_u_g_cm3=0.002), RISE),
        ],
    )
    def test_a_weight_tells_the_figure_that_made_the_mass_least_sure(
        self, known: StrandFigures, least_known: str
    ) -> None:
        result = calibrate_weight(exact_wind(LABEL), known)
        assert result.found == (least_known,)
        assert result.mass_relative_u[least_known] == max(result.mass_relative_u.values())
        assert (result.after.diameter_mm, result.after.rise, result.after.density_g_cm3) == pytest.approx(
            (1.75, 0.957, 1.24)
        )

    def test_with_a_known_section_it_tells_the_rise(self) -> None:
        result = calibrate_weight(exact_wind(TRUTH), KNOWN_STRAND, RISE)
        assert result.after.rise == pytest.approx(0.93)
        assert result.pitch_mm == pytest.approx(1.76)

    def test_whatever_it_solves_for_the_mass_of_a_metre_comes_out_surer_than_its_parts(self) -> None:
        truth = evolve(TRUTH, rise=0.957)
        result = calibrate_weight(exact_wind(truth), LABEL)
        metre_g, metre_u_g = result.after.mass_per_metre_g() or (0.0, 0.0)
        assert result.found == (DIAMETER,)
        assert metre_g == pytest.approx(1.24 * pi / 4 * 1.73**2, rel=1e-3)
        apart = evolve(result.after, correlations=(0.0, 0.0, 0.0)).mass_per_metre_g() or (0.0, 0.0)
        assert metre_u_g < 0.7 * apart[1]
        assert {DIAMETER, DENSITY} <= set(result.figures)

    def test_a_mass_far_from_what_was_known_stands_out(self) -> None:
        wind = exact_wind(LABEL)
        forgotten_tare = evolve(wind, gross_mass_g=(wind.gross_mass_g or 0) + 190)
        assert calibrate_weight(wind, LABEL).doubtful == ()
        (change,) = calibrate_weight(forgotten_tare, LABEL).doubtful
        assert change.figure == DIAMETER
        assert change.stands_out

    def test_contradictions_and_gaps_are_told(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as swapped:
            calibrate_weight(exact_wind(LABEL, gross_mass_g=TARE_G, empty_mass_g=900.0, turns=None), LABEL)
        assert set(faults_of(swapped)) == {"empty_mass_g", "turns"}
        with pytest.raises(ImpossibleMeasurementsError, match="this weight is missing"):
            calibrate_weight(exact_wind(LABEL, empty_mass_g=None), LABEL)
        with pytest.raises(ImpossibleMeasurementsError, match="the spool was not weighed"):
            forecast_of_weight(exact_wind(LABEL, gross_mass_g=None, empty_mass_g=None), LABEL)
        with pytest.raises(ImpossibleMeasurementsError, match="without the density"):
            calibrate_weight(exact_wind(LABEL), evolve(LABEL, density_g_cm3=None))


class TestTogether:
    def test_exact_measurements_of_all_kinds_agree_on_the_truth(self) -> None:
        result = calibrate_together([exact_wind(TRUTH), exact_wind(TRUTH, 300.0, 60.0, name="small")], LABEL)
        after = result.after
        assert after.rise == pytest.approx(0.93, abs=2 * after.rise_u)
        assert after.diameter_mm == pytest.approx(1.73, abs=2 * after.diameter_u_mm)
        assert after.diameter_u_mm < LABEL.diameter_u_mm / 2
        assert after.rise_u < LABEL.rise_u / 2
        assert result.outlying == ()

    def test_a_taped_length_alone_betters_the_rise(self) -> None:
        taped = exact_wind(TRUTH, gross_mass_g=None, empty_mass_g=None, layers=())
        result = calibrate_together([taped], KNOWN_STRAND)
        assert result.found == (RISE,)
        assert result.after.rise == pytest.approx(0.93, abs=2 * result.after.rise_u)

    def test_weight_and_tape_tell_a_density_of_which_nothing_was_known(self) -> None:
        unknown = evolve(LABEL, density_g_cm3=None, density_u_g_cm3=0.0)
        with_diameter = evolve(unknown, diameter_mm=1.73, diameter_u_mm=0.002)
        result = calibrate_together([exact_wind(TRUTH)], with_diameter)
        assert DENSITY in result.found
        assert result.after.density_g_cm3 == pytest.approx(1.24, rel=0.005)

    def test_readings_of_a_micrometer_come_first_in_the_numbering_and_replace_the_diameter(self) -> None:
        readings = [Reading(each) for each in (1.73, 1.74, 1.73, 1.72, 1.47)]
        wind = exact_wind(TRUTH, layers=())
        result = calibrate_together([wind], LABEL, readings=readings, leave_out=(5,))
        assert [value.number for value in result.values] == [1, 2, 3, 4, 5, 6, 7]
        assert [value.number for value in result.values if value.left_out] == [5]
        assert DIAMETER in result.found
        assert result.after.diameter_mm == pytest.approx(1.73, abs=0.005)

    def test_two_ways_that_contradict_one_another_are_told_apart_from_chance(self) -> None:
        wind = exact_wind(TRUTH)
        wrong = evolve(wind, length_m=(wind.length_m or 0) * 1.05)
        result = calibrate_together([wrong], KNOWN_STRAND)
        assert result.estimated is not None
        assert not result.estimated.consistent
        assert [value.unit for value in result.values if value.number in result.outlying] == ["m"]

    def test_a_count_and_a_layer_that_cannot_be_are_told(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as endless:
            calibrate_together([exact_wind(TRUTH, turns=1e6)], LABEL)
        assert "more than 1000 layers" in faults_of(endless)["turns"]
        with pytest.raises(ImpossibleMeasurementsError) as unwound:
            calibrate_together([exact_wind(TRUTH, 100.0, layers=layers_of(TRUTH, 2, 9, 18))], LABEL)
        assert faults_of(unwound).keys() == {"layers[1]", "layers[2]"}
        assert "layer 9 was not wound: 100 turns make 3" in faults_of(unwound)["layers[1]"]


class TestDiameter:
    def test_the_uncertainty_is_that_of_scatter_digit_and_limit_with_students_factor(self) -> None:
        readings = [1.74, 1.75, 1.73, 1.74, 1.76]
        result = calibrate_diameter([Reading(each) for each in readings], Micrometer(0.01, 0.004), LABEL)
        mean = sum(readings) / 5
        scatter = sqrt(sum((each - mean) ** 2 for each in readings) / 4)
        combined = sqrt(scatter**2 / 5 + 0.01**2 / 12 + 0.004**2 / 3)
        degrees = 4 * (combined / (scatter / sqrt(5))) ** 4
        assert result.after.diameter_mm == pytest.approx(mean)
        assert result.after.diameter_u_mm == pytest.approx(combined * student_factor(degrees) / 2)

    def test_pairs_tell_an_oval_strand_from_a_round_one(self) -> None:
        oval = [Reading(1.76, 1.73), Reading(1.77, 1.73), Reading(1.76, 1.72), Reading(1.76, 1.73)]
        result = calibrate_diameter(oval, Micrometer(), LABEL)
        assert result.after.diameters_mm() == pytest.approx((1.7625, 1.7275))
        round_strand = [Reading(1.75, 1.74), Reading(1.74, 1.75), Reading(1.74, 1.74), Reading(1.75, 1.75)]
        assert calibrate_diameter(round_strand, Micrometer(), LABEL).after.ovality_mm == 0

    def test_a_slip_of_the_pen_is_named(self) -> None:
        readings = [Reading(each) for each in (1.74, 1.75, 1.74, 1.47, 1.74)]
        assert calibrate_diameter(readings, Micrometer(), LABEL).outlying == (4,)
        assert calibrate_diameter(readings, Micrometer(), LABEL, leave_out=(4,)).outlying == ()

    def test_an_exchanged_pair_is_recognised_by_its_difference(self) -> None:
        pairs = [
            Reading(1.76, 1.72),
            Reading(1.76, 1.72),
            Reading(1.77, 1.73),
            Reading(1.72, 1.76),
            Reading(1.76, 1.73),
        ]
        result = calibrate_diameter(pairs, Micrometer())
        assert result.outlying == (4,)
        assert result.values[3].normalized == pytest.approx(-0.08 / 0.02)
        assert result.values[3].doubt == (
            "its two diameters differ by -0.040 mm, the others' by +0.040 mm; narrow before wide: swap them"
        )
        # a flattened place is no exchange, and a wrong mean is none either
        flat = calibrate_diameter([*pairs[:3], Reading(1.80, 1.68)], Micrometer())
        assert "swap" not in flat.values[3].doubt
        assert "differ by +0.120 mm" in flat.values[3].doubt
        thick = calibrate_diameter([*pairs[:3], Reading(1.96, 1.92)], Micrometer())
        assert (thick.outlying, thick.values[3].doubt) == ((4,), "")

    def test_pairs_that_all_begin_with_the_narrow_side_tell_the_same_strand(self) -> None:
        pairs = [Reading(1.76, 1.72), Reading(1.76, 1.72), Reading(1.77, 1.73), Reading(1.76, 1.72)]
        turned = [Reading(narrow or 0.0, wide) for wide, narrow in pairs]
        assert calibrate_diameter(turned, Micrometer()).after == calibrate_diameter(pairs, Micrometer()).after
        wrong = calibrate_diameter([*turned, pairs[0]], Micrometer())
        assert "wide before narrow, unlike the others: swap them" in wrong.values[4].doubt

    def test_readings_that_differ_by_a_last_digit_are_no_outliers(self) -> None:
        readings = [Reading(each) for each in (1.74, 1.74, 1.74, 1.74, 1.75)]
        assert calibrate_diameter(readings, Micrometer(), LABEL).outlying == ()

    def test_equal_readings_still_have_the_uncertainty_of_the_instrument(self) -> None:
        assert mean_of_readings([1.74] * 5, 0.003).u == 0.003

    def test_a_rise_found_with_another_diameter_is_not_taken_along(self) -> None:
        before = evolve(LABEL, calibrated=(DIAMETER, RISE), rise_pitch_mm=1.76)
        result = calibrate_diameter([Reading(1.74), Reading(1.75)], Micrometer(), before)
        assert result.after.rise is None
        assert result.figures == (DIAMETER,)

    def test_too_few_mixed_and_unknown_readings_are_told_at_once(self) -> None:
        with pytest.raises(ImpossibleMeasurementsError) as refusal:
            calibrate_diameter([Reading(1.74), Reading(1.75, 1.74)], Micrometer(), LABEL, leave_out=(2, 9))
        assert [place for place, _ in refusal.value.faults] == ["readings", "leave_out", "readings"]


def test_correlations_that_cannot_be_are_refused_and_any_that_can_have_their_triangle() -> None:
    with pytest.raises(ValueError, match="contradict"):
        cholesky(correlation_matrix((0.9, 0.9, -0.9)))
    for correlations in ((0.0, 0.0, 0.0), (-0.6, 0.3, 0.1), (-1.0, 0.0, 0.0)):
        matrix = correlation_matrix(correlations)
        lower = cholesky(matrix)
        for row in range(3):
            product = [sum(lower[row][at] * lower[column][at] for at in range(3)) for column in range(3)]
            assert product == pytest.approx(matrix[row])

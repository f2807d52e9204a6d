"""What cannot be measured of a wind, which readings stand out, and what a calibration takes along."""

from __future__ import annotations

from math import asin, sqrt
from typing import Any

import pytest
from attrs import evolve

from calibration_strands import LABEL, LAYER_TURNS, exact_wind, lay, outer_mm
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE
from reelwright.winding.calibration_methods import calibrate_layers, calibrate_together, calibrate_weight
from reelwright.winding.calibration_readings import MeanOfReadings, MeasuredDiameter, modified_z_scores
from reelwright.winding.calibration_use import calibration_record
from reelwright.winding.calibration_winds import (
    ImpossibleMeasurementsError,
    LayerDiameter,
    MeasuredWind,
    wind_faults,
)
from reelwright.winding.coil import MOST_LAYERS
from reelwright.winding.job import Calibration
from winding_jobs import plan_of


def layers(*pairs: tuple[int, float]) -> tuple[LayerDiameter, ...]:
    return tuple(LayerDiameter(layer, mm) for layer, mm in pairs)


def places(**changes: Any) -> list[str]:
    """Where an otherwise sound wind of 661 turns, 19 layers begun, is said to be wrong."""
    return [place for place, _ in wind_faults(exact_wind(LABEL, **changes))]


class TestFaults:
    def test_a_sound_wind_has_none(self) -> None:
        assert places() == []

    def test_an_empty_spool_is_lighter_than_a_wound_one(self) -> None:
        assert places(gross_mass_g=900.0, empty_mass_g=900.0) == ["empty_mass_g"]
        assert places(gross_mass_g=900.0, empty_mass_g=899.0) == []

    def test_the_weight_that_is_missing_is_named(self) -> None:
        assert places(empty_mass_g=None) == ["empty_mass_g"]
        assert places(gross_mass_g=None) == ["gross_mass_g"]
        (sentence,) = (told for _, told in wind_faults(exact_wind(LABEL, empty_mass_g=None)))
        assert sentence == "this weight is missing; the strand's mass is the wound spool less the empty one"

    def test_half_a_weighing_is_no_mass(self) -> None:
        assert MeasuredWind(gross_mass_g=900.0).net_mass_g is None
        assert MeasuredWind(empty_mass_g=200.0).net_mass_g is None
        assert MeasuredWind(gross_mass_g=900.0, empty_mass_g=200.0).net_mass_g == 700

    @pytest.mark.parametrize("unknown", ["turns", "lay", "barrel_mm"])
    def test_a_mass_and_a_length_need_spool_winder_and_turns(self, unknown: str) -> None:
        wind = evolve(exact_wind(LABEL, layers=()), **{unknown: None})
        assert [(place, sentence.split(" says ")[0]) for place, sentence in wind_faults(wind)] == [
            ("turns", "a mass"),
            ("turns", "a length"),
        ]
        assert wind_faults(evolve(wind, gross_mass_g=None, empty_mass_g=None, length_m=None)) == []

    def test_a_layer_is_wound_as_soon_as_it_is_begun(self) -> None:
        fourth = layers((4, outer_mm(LABEL, 4)))
        whole = float(3 * LAYER_TURNS)
        assert places(turns=whole, layers=layers((3, outer_mm(LABEL, 3)))) == []
        assert places(turns=whole, layers=fourth) == ["layers[0]"]
        assert places(turns=whole + 0.5, layers=fourth) == []
        # the number of layers hangs on the winder, not on the barrel
        wind = MeasuredWind(lay=lay, turns=whole, layers=fourth)
        assert [place for place, _ in wind_faults(wind)] == ["layers[0]"]
        assert wind_faults(evolve(wind, lay=None)) == []
        assert wind_faults(evolve(wind, turns=None)) == []

    def test_more_layers_than_any_spool_holds_are_a_wrong_count(self) -> None:
        most = float(MOST_LAYERS * LAYER_TURNS)
        assert places(turns=most) == []
        assert places(turns=most + 1) == ["turns"]

    def test_each_layer_lies_on_the_barrel_and_on_those_below_in_whatever_order_they_were_measured(self) -> None:
        assert places(layers=layers((5, 90.0), (2, 80.0))) == ["layers[1]"]
        assert places(layers=layers((5, 90.0), (2, 80.1))) == []
        assert places(layers=layers((9, 95.0), (5, 95.0))) == ["layers[0]"]
        assert places(layers=layers((9, 95.1), (5, 95.0))) == []
        assert places(layers=layers((9, 95.0), (9, 95.4))) == []  # one layer measured twice

    def test_all_that_is_wrong_is_told_in_one_line(self) -> None:
        told = ImpossibleMeasurementsError([("turns", "count again"), ("layers[0]", "measure again")])
        assert str(told) == "turns: count again; layers[0]: measure again"


class TestReadings:
    def test_two_readings_cannot_say_which_of_them_stands_out_and_three_can(self) -> None:
        assert modified_z_scores([1.0, 9.0], 0.01) == [0, 0]
        # the middle one of three is the median; 0.6745 by Iglewicz and Hoaglin
        assert modified_z_scores([1.0, 2.0, 9.0], 0.01) == pytest.approx([-0.6745, 0, 7 * 0.6745])

    def test_strand_is_oval_where_its_ovality_is_beyond_two_uncertainties(self) -> None:
        mean = MeanOfReadings(1.75, 0.0, 5, 0.0, 4.0, 0.01)
        for ovality_mm, oval in ((0.0199, False), (0.0201, True), (-0.0201, True)):
            assert MeasuredDiameter(mean, evolve(mean, value=ovality_mm)).is_oval is oval
        assert not MeasuredDiameter(mean, None).is_oval


class TestTaken:
    def test_a_weight_tells_the_figure_that_it_is_asked_for(self) -> None:
        for figure in (RISE, DENSITY):
            assert calibrate_weight(exact_wind(LABEL), LABEL, figure).found == (figure,)

    def test_figures_of_an_earlier_calibration_stay_with_those_found_now(self) -> None:
        wind, before = exact_wind(LABEL), evolve(LABEL, diameter_u_mm=0.0005)
        assert calibrate_layers(wind, before).figures == (RISE,)
        assert calibrate_layers(wind, evolve(before, calibrated=(DENSITY,))).figures == (RISE, DENSITY)
        # and the diameter with which a rise was found, where an error of it is an error of the rise
        assert calibrate_layers(wind, LABEL).figures == (DIAMETER, RISE)

    def test_the_lay_pitch_is_kept_at_which_the_rise_was_found(self) -> None:
        wind, before = exact_wind(LABEL, pitch_mm=1.7), evolve(LABEL, rise_pitch_mm=1.5)
        assert calibrate_layers(wind, before).pitch_mm == 1.7
        assert calibrate_weight(wind, before, DENSITY).pitch_mm == 1.5
        both = [evolve(wind, name="first"), evolve(wind, name="second", pitch_mm=1.8)]
        together = calibrate_together(both, before)
        assert RISE in together.found
        assert together.pitch_mm == pytest.approx(1.75)

    def test_a_job_that_takes_no_figure_from_its_calibration_names_none(self) -> None:
        assert calibration_record(None) is None
        assert calibration_record(Calibration("marsh", figures=())) is None

    def test_another_pitch_is_told_with_what_the_crossing_model_makes_of_it(self) -> None:
        def warned(pitch_mm: float) -> str:
            calibration = {"figures": ["rise"], "pitch_mm": pitch_mm}
            plan = plan_of(lay={"rise": 0.95}, calibration=calibration)
            return next(each for each in plan.findings if each.code == "calibration_pitch").fact

        def crossing(q: float) -> float:
            return (sqrt(1 - q * q) + asin(q) / q) / 2

        # 61.25 mm of stroke, 34.8 turns, and the pitch of 2 mm at which the rise was found
        moved = crossing(61.25 / 34.8 / 3.5) - crossing(2 / 3.5)
        assert warned(2.0).endswith(f"by the crossing model it is another one by {moved:+.3f}.")
        without = plan_of(lay={"rise": 0.95}, calibration={"figures": ["rise"]})
        assert "calibration_pitch" not in [each.code for each in without.findings]
        assert warned(3.6).endswith("and this job has 1.760 mm.")  # beyond two diameters there is no model

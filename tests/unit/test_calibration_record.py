"""A calibration as scripts and a strand's profile read it, and a job as who calibrates by it sees it."""

from __future__ import annotations

from typing import Any

import pytest
from attrs import evolve

from calibration_strands import LABEL, exact_wind
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures
from reelwright.winding.calibration_jobs import figures_of_job, figures_of_strand, wound
from reelwright.winding.calibration_methods import (
    calibrate_diameter,
    calibrate_layers,
    calibrate_together,
    calibrate_weight,
)
from reelwright.winding.calibration_readings import Micrometer, Reading
from reelwright.winding.calibration_record import profile_record, result_record
from reelwright.winding.job import Calibration
from winding_jobs import job_of

DATE = "2031-05-04"
OVAL = evolve(LABEL, ovality_mm=0.04, rise_pitch_mm=1.5)
PAIRS = (Reading(1.76, 1.72),) * 3
WIND = exact_wind(LABEL)
FIGURES_KEYS = {
    "diameter_mm", "second_diameter_mm", "diameter_u_mm", "rise", "rise_u", "density_g_cm3", "density_u_g_cm3",
    "mass_per_metre_g", "mass_per_metre_u_g",
}  # fmt: skip


def test_scripts_read_a_result_under_these_keys() -> None:
    result = calibrate_layers(WIND, LABEL)
    record = result_record(result, DATE)
    assert set(record) >= {
        "method", "date", "found", "figures", "before", "after", "pitch_mm", "measurements", "chi_square",
        "degrees_of_freedom", "birge_ratio", "consistent", "ovality_mm", "ovality_u_mm", "is_oval",
        "layer_1_by_line_mm", "layer_1_by_line_u_mm", "layer_1_by_barrel_mm", "layer_1_by_barrel_u_mm",
        "mass_relative_u", "changes",
    }  # fmt: skip
    (change, *_), (known, *_) = record["changes"], result.changes
    assert change == known._asdict() | {"stands_out": known.stands_out, "less_sure": known.less_sure}
    assert isinstance(record["after"], dict)
    assert set(record["after"]) == FIGURES_KEYS
    assert (record["method"], record["date"], record["pitch_mm"]) == ("outer diameters", DATE, 1.76)


def test_a_result_of_layers_tells_its_fit_and_its_line_and_nothing_of_an_ovality() -> None:
    result = calibrate_layers(WIND, LABEL)
    assert result.estimated is not None
    assert result.line is not None
    record = result_record(result, DATE)
    fit, line = result.estimated, result.line
    assert (record["chi_square"], record["birge_ratio"]) == (fit.chi_square, fit.scatter)
    assert record["degrees_of_freedom"] == fit.degrees == 2
    assert record["consistent"] is True
    assert (record["layer_1_by_line_mm"], record["layer_1_by_line_u_mm"]) == (line.line_mm, line.line_u_mm)
    assert (record["layer_1_by_barrel_mm"], record["layer_1_by_barrel_u_mm"]) == (line.known_mm, line.known_u_mm)
    assert [record[key] for key in ("ovality_mm", "ovality_u_mm", "is_oval")] == [None] * 3


def test_a_result_of_pairs_tells_their_ovality_and_of_single_readings_none() -> None:
    pairs = calibrate_diameter(PAIRS, Micrometer(), LABEL)
    assert pairs.measured is not None
    assert pairs.measured.ovality is not None
    record = result_record(pairs, DATE)
    assert record["ovality_mm"] == pytest.approx(0.04)
    assert record["ovality_u_mm"] == pairs.measured.ovality.u
    assert record["is_oval"] is True
    assert (record["chi_square"], record["birge_ratio"], record["layer_1_by_line_mm"]) == (None, None, None)
    assert record["degrees_of_freedom"] == pairs.measured.mean.degrees
    single = result_record(calibrate_diameter([Reading(1.74), Reading(1.75)], Micrometer()), DATE)
    assert [single[key] for key in ("ovality_mm", "ovality_u_mm", "is_oval")] == [None] * 3
    # with winds besides, the degrees are those of the fit
    both = calibrate_together([WIND], LABEL, readings=PAIRS)
    assert both.estimated is not None
    assert result_record(both, DATE)["degrees_of_freedom"] == both.estimated.degrees


def test_a_measurement_is_told_with_what_was_meant_where_its_decimal_point_slipped_and_with_nothing_else() -> None:
    slipped: Any = result_record(calibrate_diameter([Reading(1.74), Reading(17.5)], Micrometer(), LABEL), DATE)
    assert [each["meant"] for each in slipped["measurements"]] == ["", "1.75 mm"]
    assert "slip" not in slipped["measurements"][1]


def test_figures_are_told_with_what_is_unknown_of_them_left_open() -> None:
    before: Any = result_record(calibrate_layers(WIND, OVAL), DATE)["before"]
    metre = OVAL.mass_per_metre_g()
    assert metre is not None
    assert (before["diameter_mm"], before["second_diameter_mm"]) == pytest.approx((1.77, 1.73))
    assert (before["rise"], before["rise_u"]) == (0.957, 0.03)
    assert (before["density_g_cm3"], before["density_u_g_cm3"]) == (1.24, 0.012)
    assert (before["mass_per_metre_g"], before["mass_per_metre_u_g"]) == metre
    after: Any = result_record(calibrate_diameter([Reading(1.74), Reading(1.75)], Micrometer()), DATE)["after"]
    unknown = FIGURES_KEYS - {"diameter_mm", "diameter_u_mm"}
    assert {key: after[key] for key in unknown} == dict.fromkeys(unknown)


def test_a_profile_keeps_the_figures_that_belong_together() -> None:
    result = calibrate_layers(WIND, LABEL)
    assert result.figures == (DIAMETER, RISE)
    record = profile_record(result, DATE)
    inputs = record.pop("inputs")
    assert isinstance(inputs, list)
    assert len(inputs) == 3
    assert record == {
        "date": DATE,
        "method": "outer diameters",
        "readings": 3,
        "found": [RISE],
        "diameter_mm": 1.75,
        "diameter_u_mm": pytest.approx(result.after.diameter_u_mm, rel=1e-6),
        "rise": pytest.approx(0.957),
        "rise_u": pytest.approx(result.after.rise_u, rel=1e-6),
        "pitch_mm": 1.76,
        "diameter_rise_r": round(result.after.correlations[0], 4),
    }
    assert record["diameter_rise_r"] != round(result.after.correlations[0], 3)


def test_a_profile_keeps_nothing_that_was_left_out_or_not_found() -> None:
    wind = exact_wind(LABEL, pitch_mm=None)
    sure = evolve(LABEL, diameter_u_mm=0.0005)
    record = profile_record(calibrate_layers(wind, sure, leave_out=(2,)), DATE)
    assert record.keys() == {"date", "method", "readings", "found", "rise", "rise_u", "inputs"}
    assert record["readings"] == 2
    assert record["inputs"] == [f"outer diameter over layer {n.layer}: {n.outer_mm:.6g} mm" for n in wind.layers[::2]]
    oval = profile_record(calibrate_diameter(PAIRS, Micrometer(), LABEL), DATE)
    assert (oval["diameter_mm"], oval["second_diameter_mm"]) == (1.76, 1.72)
    assert oval.keys().isdisjoint({"rise", "density_g_cm3"})
    earlier = evolve(LABEL, calibrated=(DIAMETER, RISE, DENSITY), correlations=(0.1, -0.2, 0.3))
    told = profile_record(calibrate_layers(WIND, earlier), DATE)
    assert told["density_u_g_cm3"] == pytest.approx(0.012, rel=1e-3)
    assert told.keys() >= {"diameter_rise_r", "diameter_density_r", "rise_density_r"}
    weighed = profile_record(calibrate_weight(exact_wind(LABEL), sure, DENSITY), DATE)
    assert (weighed["found"], weighed["density_g_cm3"]) == ([DENSITY], pytest.approx(1.24))
    assert weighed.keys().isdisjoint({"rise", "diameter_mm"})


def test_a_job_tells_its_spool_its_count_and_its_coil_for_any_strand() -> None:
    job = job_of(strand={"diameter_mm": 1.77, "second_diameter_mm": 1.73}, take_up={"barrel_diameter_u_mm": 0.4})
    wind = wound(job, 661.0)
    assert (wind.barrel_mm, wind.barrel_u_mm, wind.turns) == (80, 0.4, 661)
    assert wind.turns_u == pytest.approx(0.5 / 60)
    assert wind.pitch_mm == pytest.approx((63 - 1.75) / 34.8)
    assert wind.lay is not None
    coil = wind.lay(90.0, 1.60, 0.9)
    assert (coil.inner_radius_mm, coil.rise_mm) == pytest.approx(((90 + 1.6) / 2, 0.9 * 1.6))
    # the guide's stroke is the machine's, whatever the strand turns out to be
    assert coil.pitch_mm == wind.pitch_mm
    round_coil = wound(job_of(), 661.0).lay
    assert round_coil is not None
    assert round_coil(90.0, 1.60, 0.9).inner_radius_mm == pytest.approx((90 + 1.6) / 2)


def test_a_job_tells_what_is_known_of_its_strand_with_its_calibration() -> None:
    note = Calibration(
        "marsh", figures=("diameter", "rise", "density"), pitch_mm=1.5, diameter_rise_r=0.1, diameter_density_r=-0.2,
        rise_density_r=0.3,
    )  # fmt: skip
    job = evolve(job_of(strand={"diameter_mm": 1.77, "second_diameter_mm": 1.73}), calibration=note)
    known = figures_of_job(job)
    assert isinstance(known, StrandFigures)
    assert (known.diameter_mm, known.ovality_mm) == pytest.approx((1.75, 0.04))
    assert (known.correlations, known.calibrated, known.rise_pitch_mm) == ((0.1, -0.2, 0.3), note.figures, 1.5)
    assert (known.density_g_cm3, known.density_u_g_cm3) == (1.24, job.strand.known_density_u_g_cm3)
    measured = figures_of_job(job_of(lay={"rise": 0.93, "rise_u": 0.007}))
    assert (measured.rise, measured.rise_u) == (0.93, 0.007)
    without_rise = figures_of_strand(job.strand, evolve(note, figures=("diameter",)))
    assert without_rise.rise_pitch_mm is None
    assert without_rise.rise is None
    assert figures_of_strand(job.strand).calibrated == ()

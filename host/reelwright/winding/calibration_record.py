"""A calibration as plain data: for the strand's profile, and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.winding.calibration_evidence import evidence_after
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.winding.calibration import FittedValue
    from reelwright.winding.calibration_evidence import Kept
    from reelwright.winding.calibration_methods import CalibrationResult

Plain = dict[str, object]


def profile_record(result: CalibrationResult, date: str, kept: Sequence[Kept] = ()) -> Plain:
    """What a strand's profile keeps: values with units in the keys, how and when they were found, and from what.

    date: as 2031-05-04. kept: what the figures rest on that the calibration started from.
    """
    after = result.after
    record: Plain = {
        "date": date,
        "method": result.method,
        "readings": result.used,
        "found": list(result.found),
    }
    if DIAMETER in result.figures:
        wide, narrow = after.diameters_mm()
        record["diameter_mm"] = _digits(wide)
        if after.ovality_mm:
            record["second_diameter_mm"] = _digits(narrow)
        record["diameter_u_mm"] = _digits(after.diameter_u_mm)
    if RISE in result.figures and after.rise is not None:
        record |= {"rise": _digits(after.rise), "rise_u": _digits(after.rise_u)}
        if result.pitch_mm is not None:
            record["pitch_mm"] = _digits(result.pitch_mm)
    if DENSITY in result.figures and after.density_g_cm3 is not None:
        record |= {
            "density_g_cm3": _digits(after.density_g_cm3),
            "density_u_g_cm3": _digits(after.density_u_g_cm3),
        }
    pairs = {
        "diameter_rise_r": (DIAMETER, RISE),
        "diameter_density_r": (DIAMETER, DENSITY),
        "rise_density_r": (RISE, DENSITY),
    }
    for key, pair in pairs.items():
        if set(pair) <= set(result.figures):
            record[key] = round(after.correlation(*pair), 4)
    record["inputs"] = evidence_after(result.values, kept)
    return record


def result_record(result: CalibrationResult, date: str) -> Plain:
    """Everything about the result, for JSON; the unit in each key, and of a measurement in its `unit`.

    u are standard uncertainties.
    """
    estimated, measured, line = result.estimated, result.measured, result.line
    return {
        "method": result.method,
        "date": date,
        "found": list(result.found),
        "figures": list(result.figures),
        "before": None if result.before is None else _figures(result.before),
        "after": _figures(result.after),
        "changes": [
            change._asdict() | {"stands_out": change.stands_out, "less_sure": change.less_sure}
            for change in result.changes
        ],
        "let_go": [each._asdict() for each in result.let_go],
        "repetition": None if result.repetition is None else result.repetition._asdict(),
        "pitch_mm": result.pitch_mm,
        "measurements": [_measurement(value) for value in result.values],
        "chi_square": None if estimated is None else estimated.chi_square,
        "degrees_of_freedom": measured.mean.degrees if measured and not estimated else estimated and estimated.degrees,
        "birge_ratio": None if estimated is None else estimated.scatter,
        "consistent": None if estimated is None else estimated.consistent,
        "ovality_mm": None if measured is None or measured.ovality is None else measured.ovality.value,
        "ovality_u_mm": None if measured is None or measured.ovality is None else measured.ovality.u,
        "is_oval": None if measured is None or measured.ovality is None else measured.is_oval,
        "layer_1_by_line_mm": None if line is None else line.line_mm,
        "layer_1_by_line_u_mm": None if line is None else line.line_u_mm,
        "layer_1_by_barrel_mm": None if line is None else line.known_mm,
        "layer_1_by_barrel_u_mm": None if line is None else line.known_u_mm,
        "mass_relative_u": dict(result.mass_relative_u),
    }


def _measurement(value: FittedValue) -> Plain:
    plain = value._asdict()
    slip = plain.pop("slip")
    return plain | {"meant": slip.meant if slip else ""}


def _figures(figures: StrandFigures) -> Plain:
    metre = figures.mass_per_metre_g()
    wide, narrow = figures.diameters_mm()
    return {
        "diameter_mm": wide,
        "second_diameter_mm": narrow if figures.ovality_mm else None,
        "diameter_u_mm": figures.diameter_u_mm,
        "rise": figures.rise,
        "rise_u": None if figures.rise is None else figures.rise_u,
        "density_g_cm3": figures.density_g_cm3,
        "density_u_g_cm3": None if figures.density_g_cm3 is None else figures.density_u_g_cm3,
        "mass_per_metre_g": None if metre is None else metre[0],
        "mass_per_metre_u_g": None if metre is None else metre[1],
    }


def _digits(value: float) -> float:
    """Seven of them: far more than any measurement has, and short enough to read in a file."""
    return float(f"{value:.7g}")

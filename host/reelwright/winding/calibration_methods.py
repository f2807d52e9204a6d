"""The ways to calibrate a strand, each from its measurements to one result."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

from attrs import evolve, field, frozen

from reelwright.winding.calibration import (
    Estimated,
    FittedValue,
    fit_winds,
    forecast_of_weight,
)
from reelwright.winding.calibration_change import MOST_NORMALIZED_ERROR, Change, LetGo, changes_between, let_go_between
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, FIGURES, RISE, LabelDensity, StrandFigures
from reelwright.winding.calibration_line import LineCheck, line_check
from reelwright.winding.calibration_readings import (
    FEWEST_JUDGED,
    FEWEST_READINGS,
    KINDS,
    MeasuredDiameter,
    Micrometer,
    Reading,
    ReadingScore,
    measured_diameter,
    reading_scores,
)
from reelwright.winding.calibration_winds import ImpossibleMeasurementsError, MeasuredWind, evidence_of, weight_slip
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from reelwright.winding.calibration_evidence import Repetition

MICROMETER = "micrometer"
OUTER_DIAMETERS = "outer diameters"
WEIGHED_SPOOL = "weighed spool"
TOGETHER = "all measurements together"
# From so much correlation on, a figure goes into the profile beside the one that was found with it.
_BOUND = 0.1


@frozen
class CalibrationResult:
    """What was found, from what, and how it changes what was known.

    figures: names of FIGURES that belong into the profile. found: those of them that the measurements settle.
    changes: of those that were known. values: every measurement, numbered. mass_relative_u: of a weighed spool, the
    relative uncertainty of its mass from each figure alone, as known before. repetition: of measurements that were
    used before. label_density: that counts again where a calibrated one is let go; None where nothing gives one.
    let_go: measured figures that are lost where this is stored.
    """

    method: str
    before: StrandFigures | None
    after: StrandFigures
    found: tuple[str, ...]
    figures: tuple[str, ...]
    values: tuple[FittedValue, ...]
    changes: tuple[Change, ...] = ()
    pitch_mm: float | None = None
    measured: MeasuredDiameter | None = None
    line: LineCheck | None = None
    mass_relative_u: Mapping[str, float] = field(factory=dict)
    estimated: Estimated | None = None
    repetition: Repetition | None = None
    label_density: LabelDensity | None = None
    let_go: tuple[LetGo, ...] = ()

    @property
    def outlying(self) -> tuple[int, ...]:
        """Numbers of the measurements that stand out and were used."""
        return tuple(value.number for value in self.values if value.stands_out)

    @property
    def doubtful(self) -> tuple[Change, ...]:
        """The changes that a person has to decide about before they are stored."""
        return tuple(change for change in self.changes if change.needs_decision)

    @property
    def is_doubtful(self) -> bool:
        """Whether a person has to decide before anything is stored."""
        return bool(self.outlying or self.doubtful or self.let_go or self.repetition)

    @property
    def decided_by(self) -> tuple[str, ...]:
        """The figures by whose names a person decides that measurements count again."""
        return self.found or self.figures

    def works_without(self, numbers: Collection[int]) -> bool:
        """Whether enough is left to calibrate by once these measurements are left out."""
        left = [value for value in self.values if not value.left_out and value.number not in numbers]
        readings = sum(value.name in KINDS for value in left)
        return bool(left) and (self.measured is None or readings >= FEWEST_READINGS)

    @property
    def used(self) -> int:
        """How many measurements were used."""
        return sum(not value.left_out for value in self.values)


def calibrate_diameter(
    readings: Sequence[Reading],
    micrometer: Micrometer,
    before: StrandFigures | None = None,
    leave_out: Collection[int] = (),
    label_density: LabelDensity | None = None,
) -> CalibrationResult:
    """Mean diameter and, from pairs, ovality. before: of a strand of which something is known.

    Nothing is kept of a rise factor found earlier: it was found with another diameter, and so was a calibrated
    density, in whose place label_density counts again. Raises ImpossibleMeasurementsError.
    """
    measured, values = _read_diameter(readings, micrometer, leave_out, before)
    known = before or StrandFigures(measured.mean.value, measured.mean.u)
    if DENSITY in known.calibrated:
        density, u, _ = label_density or (None, 0.0, "")
        known = evolve(known, density_g_cm3=density, density_u_g_cm3=u, correlations=(0.0, 0.0, 0.0))
    after = _with_diameter(evolve(known, rise=None, rise_u=0.0, rise_pitch_mm=None), measured)
    return CalibrationResult(
        method=MICROMETER,
        before=before,
        after=after,
        found=(DIAMETER,),
        figures=(DIAMETER,),
        values=values,
        changes=changes_between(before, after, (DIAMETER,)),
        measured=measured,
        label_density=label_density,
        let_go=let_go_between(before, after, (DIAMETER,)),
    )


def calibrate_layers(wind: MeasuredWind, before: StrandFigures, leave_out: Collection[int] = ()) -> CalibrationResult:
    """The rise factor from outer diameters over layers. Raises ImpossibleMeasurementsError."""
    if not wind.layers:
        sentence = "no outer diameter is given; write the layer's number and what lies over it, such as 6:97.1mm"
        raise ImpossibleMeasurementsError([("layers", sentence)])
    only = evolve(wind, gross_mass_g=None, empty_mass_g=None, length_m=None)
    estimated = fit_winds([only], before, {RISE}, leave_out)
    result = _of_winds(OUTER_DIAMETERS, [only], before, estimated, {RISE})
    return evolve(result, line=line_check(only, before, leave_out))


def calibrate_weight(wind: MeasuredWind, before: StrandFigures, solve: str | None = None) -> CalibrationResult:
    """One figure from a weighed spool: `solve`, by default the one that makes its mass least sure.

    Raises ImpossibleMeasurementsError.
    """
    only = evolve(wind, layers=(), length_m=None)
    forecast = forecast_of_weight(only, before)
    solved = solve or forecast.least_known
    estimated = fit_winds([only], before, {solved})
    result = _of_winds(WEIGHED_SPOOL, [only], before, estimated, {solved})
    # The fit goes through the only measurement, which is therefore judged by what was known before; and so is the
    # figure solved for, by the same distance, which knows what the figures have in common.
    slip = weight_slip(only, forecast.expected_g) if abs(forecast.off) > COVERAGE * MOST_NORMALIZED_ERROR else None
    values = tuple(value._replace(normalized=forecast.off, slip=slip) for value in result.values)
    error = forecast.off / COVERAGE
    changes = tuple(
        change._replace(normalized_error=error) if change.figure == solved else change for change in result.changes
    )
    return evolve(result, values=values, changes=changes, mass_relative_u=forecast.relative_u)


def calibrate_together(
    winds: Sequence[MeasuredWind],
    before: StrandFigures,
    leave_out: Collection[int] = (),
    readings: Sequence[Reading] = (),
    micrometer: Micrometer | None = None,
) -> CalibrationResult:
    """Everything at once, and what was known before counts too. Raises ImpossibleMeasurementsError.

    readings: of a micrometer; they come first in the numbering, and replace the diameter known before.
    """
    known, first_values = before, tuple[FittedValue, ...]()
    measured = None
    if readings:
        inside = {number for number in leave_out if number <= len(readings)}
        measured, first_values = _read_diameter(readings, micrometer or Micrometer(), inside, before)
        known = _with_diameter(before, measured)
    beyond = {number for number in leave_out if number > len(readings)}
    estimated = fit_winds(winds, known, (), beyond, first_number=len(readings) + 1)
    result = _of_winds(TOGETHER, winds, before, estimated, {DIAMETER} if readings else ())
    return evolve(result, values=first_values + result.values, measured=measured)


def _read_diameter(
    readings: Sequence[Reading], micrometer: Micrometer, leave_out: Collection[int], before: StrandFigures | None
) -> tuple[MeasuredDiameter, tuple[FittedValue, ...]]:
    _check_readings(readings, leave_out)
    used = [position for position in range(len(readings)) if position + 1 not in leave_out]
    measured = measured_diameter([readings[position] for position in used], micrometer)
    scores = dict(zip(used, reading_scores([readings[position] for position in used], micrometer), strict=True))
    expected_mm = before.diameter_mm if before else median(readings[position].mean_mm for position in used)
    slipped = {position: readings[position].slip(expected_mm) for position in used}
    values = tuple(
        FittedValue(
            number=position + 1,
            name=reading.kind,
            unit="mm",
            measured=reading.mean_mm,
            u=measured.mean.scatter,
            fitted=measured.mean.value,
            normalized=scores[position].z if position in scores and len(used) >= FEWEST_JUDGED else None,
            left_out=position not in scores,
            stands_out=position in scores and (scores[position].stands_out or slipped[position] is not None),
            doubt=_doubt(reading, scores.get(position)),
            evidence=evidence_of(reading.kind, reading.mean_mm, "mm"),
            slip=slipped.get(position),
        )
        for position, reading in enumerate(readings)
    )
    return measured, values


def _doubt(reading: Reading, score: ReadingScore | None) -> str:
    """What stands out about a pair whose mean does not."""
    if score is None or not score.stands_out or score.usual_difference_mm is None:
        return ""
    usual_mm = score.usual_difference_mm
    told = f"its two diameters differ by {reading.difference_mm:+.3f} mm, the others' by {usual_mm:+.3f} mm"
    if score.exchanged:
        order = "narrow before wide" if usual_mm > 0 else "wide before narrow, unlike the others"
        return f"{told}; {order}: swap them"
    return told


def _check_readings(readings: Sequence[Reading], leave_out: Collection[int]) -> None:
    faults = []
    pairs = sum(reading.narrow_mm is not None for reading in readings)
    if 0 < pairs < len(readings):
        faults.append(("readings", f"{pairs} of {len(readings)} are pairs; give pairs alone, or single readings alone"))
    for number in sorted(leave_out):
        if not 1 <= number <= len(readings):
            faults.append(("leave_out", f"there is no reading {number} of {len(readings)}"))
    left = len(readings) - len(set(leave_out) & set(range(1, len(readings) + 1)))
    if left < FEWEST_READINGS:
        what = "one reading is used" if left else "no reading is used"
        faults.append(("readings", f"{what}; it takes two to tell how far they scatter, better measure at five places"))
    if faults:
        raise ImpossibleMeasurementsError(faults)


def _with_diameter(known: StrandFigures, measured: MeasuredDiameter) -> StrandFigures:
    return evolve(
        known,
        diameter_mm=measured.mean.value,
        diameter_u_mm=measured.mean.u,
        ovality_mm=abs(measured.ovality.value) if measured.ovality and measured.is_oval else 0.0,
        correlations=(0.0, 0.0, known.correlations[2]),
    )


def _of_winds(
    method: str,
    winds: Sequence[MeasuredWind],
    before: StrandFigures,
    estimated: Estimated,
    measured_anew: Collection[str],
) -> CalibrationResult:
    """measured_anew: names of the figures whose earlier value took no part."""
    after = estimated.figures
    found = tuple(name for name in FIGURES if name in estimated.solved or name in measured_anew)
    bound = {
        name
        for name in (DIAMETER, DENSITY)
        if after.value(name) is not None and any(abs(after.correlation(name, other)) >= _BOUND for other in found)
    }
    bound |= set(before.calibrated)
    pitches = [wind.pitch_mm for wind in winds if wind.pitch_mm is not None]
    figures = tuple(name for name in FIGURES if name in found or name in bound)
    return CalibrationResult(
        method=method,
        before=before,
        after=after,
        found=found,
        figures=figures,
        values=estimated.values,
        changes=changes_between(before, after, figures, counted=set(FIGURES) - set(measured_anew)),
        pitch_mm=_mean(pitches) if RISE in found else before.rise_pitch_mm,
        estimated=estimated,
    )


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None

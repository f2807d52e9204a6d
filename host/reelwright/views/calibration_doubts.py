"""What stands against a calibration, in words, and how a person decides about it."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE
from reelwright.winding.calibration_methods import MICROMETER, OUTER_DIAMETERS, TOGETHER, WEIGHED_SPOOL
from reelwright.winding.calibration_readings import MOVED, OUTLIER_Z, is_near
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reelwright.winding.calibration import FittedValue
    from reelwright.winding.calibration_change import Change, LetGo
    from reelwright.winding.calibration_evidence import Repetition
    from reelwright.winding.calibration_methods import CalibrationResult

TITLES = {DIAMETER: "Strand diameter", RISE: "Rise factor", DENSITY: "Density"}
UNITS = {DIAMETER: "mm", RISE: "", DENSITY: "g/cm3"}
MANY = 3  # from so many slips of the same kind on, one question does for all
_BOTH = "`reelwright calibrate together` makes use of what was known as well"
_CONTRADICTION = "the measurements contradict one another or what was known, so measure again"
_SURER = {
    MICROMETER: "measure at more places",
    OUTER_DIAMETERS: _BOTH,
    WEIGHED_SPOOL: _BOTH,
    TOGETHER: _CONTRADICTION,
}


def figure_text(name: str, value: float, u: float) -> str:
    """A figure of the strand with its expanded uncertainty and unit."""
    return f"{value:.4f} ± {COVERAGE * u:.4f} {UNITS[name]}".rstrip()


def doubts(result: CalibrationResult) -> Iterator[str]:
    """A sentence on what was used before, on each measurement that stands out, and on each figure to decide about.

    A figure that would be lost is one to decide about.
    """
    if result.repetition is not None:
        yield f"{_already_there(result.repetition)}: given again it is no new evidence."
    asked = {value.number for group in _slipped_alike(result) for value in group}
    for value in result.values:
        if value.stands_out and value.number not in asked:
            yield _of_measurement(value)
    for change in result.doubtful:
        yield from _of_change(change, result)
    for gone in result.let_go:
        yield _of_let_go(gone)


def questions(result: CalibrationResult) -> Iterator[str]:
    """What to look at first: a slipped decimal point, one question where many slipped alike; another strand."""
    groups = _slipped_alike(result)
    for group in groups:
        yield _of_group(group, all_of_them=len(group) == len(result.values))
    asked = {value.number for group in groups for value in group}
    for value in result.values:
        if value.slip and value.number not in asked:
            yield f"Did you mean {value.slip.meant}? Measurement {value.number}, {value.name}, is {value.slip.given}."
    if not any(value.slip for value in result.values):
        yield from _of_another_strand(result)


def _of_another_strand(result: CalibrationResult) -> Iterator[str]:
    """A question where no strand like the one that was known can have the diameter found, or weigh so much."""
    telling = (DIAMETER, DENSITY) if result.method == WEIGHED_SPOOL else (DIAMETER,)
    for change in result.doubtful:
        if change.figure in telling and not is_near(change.after, change.before):
            whose = f'the strand profile "{change.profile}" has' if change.profile else "the one named had"
            unit = UNITS[change.figure]
            yield (
                f"Is this another strand? The one measured has {change.after:.2f} {unit}, and {whose}"
                f" {change.before:.2f} {unit}. Name the one measured, with --strand."
            )
            return


def _slipped_alike(result: CalibrationResult) -> list[list[FittedValue]]:
    """The measurements that slipped by the same decimal, where there are too many for a question on each."""
    alike: dict[float, list[FittedValue]] = {}
    for value in result.values:
        if value.slip and value.slip.factor:
            alike.setdefault(value.slip.factor, []).append(value)
    return [group for group in alike.values() if len(group) >= MANY]


def _of_group(group: Sequence[FittedValue], *, all_of_them: bool) -> str:
    slips = [value.slip for value in group if value.slip]
    meant = ", ".join(slip.meant for slip in slips[:MANY]) + (" and so on" if len(slips) > MANY else "")
    which = (
        f"All {len(group)} measurements" if all_of_them else f"Measurements {_listed([each.number for each in group])}"
    )
    times = "ten times" if slips[0].factor == MOVED[0] else "a tenth of"
    return f"Did you mean {meant}? {which} are {times} that."


def _of_measurement(value: FittedValue) -> str:
    off = abs(value.normalized or 0.0)
    if off > OUTLIER_Z:
        far = f": it lies {off:.1f} times its uncertainty off, more than {OUTLIER_Z:g}"
    else:
        far = ": its decimal point seems to have slipped" if value.slip else ""
    return (
        f"measurement {value.number}, {value.name} {_given(value)}, stands out{far}{value.doubt and '; '}{value.doubt}."
    )


def _given(value: FittedValue) -> str:
    return f"{value.measured:.6g} {value.unit}"


def _of_change(change: Change, result: CalibrationResult) -> Iterator[str]:
    title = TITLES[change.figure].lower()
    after = figure_text(change.figure, change.after, change.after_u)
    before = figure_text(change.figure, change.before, change.before_u)
    where = f'in the strand profile "{change.profile}"' if change.profile else "before"
    if change.stands_out:
        yield (
            f"the {title} of {after} stands out: it was {before} {where}, and the two lie "
            f"{abs(change.normalized_error or 0.0):.1f} times as far apart as their error bars explain (E_n)."
        )
    if change.less_sure:
        contradict = result.estimated is not None and not result.estimated.consistent
        mend = _CONTRADICTION if contradict else _SURER[result.method]
        yield f"the {title} of {after} is less sure than {where}, {before}: {mend}."


def _of_let_go(gone: LetGo) -> str:
    lost = f"nothing is put in place of {_measured(gone)}"
    if gone.profile:
        return f"{lost}, as the measurements were judged by another profile."
    return f"{lost}: `reelwright calibrate together --from FILE.toml` takes readings and a wound spool at once."


def _measured(gone: LetGo) -> str:
    told = f"the measured {TITLES[gone.figure].lower()} of {figure_text(gone.figure, gone.before, gone.before_u)}"
    return f'{told} in the strand profile "{gone.profile}"' if gone.profile else told


def _already_there(repetition: Repetition) -> str:
    numbers = repetition.numbers
    which = f"measurement {numbers[0]} is" if len(numbers) == 1 else f"measurements {_listed(numbers)} are"
    return f'{which} in the strand profile "{repetition.profile}" already, saved on {repetition.date}'


def _listed(numbers: Sequence[int]) -> str:
    return f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def in_short(result: CalibrationResult) -> str:
    """All of it in one clause, for an error."""
    parts = []
    numbers = result.outlying
    if result.repetition is not None:
        parts.append(_already_there(result.repetition))
    if numbers:
        parts.append(f"measurement {', '.join(map(str, numbers))} {'stands' if len(numbers) == 1 else 'stand'} out")
    far = _names(change for change in result.doubtful if change.stands_out)
    if far:
        parts.append(f"{far} stands out against what was known")
    worse = _names(change for change in result.doubtful if not change.stands_out)
    if worse:
        parts.append(f"{worse} would be less sure than before")
    if result.let_go:
        parts.append(f"{' and '.join(map(_measured, result.let_go))} would be lost")
    return "; ".join(parts)


def _names(changes: Iterator[Change]) -> str:
    names = dict.fromkeys(f"the {TITLES[change.figure].lower()}" for change in changes)
    return " and ".join(names)


def choices(result: CalibrationResult) -> str:
    """The options by which a person decides; a figure, and so a single weight, cannot be left out."""
    again = result.repetition.numbers if result.repetition else ()
    figures = dict.fromkeys(change.figure for change in result.doubtful)
    figures |= dict.fromkeys(gone.figure for gone in result.let_go)
    if again:
        figures |= dict.fromkeys(result.decided_by)
    keep = " ".join(f"--keep {each}" for each in (*result.outlying, *figures))
    left_out = dict.fromkeys((*result.outlying, *again))
    leave = " ".join(f"--leave-out {number}" for number in left_out) if result.works_without(left_out) else ""
    ways = [f"{keep} stores the result all the same"]
    if leave:
        ways.insert(0, f"{leave} does without")
    for profile in dict.fromkeys(gone.profile for gone in result.let_go if gone.profile):
        ways.insert(0, f"--strand {shlex.quote(profile)} goes on from what that profile has")
    return ", ".join(ways)

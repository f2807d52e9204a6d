"""What a strand's figures rest on: each measurement as a line of words, so that none counts twice.

A calibration that makes use of what was known before, and stores its result in its place, would take the same
measurement for new evidence whenever it is given again, and grow ever surer of nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from reelwright.winding.calibration_readings import KINDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from reelwright.winding.calibration import FittedValue

_OF_A_WIND = re.compile(r" of wind \d+(?=:)")  # which one it was of a file, and so nothing of what was measured
_MORE = ("turns", "job")  # what a line may tell beside the value: "165 turns", "job 12"


class Kept(NamedTuple):
    """A measurement that a strand profile's figures rest on, and the date when it was stored, as 2031-05-04."""

    evidence: str
    profile: str
    date: str


class Repetition(NamedTuple):
    """Measurements, by their numbers, that this strand profile's figures rest on already, since this date."""

    numbers: tuple[int, ...]
    profile: str
    date: str


def repetition_of(values: Iterable[FittedValue], kept: Sequence[Kept]) -> Repetition | None:
    """The measurements used that are among those kept, or None.

    The same are those of one kind with the same value, unless both name their turns, or their job, and name others:
    lines of before these were kept name none, and a number of their wind in its place.
    A micrometer's readings are one measurement all together, and the same only where nothing else is kept: the
    same strand gives the same readings again and again, and they replace those before.
    """
    used = [value for value in values if not value.left_out]
    readings = [value for value in used if value.name in KINDS]
    if readings == used and Counter(each.evidence for each in used) == Counter(each.evidence for each in kept):
        found = {value.number: kept[0] for value in used}
    else:
        winds = [value for value in used if value not in readings]
        found = {value.number: each for value in winds for each in kept if _same(value.evidence, each.evidence)}
    if not found:
        return None
    latest = max(found.values(), key=lambda each: each.date)
    return Repetition(tuple(found), latest.profile, latest.date)


def evidence_after(values: Sequence[FittedValue], kept: Sequence[Kept]) -> list[str]:
    """What the figures rest on after a calibration that started from those that rest on what is kept.

    A micrometer's readings replace those before; readings alone replace all that was found with another diameter.
    """
    used = [value for value in values if not value.left_out]
    readings = any(value.name in KINDS for value in used)
    if readings and all(value.name in KINDS for value in used):
        kept = ()
    old = [each.evidence for each in kept if not (readings and each.evidence.partition(":")[0] in KINDS)]
    repetition = repetition_of(used, kept)
    again = repetition.numbers if repetition else ()
    return old + [value.evidence for value in used if value.number not in again]


def _same(one: str, other: str) -> bool:
    (value, *more), (other_value, *other_more) = (_OF_A_WIND.sub("", line).split(", ") for line in (one, other))
    named = ([[part for part in parts if word in part.split()] for parts in (more, other_more)] for word in _MORE)
    return value == other_value and all(not ours or not theirs or ours == theirs for ours, theirs in named)

"""Numbers with their units as a person reads them. One place, so that every view says the same thing alike."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from reelwright.winding.rounding import rounded_down, rounded_up
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_DECIMALS = 3
MOST_NAMES = 6  # in a sentence
UNKNOWN = "-"


def number(value: float | None, decimals: int) -> str:
    """A number with fixed decimals; a dash for what is not known."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    return f"{value:.{decimals}f}"


def turns_text(turns: float | None) -> str:
    """Turns of a spool, the same ones alike in every view: two decimals. Of a job, `Plan.counted_turns`."""
    return number(turns, 2)


def with_uncertainty(value: float | None, standard_u: float | None, unit: str) -> str:
    """A value with its expanded uncertainty, k = 2, which is given to two digits (JCGM 100:2008, 7.2.6).

    value, standard_u: in `unit`. Without a known uncertainty the value stands alone, with two decimals.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    if standard_u is None or not math.isfinite(standard_u) or standard_u <= 0:
        return f"{value:.2f} {unit}"
    expanded = COVERAGE * standard_u
    decimals = _two_digits_of(expanded)
    return f"{value:.{decimals}f} ± {expanded:.{decimals}f} {unit}"


def at_most(value: float, standard_u: float, unit: str) -> str:
    """The upper end of a value's error bar, rounded upwards: all there is to say where the lower end is nothing."""
    expanded = COVERAGE * standard_u
    decimals = _two_digits_of(expanded) if expanded > 0 else 2
    return f"at most {rounded_up(value + expanded, decimals):.{decimals}f} {unit}"


def between(lowest: float, highest: float | None, unit: str) -> str:
    """What lies between two ends, rounded outwards; above the lowest only where nothing is known of the highest."""
    if highest is None:
        return f"at least {rounded_down(lowest, 2):.2f} {unit}"
    half = (highest - lowest) / 2
    decimals = _two_digits_of(half) if half > 0 else 2
    return f"{rounded_down(lowest, decimals):.{decimals}f} to {rounded_up(highest, decimals):.{decimals}f} {unit}"


def _two_digits_of(expanded: float) -> int:
    """The decimals that show two digits of it."""
    return min(max(1 - math.floor(math.log10(expanded)), 0), MOST_DECIMALS)


def duration(seconds: float | None) -> str:
    """A time to go: "4 s", "1 min 05 s", "2 h 10 min"; a dash while it is not known."""
    if seconds is None or not math.isfinite(seconds) or seconds < 0:
        return UNKNOWN
    whole = math.ceil(seconds)
    minutes, rest_s = divmod(whole, 60)
    hours, rest_min = divmod(minutes, 60)
    if hours:
        return f"{hours} h {rest_min:02d} min"
    return f"{minutes} min {rest_s:02d} s" if minutes else f"{rest_s} s"


def names_of(names: Sequence[str]) -> str:
    """The first names, and how many more there are: "kit 1, kit 2 and 3 more"."""
    more = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")

"""The winds of one strand in a cut list, and how unsure it is what they take off a pay-off spool."""

from __future__ import annotations

from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

from reelwright.winding.source import Drawn
from reelwright.winding.uncertainty import COVERAGE, estimate_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.winding.planned import Plan


class _Wind(NamedTuple):
    wound_mm: float
    share_u: float  # standard uncertainty of what it takes, as a share of that


@frozen(slots=False)  # what is reckoned from the plans is kept
class Winds:
    """Winds of the same strand, one or more. They share its errors, so that what each takes errs the same way."""

    plans: Sequence[Plan]

    def taken_u_m(self, off_mm: float) -> float:
        """Standard uncertainty in m of what is taken where so much is counted off: by the least sure winds of all."""
        u_mm, left_mm = 0.0, off_mm
        for wind in self._least_sure_first:
            u_mm += min(wind.wound_mm, left_mm) * wind.share_u
            left_mm -= wind.wound_mm
            if left_mm <= 0:
                break
        return u_mm / 1000

    def drawn(self, off_mm: float) -> Drawn:
        """What is taken where so much is counted off: in what it owes to the strand's errors, as the longest wind."""
        strand, length_mm = self._longest
        length = estimate_of(length_mm)
        error_mm = (length_mm - length.value) * (1000 * self.taken_u_m(off_mm) / length.u)
        return Drawn(strand, off_mm + error_mm)

    def must_hold_mm(self, off_mm: int) -> int:
        """What a spool of which all is known must hold, so that this is surely counted off it."""
        return ceil(round(off_mm + COVERAGE * 1000 * self.taken_u_m(off_mm), 6))

    @cached_property
    def _longest(self) -> Drawn:
        return max(self.plans, key=lambda plan: plan.wound_length_m).drawn

    @cached_property
    def _least_sure_first(self) -> list[_Wind]:
        lengths = [estimate_of(plan.drawn.length_mm) for plan in self.plans]
        winds = [_Wind(length.value, length.u / length.value) for length in lengths]
        return sorted(winds, key=lambda wind: -wind.share_u)

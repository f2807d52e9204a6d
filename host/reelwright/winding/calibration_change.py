"""What a calibration makes of figures that were known already: how far each moves, and whether it is less sure."""

from __future__ import annotations

from math import hypot, inf, isclose, sqrt
from typing import TYPE_CHECKING, NamedTuple

from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Collection

    from reelwright.winding.calibration_figures import StrandFigures

# |E_n| of ISO 13528 (9.7) and ISO/IEC 17043 (annex B): above it two values differ by more than their expanded
# uncertainties explain; from memory.
MOST_NORMALIZED_ERROR = 1.0
# Even fifty readings tell an uncertainty to no better than a tenth (JCGM 100, table E.1): less is no difference.
TELLABLE = 0.1
_SAME = 1e-6  # share by which the seven digits of a profile may differ from what they were written of


class Change(NamedTuple):
    """A figure that was known, and what became of it. Units as named by the figure; u are standard uncertainties.

    normalized_error: E_n, the difference in expanded uncertainties of the difference; None where the earlier value
    took part in the later one and was hardly bettered, so that it says nothing. profile: of which the earlier value
    is; empty where it is what the calibration started from.
    """

    figure: str
    before: float
    before_u: float
    after: float
    after_u: float
    normalized_error: float | None
    profile: str = ""

    @property
    def stands_out(self) -> bool:
        """Whether the two values contradict one another."""
        return self.normalized_error is not None and abs(self.normalized_error) > MOST_NORMALIZED_ERROR

    @property
    def less_sure(self) -> bool:
        """Whether the later value is less sure than the earlier one by more than can be told."""
        return self.after_u > (1 + TELLABLE) * self.before_u

    @property
    def needs_decision(self) -> bool:
        """Whether a person has to say that it is stored all the same."""
        return self.stands_out or self.less_sure


class LetGo(NamedTuple):
    """A measured figure that a calibration has nothing to put in place of, and its standard uncertainty.

    profile: as in Change.
    """

    figure: str
    before: float
    before_u: float
    profile: str = ""


def is_surer(after_u: float, before_u: float) -> bool:
    """Whether an uncertainty is smaller than another by more than can be told."""
    return after_u < (1 - TELLABLE) * before_u


def changes_between(
    before: StrandFigures | None,
    after: StrandFigures,
    names: Collection[str],
    counted: Collection[str] = (),
    profile: str = "",
) -> tuple[Change, ...]:
    """How the figures of these names change; without those of which nothing was known, or is now.

    counted: names of those whose earlier value took part in the later one. The errors of the two then have so much
    in common that the variance of their difference is the difference of their variances.
    """
    if before is None:
        return ()
    changes = []
    for name in names:
        known, found = before.value(name), after.value(name)
        if known is not None and found is not None:
            before_u, after_u = before.u(name), after.u(name)
            error = None
            if name not in counted:
                error = _normalized(found - known, hypot(before_u, after_u))
            elif is_surer(after_u, before_u):
                error = _normalized(found - known, sqrt(before_u**2 - after_u**2))
            changes.append(Change(name, known, before_u, found, after_u, error, profile))
    return tuple(changes)


def let_go_between(
    before: StrandFigures | None, after: StrandFigures, names: Collection[str], profile: str = ""
) -> tuple[LetGo, ...]:
    """The calibrated figures of before that are not among these names, which the calibration after gives.

    Without those that are as before all the same, as a density of the label is that a calibration went by.
    """
    if before is None:
        return ()
    gone = []
    for name in before.calibrated:
        value, u = before.value(name), before.u(name)
        if name not in names and value is not None and not is_same(after.value(name), after.u(name), value, u):
            gone.append(LetGo(name, value, u, profile))
    return tuple(gone)


def is_same(value: float | None, u: float, before: float, before_u: float) -> bool:
    """Whether a figure and its standard uncertainty are as before, but for the digits that a profile keeps."""
    return value is not None and isclose(value, before, rel_tol=_SAME) and isclose(u, before_u, rel_tol=_SAME)


def _normalized(difference: float, u: float) -> float:
    if u > 0:
        return difference / (COVERAGE * u)
    return inf if difference else 0.0

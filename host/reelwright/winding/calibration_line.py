"""The line through outer diameters alone, beside where barrel and strand put its beginning."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.winding.calibration_fit import Observation, fit

if TYPE_CHECKING:
    from collections.abc import Collection

    from reelwright.winding.calibration_figures import StrandFigures
    from reelwright.winding.calibration_winds import MeasuredWind


@frozen
class LineCheck:
    """Where a line through the outer diameters meets layer 1, and where barrel and strand put it. All mm."""

    line_mm: float
    line_u_mm: float
    known_mm: float
    known_u_mm: float

    @property
    def agrees(self) -> bool:
        """Whether the two differ by at most twice the standard uncertainty of their difference."""
        return abs(self.line_mm - self.known_mm) <= 2 * sqrt(self.line_u_mm**2 + self.known_u_mm**2)


def line_check(wind: MeasuredWind, known: StrandFigures, leave_out: Collection[int] = ()) -> LineCheck | None:
    """Compare the line through the outer diameters alone with barrel and strand.

    None where the barrel is not known or fewer than two layers were measured.
    """
    used = [each for number, each in enumerate(wind.layers, start=1) if number not in leave_out]
    if wind.barrel_mm is None or len({each.layer for each in used}) < 2:
        return None

    def point(layer: int, outer_mm: float) -> Observation:
        slopes = (1.0, layer - 1)
        name = f"outer diameter over layer {layer}"
        return Observation(name, outer_mm, wind.caliper_u_mm, lambda line: (line[0] + slopes[1] * line[1], slopes))

    line = fit([point(*each) for each in used], [wind.barrel_mm, 0.0])
    return LineCheck(
        line_mm=line.values[0],
        line_u_mm=line.u(0),
        known_mm=wind.barrel_mm + 2 * known.diameter_mm,
        known_u_mm=sqrt(wind.barrel_u_mm**2 + (2 * known.diameter_u_mm) ** 2),
    )

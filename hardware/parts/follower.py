"""The follower: a boat-shaped blade in the groove, on a round pin in which it turns to the groove's hand."""

from __future__ import annotations

from math import atan2, cos, hypot, pi, sin
from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from parts.groove import Groove

# How far round the screw's core, to either side, an upright blade still reaches the bottom of the groove.
MOST_WRAP_RAD = pi / 3

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=100)]


@frozen
class Follower:
    """Blade and pin. side_play_mm: on each side of the blade in the groove; root_play_mm: under it, and over the screw.

    The blade is length_mm long, as wide as the groove less the play in the middle, tip_width_mm wide at its ends.
    pin_hole_play_mm: by how much the carriage's hole is wider than the pin.
    """

    length_mm: Millimetres
    tip_width_mm: Millimetres
    side_play_mm: Annotated[float, Quantity("mm", at_least=0.05, at_most=1)]
    root_play_mm: Annotated[float, Quantity("mm", at_least=0.05, at_most=2)]
    pin_diameter_mm: Millimetres
    pin_hole_play_mm: Annotated[float, Quantity("mm", at_least=0.05, at_most=1)]

    def blade_width_mm(self, groove: Groove) -> float:
        """Of the middle of the blade."""
        return groove.width_mm - 2 * self.side_play_mm

    def outline(self, groove: Groove, *, steps: int = 12) -> list[tuple[float, float]]:
        """The blade from above, counter-clockwise: (along, across) in mm. Its sides are arcs."""
        half, middle, tip = self.length_mm / 2, self.blade_width_mm(groove) / 2, self.tip_width_mm / 2
        bulge = middle - tip
        if bulge <= 0:
            return [(-half, -middle), (half, -middle), (half, middle), (-half, middle)]
        radius = (half * half + bulge * bulge) / (2 * bulge)
        open_rad = atan2(half, radius - bulge)
        arc = [
            (radius * sin(turn), radius * cos(turn) - radius + middle)
            for turn in (open_rad * (1 - 2 * step / steps) for step in range(steps + 1))
        ]
        return [(-along, -across) for along, across in arc] + arc

    def faults(self, groove: Groove) -> list[Fault]:
        """What keeps it from following the groove; empty for a sound one.

        It must span every crossing, or it could turn into the other hand there; and at the turn-round its tips must
        stay between the walls: with the centre line's radius R, a tip half a length h ahead lies
        sqrt(R^2 + h^2) - R off the groove's middle. (Plane geometry.)
        """
        found = []
        span_mm = groove.crossing_span_mm()
        if self.length_mm < span_mm:
            found.append(
                Fault(
                    "length_mm",
                    f"{self.length_mm:g} mm does not span a crossing of {span_mm:.2f} mm; lengthen the blade, narrow "
                    "the groove, or steepen it with a thinner screw or fewer turns a pass",
                )
            )
        off_mm = hypot(groove.tightest_radius_mm, self.length_mm / 2) - groove.tightest_radius_mm
        if off_mm + self.tip_width_mm / 2 > groove.width_mm / 2:
            found.append(
                Fault(
                    "tip_width_mm",
                    f"at the turn-round a tip is {off_mm:.2f} mm off the groove's middle and jams; shorten the blade, "
                    "narrow its tips or widen the reversal",
                )
            )
        if self.tip_width_mm > self.blade_width_mm(groove):
            found.append(Fault("tip_width_mm", "the tips are wider than the middle; narrow them"))
        reach_mm = groove.root_radius_mm * sin(MOST_WRAP_RAD)
        if self.length_mm * cos(groove.lead_angle_rad) / 2 > reach_mm:
            found.append(Fault("length_mm", "the blade lies too far round the core; shorten it or thicken the screw"))
        if self.pin_diameter_mm < self.length_mm:
            found.append(
                Fault("pin_diameter_mm", "the blade does not pass the pin's hole from above; make the pin as wide")
            )
        return found

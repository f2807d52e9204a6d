"""The path of a self-reversing screw's groove, as a pure function of the angle that the screw has turned.

Over a pass the follower moves by the stroke at constant lead, but for the turn-round at each end: there the
speed falls to zero as a quarter of a sine, so that position, speed and acceleration are continuous: the first
rule of cam design (R. L. Norton, Cam Design and Manufacturing Handbook; from memory). With the pass P = 2 pi T, the
reversal b and the speed m of the straight part, all in radians of the screw:

    x(v) = (2 b m / pi) (1 - cos(pi v / 2 b))     v from the turning point, |v| <= b
    x(v) = m (v - b (1 - 2/pi))                   up to the other end's reversal
    stroke = m (P - 2 b (1 - 2/pi))

The two hands of the groove meet wherever the screw angles v and -v are the same direction: at every half turn.
Angles are in radians, lengths in mm; developed means on the screw's outer surface, rolled flat.
"""

from __future__ import annotations

from fractions import Fraction  # noqa: TC003 - read at run time
from math import atan2, ceil, cos, hypot, pi, sin, tan
from typing import Annotated

from attrs import frozen

from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

# of the reversal: what the cosine saves against running on at full speed
_SAVED = 1 - 2 / pi
# Land between two turns of the same hand: common practice for printed plastic, four lines of a 0.4 mm nozzle.
LEAST_LAND_MM = 1.6


@frozen
class Groove:
    """A closed groove of two hands.

    width_mm and depth_mm are those of the groove; reversal_deg is the screw angle over which the follower comes to
    rest before a turning point, and the same after it. turns_per_pass is `screw_turns_per_pass` of the machine.
    """

    stroke_mm: Annotated[float, Quantity("mm", above=0, at_most=500)]
    turns_per_pass: Annotated[Fraction, Quantity("turns", at_least=1, at_most=20)]
    screw_diameter_mm: Annotated[float, Quantity("mm", at_least=6, at_most=100)]
    width_mm: Annotated[float, Quantity("mm", at_least=1, at_most=20)]
    depth_mm: Annotated[float, Quantity("mm", at_least=0.5, at_most=20)]
    reversal_deg: Annotated[float, Quantity("deg", at_least=10, at_most=170)]

    @property
    def pass_rad(self) -> float:
        """Screw angle of one pass."""
        return 2 * pi * float(self.turns_per_pass)

    @property
    def reversal_rad(self) -> float:
        """Screw angle from full speed to the turning point."""
        return self.reversal_deg * pi / 180

    @property
    def radius_mm(self) -> float:
        """Of the screw's outer surface."""
        return self.screw_diameter_mm / 2

    @property
    def root_radius_mm(self) -> float:
        """Of the bottom of the groove."""
        return self.radius_mm - self.depth_mm

    @property
    def full_speed_mm_per_rad(self) -> float:
        """Travel for a radian of the screw in the straight part."""
        return self.stroke_mm / (self.pass_rad - 2 * self.reversal_rad * _SAVED)

    @property
    def lead_mm(self) -> float:
        """Travel for a turn of the screw in the straight part. Without a reversal it would be stroke / turns."""
        return 2 * pi * self.full_speed_mm_per_rad

    @property
    def lead_angle_rad(self) -> float:
        """Between the groove and the circumference, developed: atan(lead / (pi diameter))."""
        return atan2(self.full_speed_mm_per_rad, self.radius_mm)

    @property
    def pitch_excess(self) -> float:
        """Lay pitch in the middle of a pass over the mean one, stroke / turns: what the turn-round costs there."""
        return self.lead_mm * float(self.turns_per_pass) / self.stroke_mm

    @property
    def tightest_radius_mm(self) -> float:
        """Least radius of the groove's centre line: at the turning point, on the bottom, rolled flat."""
        return self.root_radius_mm**2 * 2 * self.reversal_rad / (pi * self.full_speed_mm_per_rad)

    def position_mm(self, angle_rad: float) -> float:
        """Centre of the groove at that angle of the screw, from the first turning point: 0 to stroke_mm."""
        from_end = self._from_first(angle_rad)
        if from_end > self.pass_rad / 2:
            return self.stroke_mm - self._rise(self.pass_rad - from_end)
        return self._rise(from_end)

    def slope_mm_per_rad(self, angle_rad: float) -> float:
        """Derivative of `position_mm`: positive on the way out, negative on the way back, 0 at both ends."""
        whole = 2 * self.pass_rad
        sign = 1 if angle_rad % whole <= self.pass_rad else -1
        from_end = self._from_first(angle_rad)
        near = min(from_end, self.pass_rad - from_end)
        share = min(near / self.reversal_rad, 1.0)
        return sign * self.full_speed_mm_per_rad * sin(pi / 2 * share)

    def crossings_rad(self) -> list[float]:
        """Angles of the way out at which the groove meets its way back: every half turn between the ends."""
        halves = ceil(2 * self.turns_per_pass)
        return [pi * half for half in range(1, halves)]

    def crossing_span_mm(self) -> float:
        """Length along the groove over which a crossing breaks one wall or the other, developed.

        The other hand crosses at twice the lead angle a; a strip of width w leaves a gap of w / sin 2a in each wall,
        the two shifted by w / tan 2a: together w / tan a. (Plane geometry.)
        """
        return self.width_mm / tan(self.lead_angle_rad)

    def edges(self, angle_rad: float, radius_mm: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """Both edges of the groove at that radius beside its centre line: pairs of (screw angle, position in mm).

        They lie half a width off at right angles to the centre line on the cylinder of that radius, rolled flat, so the
        groove is equally wide at every depth, as an end mill would cut it.
        """
        slope = self.slope_mm_per_rad(angle_rad)
        length = hypot(radius_mm, slope)
        across_rad = self.width_mm / 2 * slope / length / radius_mm
        along_mm = self.width_mm / 2 * radius_mm / length
        x_mm = self.position_mm(angle_rad)
        return (angle_rad + across_rad, x_mm - along_mm), (angle_rad - across_rad, x_mm + along_mm)

    def hand_rad(self, angle_rad: float) -> float:
        """Angle of the groove to the circumference half-way down, where the follower's blade takes its direction."""
        return atan2(self.slope_mm_per_rad(angle_rad), self.radius_mm - self.depth_mm / 2)

    def faults(self) -> list[Fault]:
        """What makes it no groove: each with its key; empty for a sound one."""
        found = []
        if (2 * self.turns_per_pass).denominator != 1:
            found.append(
                Fault(
                    "turns_per_pass",
                    f"{self.turns_per_pass} turns a pass: the groove does not meet itself; give a whole number of half "
                    "turns, such as 2 or 5/2",
                )
            )
        if 2 * self.reversal_rad > self.pass_rad:
            found.append(
                Fault("reversal_deg", f"both turn-rounds do not fit into {float(self.turns_per_pass):g} turns")
            )
            return found
        land_mm = self.lead_mm * cos(self.lead_angle_rad) - self.width_mm
        if land_mm < LEAST_LAND_MM:
            found.append(
                Fault(
                    "width_mm",
                    f"leaves {land_mm:.2f} mm of land between two turns; at least {LEAST_LAND_MM:g} mm must stand: "
                    "narrow the groove, take fewer turns a pass or a longer stroke",
                )
            )
        if self.tightest_radius_mm <= self.width_mm / 2:
            found.append(
                Fault(
                    "reversal_deg",
                    f"the turn-round has a radius of {self.tightest_radius_mm:.2f} mm, not above half the groove's "
                    f"width of {self.width_mm:g} mm; widen the reversal or thicken the screw",
                )
            )
        return found

    def _from_first(self, angle_rad: float) -> float:
        """The angle folded into one pass, from the first turning point."""
        whole = 2 * self.pass_rad
        within = angle_rad % whole
        return min(within, whole - within)

    def _rise(self, from_end_rad: float) -> float:
        """Travel from a turning point, up to the middle of the pass."""
        speed, reversal = self.full_speed_mm_per_rad, self.reversal_rad
        if from_end_rad < reversal:
            return 2 * reversal * speed / pi * (1 - cos(pi * from_end_rad / (2 * reversal)))
        return speed * (from_end_rad - reversal * _SAVED)

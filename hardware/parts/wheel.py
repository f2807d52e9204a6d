"""The measuring wheel that the strand turns: a V-groove, a bearing 608 in its middle, a flange with slots for light.

The flange stands out beside the rim: a light barrier's fork reaches over it from outside, where the strand is not.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, tan
from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from parts.sensing import ReadEdge, edge_spacing_mm
from parts.solid import polygon, rod
from parts.standard_parts import BEARINGS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

    from parts.sensing import LightBarrier

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=300)]

_SHOULDER_MM = 1.5  # under the bearing, and round it
_RING_MM = 1.5  # of the flange outside its slots, which are closed: nothing catches in them
_LEAST_WRAP_MARGIN = 0.5  # of a strand: how far its centre must lie inside the rim


@frozen
class MeasuringWheel:
    """apex_diameter_mm: where the flanks of the V would meet; the strand rests on the flanks above it.

    web_mm: thickness of web and flange. flange_slots is the wheel's pulses per turn. rim_mm: between the V's apex and
    the room inside."""

    apex_diameter_mm: Annotated[float, Quantity("mm", at_least=36, at_most=300)]
    groove_angle_deg: Annotated[float, Quantity("deg", at_least=40, at_most=140)]
    groove_depth_mm: Annotated[float, Quantity("mm", at_least=1, at_most=20)]
    width_mm: Annotated[float, Quantity("mm", at_least=8.5, at_most=50)]
    web_mm: Annotated[float, Quantity("mm", at_least=0.8, at_most=10)]
    flange_diameter_mm: Annotated[float, Quantity("mm", at_least=40, at_most=400)]
    flange_slots: Annotated[int, Quantity("", at_least=1, at_most=200)]
    slot_length_mm: Annotated[float, Quantity("mm", at_least=2, at_most=50)]
    rim_mm: Annotated[float, Quantity("mm", at_least=1.2, at_most=20)]
    bearing_fit_mm: Annotated[float, Quantity("mm", at_least=-0.2, at_most=0.3)]

    def strand_radius_mm(self, strand_diameter_mm: float) -> float:
        """From the axis to the strand's centre: a circle in a V stands d / (2 sin(angle / 2)) above its apex."""
        return self.apex_diameter_mm / 2 + strand_diameter_mm / 2 / sin(radians(self.groove_angle_deg) / 2)

    def mm_per_pulse(self, strand_diameter_mm: float) -> float:
        """`measuring_wheel_mm_per_pulse`: circumference at the strand's centre over the slots."""
        return 2 * pi * self.strand_radius_mm(strand_diameter_mm) / self.flange_slots

    @property
    def slot_outer_mm(self) -> float:
        """Radius of the slots' outer ends."""
        return self.flange_diameter_mm / 2 - _RING_MM

    @property
    def track_mm(self) -> float:
        """Diameter of the circle that the light crosses: the middle of the slots."""
        return 2 * self.slot_outer_mm - self.slot_length_mm

    @property
    def rim_diameter_mm(self) -> float:
        """Outside, beside the groove."""
        return self.apex_diameter_mm + 2 * self.groove_depth_mm

    @property
    def mouth_mm(self) -> float:
        """Width of the groove at the rim."""
        return 2 * self.groove_depth_mm * tan(radians(self.groove_angle_deg) / 2)

    @property
    def spacing_mm(self) -> float:
        """Width of a slot on the circle through the middle of the slots."""
        return edge_spacing_mm(self.track_mm, self.flange_slots)

    @property
    def read_edge(self) -> ReadEdge:
        """What the light barrier reads."""
        return ReadEdge(
            diameter_mm=self.flange_diameter_mm,
            track_mm=self.track_mm,
            thickness_mm=self.web_mm,
            inside_mm=self.rim_diameter_mm,
            inside="the rim",
            diameter_key="flange_diameter_mm",
            slot_key="slot_length_mm",
            thickness_key="web_mm",
        )

    def faults(self, strand_diameter_mm: float, barrier: LightBarrier) -> list[Fault]:
        """What does not fit."""
        found = [*barrier.reach_faults(self.read_edge)]
        found += barrier.width_faults("flange_slots", self.track_mm, self.flange_slots)
        if self.slot_outer_mm - self.slot_length_mm < self.rim_diameter_mm / 2:
            found.append(Fault("slot_length_mm", "the slots reach under the rim; shorten them or widen the flange"))
        deep = self.strand_radius_mm(strand_diameter_mm) - self.apex_diameter_mm / 2
        if self.groove_depth_mm < deep + _LEAST_WRAP_MARGIN * strand_diameter_mm:
            found.append(
                Fault(
                    "groove_depth_mm",
                    f"strand of {strand_diameter_mm:g} mm would climb out; deepen or sharpen the groove",
                )
            )
        if self.mouth_mm > self.width_mm - 2:
            found.append(Fault("width_mm", "leaves less than 1 mm of rim beside the groove; widen the wheel"))
        if self.web_mm > (self.width_mm - self.mouth_mm) / 2:
            found.append(Fault("web_mm", "reaches into the groove's mouth; make it thinner, or widen the wheel"))
        return found


def measuring_wheel_solid(wheel: MeasuringWheel) -> Manifold:
    """The wheel on the z axis; the bearing is pressed in from above, web and flange lie at z = 0."""
    bearing = BEARINGS["608"]
    apex, rim, flange = wheel.apex_diameter_mm / 2, wheel.rim_diameter_mm / 2, wheel.flange_diameter_mm / 2
    half_open = wheel.mouth_mm / 2
    middle = wheel.width_mm / 2
    profile = polygon(
        [
            (0, 0),
            (flange, 0),
            (flange, wheel.web_mm),
            (rim, wheel.web_mm),
            (rim, middle - half_open),
            (apex, middle),
            (rim, middle + half_open),
            (rim, wheel.width_mm),
            (0, wheel.width_mm),
        ]
    )
    body = profile.revolve(144)
    seat = bearing.outside_mm + wheel.bearing_fit_mm
    body -= rod(seat, wheel.width_mm).translate((0.0, 0.0, _SHOULDER_MM))
    body -= rod(seat - 2 * _SHOULDER_MM, wheel.width_mm + 2).translate((0.0, 0.0, -1.0))
    room = rod(2 * (apex - wheel.rim_mm), wheel.width_mm) - rod(seat + 4 * _SHOULDER_MM, wheel.width_mm)
    body -= room.translate((0.0, 0.0, wheel.web_mm))
    pitch = 2 * pi / wheel.flange_slots
    inner = wheel.slot_outer_mm - wheel.slot_length_mm
    for number in range(wheel.flange_slots):
        turns = [number * pitch + pitch / 2 * (step / 6 - 0.5) for step in range(7)]
        outline = [(wheel.slot_outer_mm * cos(turn), wheel.slot_outer_mm * sin(turn)) for turn in turns]
        outline += [(inner * cos(turn), inner * sin(turn)) for turn in reversed(turns)]
        body -= polygon(outline).extrude(wheel.web_mm + 2).translate((0.0, 0.0, -1.0))
    return body

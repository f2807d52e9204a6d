"""The measuring wheel that the strand turns: a V-groove, a bearing 608 in its middle, slots in its web for light."""

from __future__ import annotations

from math import cos, pi, radians, sin, tan
from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from parts.sensing import LEAST_APERTURES, edge_spacing_mm
from parts.solid import polygon, rod
from parts.standard_parts import BEARINGS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=300)]

_SHOULDER_MM = 1.5  # under the bearing, and round it
_LEDGE_MM = 0.5  # of the web beyond the slots' ends
_LEAST_WRAP_MARGIN = 0.5  # of a strand: how far its centre must lie inside the rim


@frozen
class MeasuringWheel:
    """apex_diameter_mm: where the flanks of the V would meet; the strand rests on the flanks above it.

    web_slots is the wheel's pulses per turn. rim_mm: between the V's apex and the room
    inside."""

    apex_diameter_mm: Annotated[float, Quantity("mm", at_least=36, at_most=300)]
    groove_angle_deg: Annotated[float, Quantity("deg", at_least=40, at_most=140)]
    groove_depth_mm: Annotated[float, Quantity("mm", at_least=1, at_most=20)]
    width_mm: Annotated[float, Quantity("mm", at_least=8.5, at_most=50)]
    web_mm: Annotated[float, Quantity("mm", at_least=0.8, at_most=10)]
    web_slots: Annotated[int, Quantity("", at_least=1, at_most=200)]
    slot_length_mm: Annotated[float, Quantity("mm", at_least=2, at_most=50)]
    rim_mm: Annotated[float, Quantity("mm", at_least=1.2, at_most=20)]
    aperture_mm: Annotated[float, Quantity("mm", above=0, at_most=10)]
    bearing_fit_mm: Annotated[float, Quantity("mm", at_least=-0.2, at_most=0.3)]

    def strand_radius_mm(self, strand_diameter_mm: float) -> float:
        """From the axis to the strand's centre: a circle in a V stands d / (2 sin(angle / 2)) above its apex."""
        return self.apex_diameter_mm / 2 + strand_diameter_mm / 2 / sin(radians(self.groove_angle_deg) / 2)

    def mm_per_pulse(self, strand_diameter_mm: float) -> float:
        """`measuring_wheel_mm_per_pulse`: circumference at the strand's centre over the slots."""
        return 2 * pi * self.strand_radius_mm(strand_diameter_mm) / self.web_slots

    @property
    def slot_outer_mm(self) -> float:
        """Radius of the slots' outer ends."""
        return self.apex_diameter_mm / 2 - self.rim_mm - _LEDGE_MM

    @property
    def spacing_mm(self) -> float:
        """Width of a slot on the circle through the middle of the slots."""
        return edge_spacing_mm(2 * self.slot_outer_mm - self.slot_length_mm, self.web_slots)

    def faults(self, strand_diameter_mm: float) -> list[Fault]:
        """What does not fit."""
        found = []
        hub_mm = BEARINGS["608"].outside_mm / 2 + 2 * _SHOULDER_MM
        if self.slot_outer_mm - self.slot_length_mm < hub_mm:
            found.append(
                Fault("slot_length_mm", "the slots reach into the bearing's seat; shorten them or widen the wheel")
            )
        if self.spacing_mm < LEAST_APERTURES * self.aperture_mm:
            found.append(
                Fault(
                    "web_slots",
                    f"slots of {self.spacing_mm:.2f} mm are too narrow for a window of {self.aperture_mm:g} mm",
                )
            )
        deep = self.strand_radius_mm(strand_diameter_mm) - self.apex_diameter_mm / 2
        if self.groove_depth_mm < deep + _LEAST_WRAP_MARGIN * strand_diameter_mm:
            found.append(
                Fault(
                    "groove_depth_mm",
                    f"strand of {strand_diameter_mm:g} mm would climb out; deepen or sharpen the groove",
                )
            )
        if 2 * self.groove_depth_mm * tan(radians(self.groove_angle_deg) / 2) > self.width_mm - 2:
            found.append(Fault("width_mm", "leaves less than 1 mm of flange beside the groove; widen the wheel"))
        return found


def measuring_wheel_solid(wheel: MeasuringWheel) -> Manifold:
    """The wheel on the z axis; the bearing is pressed in from above, its web with the slots lies at z = 0."""
    bearing = BEARINGS["608"]
    apex, rim = wheel.apex_diameter_mm / 2, wheel.apex_diameter_mm / 2 + wheel.groove_depth_mm
    half_open = wheel.groove_depth_mm * tan(radians(wheel.groove_angle_deg) / 2)
    middle = wheel.width_mm / 2
    profile = polygon(
        [
            (0, 0),
            (rim, 0),
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
    room = rod(2 * (wheel.slot_outer_mm + _LEDGE_MM), wheel.width_mm) - rod(seat + 4 * _SHOULDER_MM, wheel.width_mm)
    body -= room.translate((0.0, 0.0, wheel.web_mm))
    pitch = 2 * pi / wheel.web_slots
    inner = wheel.slot_outer_mm - wheel.slot_length_mm
    for number in range(wheel.web_slots):
        turns = [number * pitch + pitch / 2 * (step / 6 - 0.5) for step in range(7)]
        outline = [(wheel.slot_outer_mm * cos(turn), wheel.slot_outer_mm * sin(turn)) for turn in turns]
        outline += [(inner * cos(turn), inner * sin(turn)) for turn in reversed(turns)]
        body -= polygon(outline).extrude(wheel.web_mm + 2).translate((0.0, 0.0, -1.0))
    return body

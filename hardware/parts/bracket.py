"""The sensor's bracket: an angle with long holes both ways, so that the sensor can be set to its disc."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from parts.solid import box, long_hole, polygon
from parts.standard_parts import SCREWS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=200)]

_EDGE_MM = 2.0  # least material beside a long hole


@frozen
class SensorBracket:
    """hole_spacing_mm: between the sensor board's two holes (M3); sensor_height_mm: of them above the machine's frame.

    adjust_mm: how far foot (M4) and sensor can be shifted.
    """

    width_mm: Millimetres
    foot_mm: Millimetres
    thickness_mm: Annotated[float, Quantity("mm", at_least=2, at_most=20)]
    sensor_height_mm: Millimetres
    hole_spacing_mm: Millimetres
    adjust_mm: Annotated[float, Quantity("mm", at_least=1, at_most=50)]

    def faults(self) -> list[Fault]:
        """Holes that do not fit."""
        found = []
        sensor_hole, foot_hole = SCREWS["M3"].clearance_mm, SCREWS["M4"].clearance_mm
        across = self.hole_spacing_mm + sensor_hole + 2 * _EDGE_MM
        foot_pair = 2 * (foot_hole + self.adjust_mm) + 3 * _EDGE_MM + self.thickness_mm
        if self.width_mm < max(across, foot_pair):
            found.append(Fault("width_mm", f"the holes need {max(across, foot_pair):.1f} mm; widen the bracket"))
        if self.foot_mm < self.thickness_mm + foot_hole + 4 * _EDGE_MM:
            found.append(Fault("foot_mm", "no room for the foot's holes; lengthen it"))
        if self.sensor_height_mm < self.thickness_mm + self.adjust_mm / 2 + sensor_hole / 2 + _EDGE_MM:
            found.append(Fault("sensor_height_mm", "the sensor's holes reach into the foot; raise them"))
        return found


def sensor_bracket_solid(bracket: SensorBracket) -> Manifold:
    """Foot along y on z = 0, upright at y = 0, a rib between them in the middle."""
    thick, width = bracket.thickness_mm, bracket.width_mm
    height = bracket.sensor_height_mm + bracket.adjust_mm / 2 + SCREWS["M3"].clearance_mm / 2 + 2 * _EDGE_MM
    foot = box((width, bracket.foot_mm, thick), (0.0, bracket.foot_mm / 2, thick / 2))
    upright = box((width, thick, height), (0.0, thick / 2, height / 2))
    # as high as it can be below the sensor's nuts: a high bracket would sway on a low one
    reach, up = 0.6 * min(bracket.foot_mm, bracket.sensor_height_mm), 0.6 * bracket.sensor_height_mm
    rib = polygon([(0, 0), (reach, 0), (0, up)]).extrude(thick).rotate((90.0, 0.0, 90.0)).translate((-thick / 2, 0, 0))
    part = foot + upright + rib
    foot_y = (bracket.foot_mm + thick) / 2
    foot_x = (thick + SCREWS["M4"].clearance_mm + bracket.adjust_mm) / 2 + _EDGE_MM / 2
    upright_hole = long_hole(SCREWS["M3"].clearance_mm, bracket.adjust_mm, 2 * thick).rotate((0.0, 0.0, 90.0))
    upright_hole = upright_hole.rotate((90.0, 0.0, 0.0))
    for side in (-1.0, 1.0):
        part -= long_hole(SCREWS["M4"].clearance_mm, bracket.adjust_mm, 2 * thick).translate(
            (side * foot_x, foot_y, 0.0)
        )
        part -= upright_hole.translate((side * bracket.hole_spacing_mm / 2, 0.0, bracket.sensor_height_mm))
    return part

"""The carriage on the screw: it holds the follower, slides along a rod, and lays the strand through its eye.

The screw runs along y through the origin, the follower stands on it upwards (z); the guide rod lies below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from parts.solid import box, cross_rod, rod
from parts.standard_parts import SCREWS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

    from parts.follower import Follower
    from parts.groove import Groove

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=200)]

_PIN_END_PLAY_MM = 0.3  # the cap must not press the follower onto the screw
_SCREW_MARGIN_MM = 4.0  # from the pin's hole to the middle of a cap screw


@frozen
class Carriage:
    """length_mm along the screw; wall_mm round its bore; roof_mm above the bore, which guides the follower's pin.

    bore_play_mm: by how much bores are wider than screw and rod. eye_diameter_mm: of the eye for the strand, with room
    for a join; eye_reach_mm: from the screw's axis up to the eye.
    """

    length_mm: Millimetres
    wall_mm: Annotated[float, Quantity("mm", at_least=1.2, at_most=20)]
    roof_mm: Annotated[float, Quantity("mm", at_least=4, at_most=50)]
    bore_play_mm: Annotated[float, Quantity("mm", at_least=0.1, at_most=2)]
    rod_diameter_mm: Annotated[float, Quantity("mm", at_least=3, at_most=20)]
    rod_distance_mm: Millimetres
    cap_mm: Annotated[float, Quantity("mm", at_least=1.2, at_most=10)]
    eye_diameter_mm: Annotated[float, Quantity("mm", at_least=2, at_most=20)]
    eye_reach_mm: Millimetres

    def bore_mm(self, groove: Groove) -> float:
        """For the screw."""
        return groove.screw_diameter_mm + self.bore_play_mm

    def top_mm(self, groove: Groove) -> float:
        """Height of the block above the screw's axis."""
        return self.bore_mm(groove) / 2 + self.roof_mm

    def width_mm(self, groove: Groove) -> float:
        """Of the block, across the screw."""
        return self.bore_mm(groove) + 2 * self.wall_mm

    def arm_face_mm(self, groove: Groove) -> float:
        """From the screw's axis to the face of the arm that looks to the spool."""
        return self.width_mm(groove) / 2 + self.wall_mm

    def pin_length_mm(self, groove: Groove, follower: Follower) -> float:
        """Of the follower's pin: from just above the screw to just under the cap."""
        return self.top_mm(groove) - groove.radius_mm - follower.root_play_mm - _PIN_END_PLAY_MM

    def faults(self, groove: Groove, follower: Follower) -> list[Fault]:
        """What does not go together."""
        found = []
        between = self.rod_distance_mm - (self.bore_mm(groove) + self.rod_diameter_mm + self.bore_play_mm) / 2
        if between < self.wall_mm:
            found.append(
                Fault(
                    "rod_distance_mm",
                    f"leaves {between:.2f} mm between screw and rod, less than wall_mm, {self.wall_mm:g} mm; widen it",
                )
            )
        need = follower.pin_diameter_mm + follower.pin_hole_play_mm + 4 * _SCREW_MARGIN_MM
        if self.length_mm < need:
            found.append(Fault("length_mm", f"the cap's screws need {need:.1f} mm; lengthen the carriage"))
        least_reach = self.top_mm(groove) + self.cap_mm + 8 + self.eye_diameter_mm / 2
        if self.eye_reach_mm < least_reach:
            found.append(
                Fault("eye_reach_mm", f"the eye would lie behind the cap's screws; give {least_reach:.1f} mm or more")
            )
        return found


def _cap_screw_y(follower: Follower) -> float:
    return (follower.pin_diameter_mm + follower.pin_hole_play_mm) / 2 + _SCREW_MARGIN_MM


def carriage_solid(groove: Groove, follower: Follower, carriage: Carriage) -> Manifold:
    """The block, with its arm and eye."""
    bore, top = carriage.bore_mm(groove), carriage.top_mm(groove)
    width = carriage.width_mm(groove)
    bottom = -carriage.rod_distance_mm - carriage.rod_diameter_mm / 2 - carriage.wall_mm
    length = carriage.length_mm
    block = box((width, length, top - bottom), (0.0, 0.0, (top + bottom) / 2))
    arm_width = carriage.eye_diameter_mm + 2 * carriage.wall_mm
    arm_top = carriage.eye_reach_mm + arm_width / 2
    arm_x = carriage.arm_face_mm(groove) - carriage.wall_mm / 2
    # from the foot of the block, so that the arm prints without support
    block += box((carriage.wall_mm, arm_width, arm_top - bottom), (arm_x, 0.0, (arm_top + bottom) / 2))
    holes = cross_rod(bore, length + 2)
    holes += cross_rod(carriage.rod_diameter_mm + carriage.bore_play_mm, length + 2).translate(
        (0.0, 0.0, -carriage.rod_distance_mm)
    )
    holes += rod(follower.pin_diameter_mm + follower.pin_hole_play_mm, top + 1)
    depth = carriage.roof_mm - 1.2
    for side in (-1.0, 1.0):
        holes += rod(SCREWS["M3"].tapping_mm, depth + 1).translate((0.0, side * _cap_screw_y(follower), top - depth))
    eye = rod(carriage.eye_diameter_mm, 4 * carriage.wall_mm).rotate((0.0, 90.0, 0.0))
    holes += eye.translate((width / 2 - carriage.wall_mm, 0.0, carriage.eye_reach_mm))
    return block - holes


def cap_solid(groove: Groove, follower: Follower, carriage: Carriage) -> Manifold:
    """The cap over the follower, with two holes for M3."""
    plate = box((carriage.width_mm(groove), carriage.length_mm, carriage.cap_mm), (0.0, 0.0, carriage.cap_mm / 2))
    for side in (-1.0, 1.0):
        hole = rod(SCREWS["M3"].clearance_mm, carriage.cap_mm + 2)
        plate -= hole.translate((0.0, side * _cap_screw_y(follower), -1.0))
    return plate

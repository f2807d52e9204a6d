"""The self-reversing screw and its follower as solids. The screw stands on the z axis, its lower end at z = 0."""

from __future__ import annotations

from math import ceil, cos, degrees, sin
from typing import TYPE_CHECKING, Annotated

import numpy as np
from attrs import evolve, frozen
from manifold3d import Manifold, Mesh

from parts.follower import MOST_WRAP_RAD
from parts.solid import cross_rod, polygon, rod
from parts.standard_parts import SCREWS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from parts.follower import Follower
    from parts.groove import Groove

# The cutter stands out beyond the screw's surface, so that it cuts no skin there.
_BEYOND_MM = 1.0


@frozen
class ScrewBody:
    """What is beside the groove: bore for a steel shaft, and a plain end on each side with a cross hole for M3.

    least_wall_mm: what must stand between the bore and the groove.
    """

    bore_mm: Annotated[float, Quantity("mm", above=0, at_most=50)]
    end_mm: Annotated[float, Quantity("mm", at_least=5, at_most=100)]
    least_wall_mm: Annotated[float, Quantity("mm", at_least=0.8, at_most=20)] = 2.0

    def length_mm(self, groove: Groove) -> float:
        """Of the whole screw."""
        return groove.stroke_mm + groove.width_mm + 2 * self.end_mm

    def first_turning_mm(self, groove: Groove) -> float:
        """Height of the groove's first turning point."""
        return self.end_mm + groove.width_mm / 2

    def faults(self, groove: Groove) -> list[Fault]:
        """What is too thin."""
        wall_mm = groove.root_radius_mm - self.bore_mm / 2
        if wall_mm >= self.least_wall_mm:
            return []
        return [
            Fault(
                "bore_mm",
                f"leaves {wall_mm:.2f} mm between bore and groove; at least {self.least_wall_mm:g} mm must stand: "
                "thicken the screw, or take a thinner shaft or a shallower groove",
            )
        ]


def groove_cutter(groove: Groove, *, step_deg: float) -> Manifold:
    """The room of the groove, both hands, about z = 0 at the first turning point.

    Each hand is a tube of its own: it overlaps itself nowhere, while the two cross.
    """
    steps = max(8, ceil(degrees(groove.pass_rad) / step_deg))
    step_rad = groove.pass_rad / steps
    # Each hand reaches into the other at both turning points, slimmer there, so that its end cuts nothing itself.
    slim = evolve(groove, width_mm=0.8 * groove.width_mm, depth_mm=0.8 * groove.depth_mm)

    def tube(first: int) -> Manifold:
        angles = [step_rad * station for station in range(first, first + steps + 1)]
        ends = _ring(slim, angles[0] - step_rad), _ring(slim, angles[-1] + step_rad)
        return _tube([ends[0], *(_ring(groove, angle) for angle in angles), ends[1]])

    out, back = tube(0), tube(steps)
    return out + back


def self_reversing_screw(groove: Groove, body: ScrewBody, *, step_deg: float = 3.0) -> Manifold:
    """The screw. step_deg: screw angle between two stations of the groove; also the facets of its surface."""
    length = body.length_mm(groove)
    facets = 4 * ceil(90 / step_deg)
    # turned a little, so that none of its edges falls onto a station of the groove
    blank = rod(groove.screw_diameter_mm, length, segments=facets).rotate((0.0, 0.0, 0.37 * step_deg))
    bore = rod(body.bore_mm, length + 2, segments=facets).translate((0.0, 0.0, -1.0))
    pin = cross_rod(SCREWS["M3"].clearance_mm, 2 * groove.screw_diameter_mm, segments=32)
    pins = pin.translate((0.0, 0.0, body.end_mm / 2)) + pin.translate((0.0, 0.0, length - body.end_mm / 2))
    cutter = groove_cutter(groove, step_deg=step_deg).translate((0.0, 0.0, body.first_turning_mm(groove)))
    return blank - cutter - bore - pins


def follower_solid(groove: Groove, follower: Follower, pin_length_mm: float) -> Manifold:
    """The follower: blade along x, pin upwards; the origin lies on the screw's axis, the blade below its pin."""
    root = groove.root_radius_mm + follower.root_play_mm
    top = groove.radius_mm + follower.root_play_mm
    low = root * cos(MOST_WRAP_RAD)
    blade = polygon(follower.outline(groove)).extrude(top - low).translate((0.0, 0.0, low))
    # the core of the screw under the blade, at every hand that the blade takes
    core = cross_rod(2 * root, 4 * follower.length_mm)
    most_deg = degrees(groove.hand_rad(groove.pass_rad / 2))
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        blade -= core.rotate((0.0, 0.0, share * most_deg))
    pin = rod(follower.pin_diameter_mm, pin_length_mm).translate((0.0, 0.0, top))
    return blade + pin


def placed_follower(groove: Groove, body: ScrewBody, follower: Manifold, angle_rad: float, yaw_rad: float) -> Manifold:
    """The follower where the groove has it at that angle of the screw, turned by yaw_rad in its pin hole.

    The screw stands still and the follower goes round it, which is the same.
    """
    height = body.first_turning_mm(groove) + groove.position_mm(angle_rad)
    # blade along y = the circumference, pin along x = outwards
    lying = follower.rotate((0.0, 0.0, degrees(yaw_rad))).transform(
        np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0]])
    )
    return lying.rotate((0.0, 0.0, degrees(angle_rad))).translate((0.0, 0.0, height))


def running_play_mm(
    groove: Groove, body: ScrewBody, follower: Manifold, screw: Manifold, *, positions: int
) -> list[tuple[float, float]]:
    """How far the follower is from the screw all the way round, out and back: (screw angle, mm), 0 where it rubs.

    The blade lies in the groove's direction, as it settles when it can turn freely. Plays beyond 1 mm are told as 1 mm.
    """
    angles = [2 * groove.pass_rad * number / positions for number in range(positions)]
    return [
        (angle, placed_follower(groove, body, follower, angle, groove.hand_rad(angle)).min_gap(screw, 1.0))
        for angle in angles
    ]


def _ring(groove: Groove, angle: float) -> list[tuple[float, float, float]]:
    """The groove's section at that angle: up one wall, from the bottom to beyond the surface, and down the other."""
    radii = (groove.root_radius_mm, groove.radius_mm, groove.radius_mm + _BEYOND_MM)
    pairs = [(radius, *groove.edges(angle, radius)) for radius in radii]
    ring = [(radius, low) for radius, low, _ in pairs] + [(radius, high) for radius, _, high in reversed(pairs)]
    ring.append((radii[0], (angle, groove.position_mm(angle))))  # or the bottom would sag between its corners
    return [(radius * cos(turn), radius * sin(turn), height) for radius, (turn, height) in ring]


def _tube(rings: list[list[tuple[float, float, float]]]) -> Manifold:
    """A closed tube through the rings."""
    around = len(rings[0])
    corners = [corner for ring in rings for corner in ring]
    last = around * (len(rings) - 1)
    faces = []
    for corner in range(1, around - 1):
        faces += [(0, corner, corner + 1), (last, last + corner + 1, last + corner)]
    for near in range(0, last, around):
        far = near + around
        for side in range(around):
            after = (side + 1) % around
            faces += [(near + side, far + side, near + after), (near + after, far + side, far + after)]
    triangles = np.array(faces, dtype=np.uint32)
    return Manifold(Mesh(np.array(corners, dtype=np.float32), triangles))

"""What turns before a shaft sensor: a disc with slots at its rim for light, or with pockets for magnets."""

from __future__ import annotations

from math import cos, pi, sin
from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from parts.sensing import ReadEdge, edge_spacing_mm
from parts.solid import cross_rod, polygon, rod
from parts.standard_parts import SCREWS
from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

    from parts.sensing import LightBarrier

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=300)]
Marks = Annotated[int, Quantity("", at_least=1, at_most=1000)]

# A switching Hall sensor tells two magnets apart that are at least this many of its air gaps from rim to rim: common
# practice; the field of a small magnet has faded there.
_LEAST_AIR_GAPS = 2.0


@frozen
class SlotDisc:
    """slots is `pulses_per_turn` of the shaft."""

    slots: Marks
    diameter_mm: Millimetres
    slot_depth_mm: Millimetres
    thickness_mm: Annotated[float, Quantity("mm", at_least=0.8, at_most=20)]
    shaft_mm: Millimetres
    hub_diameter_mm: Millimetres
    hub_height_mm: Annotated[float, Quantity("mm", at_least=6, at_most=50)]

    @property
    def track_mm(self) -> float:
        """Diameter of the circle that the light crosses: the middle of the slots."""
        return self.diameter_mm - self.slot_depth_mm

    @property
    def spacing_mm(self) -> float:
        """Width of a slot there, and of a tooth."""
        return edge_spacing_mm(self.track_mm, self.slots)

    @property
    def read_edge(self) -> ReadEdge:
        """What the light barrier reads."""
        return ReadEdge(
            diameter_mm=self.diameter_mm,
            track_mm=self.track_mm,
            thickness_mm=self.thickness_mm,
            inside_mm=self.hub_diameter_mm,
            inside="the hub",
            diameter_key="diameter_mm",
            slot_key="slot_depth_mm",
            thickness_key="thickness_mm",
        )

    def faults(self, barrier: LightBarrier) -> list[Fault]:
        """What the sensor could not read, or does not fit."""
        found = _hub_faults(self.hub_diameter_mm, self.shaft_mm)
        found += barrier.reach_faults(self.read_edge)
        found += barrier.width_faults("slots", self.track_mm, self.slots)
        if self.track_mm - self.slot_depth_mm < self.hub_diameter_mm:
            found.append(Fault("slot_depth_mm", "the slots reach into the hub; shorten them or take a larger disc"))
        return found


@frozen
class MagnetDisc:
    """magnets is `pulses_per_turn` of the shaft, all with the same pole outwards. air_gap_mm: from magnet to sensor."""

    magnets: Marks
    track_mm: Millimetres
    magnet_diameter_mm: Millimetres
    magnet_height_mm: Millimetres
    shaft_mm: Millimetres
    hub_diameter_mm: Millimetres
    hub_height_mm: Annotated[float, Quantity("mm", at_least=6, at_most=50)]
    air_gap_mm: Annotated[float, Quantity("mm", above=0, at_most=20)]
    rim_mm: Annotated[float, Quantity("mm", at_least=0.8, at_most=20)] = 2.0
    floor_mm: Annotated[float, Quantity("mm", at_least=0.4, at_most=10)] = 1.2

    @property
    def spacing_mm(self) -> float:
        """Clear way between two magnets, along the chord."""
        chord = self.track_mm * sin(pi / self.magnets) if self.magnets > 1 else pi * self.track_mm
        return chord - self.magnet_diameter_mm

    def faults(self) -> list[Fault]:
        """What the sensor could not read, or does not fit."""
        found = _hub_faults(self.hub_diameter_mm, self.shaft_mm)
        if self.spacing_mm < _LEAST_AIR_GAPS * self.air_gap_mm:
            found.append(
                Fault(
                    "magnets",
                    f"{self.spacing_mm:.2f} mm between magnets is less than {_LEAST_AIR_GAPS:g} air gaps of "
                    f"{self.air_gap_mm:g} mm, and the sensor may see them as one; take fewer, or a larger disc",
                )
            )
        if self.track_mm - self.magnet_diameter_mm - 2 * self.rim_mm < self.hub_diameter_mm:
            found.append(Fault("track_mm", "the magnets reach into the hub; widen the circle that they lie on"))
        return found


def slot_disc_solid(disc: SlotDisc) -> Manifold:
    """The disc with its hub above, for a screw M3 against the shaft."""
    outer, inner = disc.diameter_mm / 2 + 1, disc.diameter_mm / 2 - disc.slot_depth_mm
    pitch = 2 * pi / disc.slots
    facets = 4 * disc.slots if disc.slots > 24 else 96
    # turned by half a facet, so that no corner of the rim falls onto the edge of a slot
    plate = rod(disc.diameter_mm, disc.thickness_mm, segments=facets).rotate((0.0, 0.0, 180 / facets))
    slots = plate - plate
    for number in range(disc.slots):
        # straight through the corners of the arc would cut the tooth beside a wide slot
        steps = max(1, int(pitch / 2 / 0.1))
        turns = [number * pitch + pitch / 2 * (step / steps - 0.5) for step in range(steps + 1)]
        edge = [
            (outer / cos(pitch / 4 / steps) * cos(turn), outer / cos(pitch / 4 / steps) * sin(turn)) for turn in turns
        ]
        root = [(inner * cos(turn), inner * sin(turn)) for turn in reversed(turns)]
        slots += polygon(edge + root).extrude(disc.thickness_mm + 2).translate((0.0, 0.0, -1.0))
    return _with_hub(plate - slots, disc.thickness_mm, disc.hub_diameter_mm, disc.hub_height_mm, disc.shaft_mm)


def magnet_disc_solid(disc: MagnetDisc) -> Manifold:
    """The disc with pockets open to the front (z = 0), its hub behind."""
    height = disc.magnet_height_mm + disc.floor_mm
    plate = rod(disc.track_mm + disc.magnet_diameter_mm + 2 * disc.rim_mm, height)
    for number in range(disc.magnets):
        turn = 2 * pi * number / disc.magnets
        pocket = rod(disc.magnet_diameter_mm, disc.magnet_height_mm + 1, segments=48)
        plate -= pocket.translate((disc.track_mm / 2 * cos(turn), disc.track_mm / 2 * sin(turn), -1.0))
    return _with_hub(plate, height, disc.hub_diameter_mm, disc.hub_height_mm, disc.shaft_mm)


def _hub_faults(hub_mm: float, shaft_mm: float) -> list[Fault]:
    # the thread of an M3 holds with one of its diameters: common practice
    if hub_mm - shaft_mm >= 2 * SCREWS["M3"].thread_mm:
        return []
    return [Fault("hub_diameter_mm", "leaves less than 3 mm round the shaft for the thread of M3; widen the hub")]


def _with_hub(plate: Manifold, thickness: float, hub_mm: float, hub_height: float, shaft_mm: float) -> Manifold:
    total = thickness + hub_height
    part = plate + rod(hub_mm, total)
    set_screw = cross_rod(SCREWS["M3"].tapping_mm, hub_mm, segments=32).translate(
        (0.0, hub_mm / 2, thickness + hub_height / 2)
    )
    return part - rod(shaft_mm, total + 2).translate((0.0, 0.0, -1.0)) - set_screw

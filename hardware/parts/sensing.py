"""Marks on a turning disc against the sensor that reads them: how far apart they pass, how soon, and where it stands.

A mark is a slot or a magnet, each with as much gap as mark, so an edge comes every half of the marks' pitch.
"""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from reelwright.errors import Fault
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

# An edge spacing of twice the aperture lets the signal settle fully between edges: common practice. At once the
# aperture the light would just reach its full and its least value.
LEAST_APERTURES = 2.0
# Between the fork and what turns in it: half a mm of wobble, and as much left: common practice for printed discs.
LEAST_SIDE_AIR_MM = 1.0
LEAST_END_AIR_MM = 0.5


@frozen
class LightBarrier:
    """A fork over the edge of a slotted disc: its arms reach inwards from the edge, one on either side, light between.

    gap_mm: between the arms; depth_mm: from their tips to the gap's bottom; light_mm: from the tips to the light;
    aperture_mm: width of the light's window. All from its data sheet.
    """

    gap_mm: Annotated[float, Quantity("mm", above=0, at_most=50)]
    depth_mm: Annotated[float, Quantity("mm", above=0, at_most=50)]
    light_mm: Annotated[float, Quantity("mm", above=0, at_most=50)]
    aperture_mm: Annotated[float, Quantity("mm", above=0, at_most=10)]

    def faults(self) -> list[Fault]:
        """What no fork is like."""
        if self.light_mm < self.depth_mm:
            return []
        return [Fault("light_mm", f"lies past the gap's bottom, {self.depth_mm:g} mm from the tips; measure both anew")]

    def width_faults(self, slots_key: str, track_mm: float, slots: int) -> Iterator[Fault]:
        """Why its window does not tell slot from tooth, so many of each on a circle of that diameter."""
        spacing_mm = edge_spacing_mm(track_mm, slots)
        if spacing_mm < LEAST_APERTURES * self.aperture_mm:
            most = most_marks(track_mm, self.aperture_mm)
            yield Fault(
                slots_key,
                f"slots of {spacing_mm:.2f} mm are too narrow for a window of {self.aperture_mm:g} mm; at most {most}"
                " fit, or put them on a larger circle, or take a finer window",
            )

    def reach_faults(self, edge: ReadEdge) -> Iterator[Fault]:
        """Why it cannot stand with its light in the middle of the slots."""
        side_mm = (self.gap_mm - edge.thickness_mm) / 2
        if side_mm < LEAST_SIDE_AIR_MM:
            need = f"at least {LEAST_SIDE_AIR_MM:g} mm let it wobble; make it thinner, or take a wider fork"
            yield Fault(edge.thickness_key, f"leaves {side_mm:.2f} mm to each arm of the light barrier; {need}")
        tips_mm = edge.track_mm / 2 - self.light_mm
        within = tips_mm + self.depth_mm - edge.diameter_mm / 2
        if within < LEAST_END_AIR_MM:
            short = f"{LEAST_END_AIR_MM - within:.2f} mm too short for its light to reach the middle of the slots"
            yield Fault(edge.slot_key, f"the light barrier is {short}; shorten the slots, or take a deeper one")
        free_mm = tips_mm - edge.inside_mm / 2
        if free_mm < LEAST_END_AIR_MM:
            need = f"at least {LEAST_END_AIR_MM:g} mm keep them off; make it larger, or take a shallower fork"
            yield Fault(
                edge.diameter_key, f"leaves {free_mm:.2f} mm between {edge.inside} and the light barrier's tips; {need}"
            )


@frozen(kw_only=True)
class ReadEdge:
    """The edge of a disc that a light barrier reads, and the keys of what can be changed of it.

    track_mm: diameter of the circle through the middle of the slots; inside_mm: that of what stands out beside the disc
    nearest to them, which is called inside.
    """

    diameter_mm: float
    track_mm: float
    thickness_mm: float
    inside_mm: float
    inside: str
    diameter_key: str
    slot_key: str
    thickness_key: str


def edge_spacing_mm(track_diameter_mm: float, marks: int) -> float:
    """Length of a mark, and of a gap, on the circle that the sensor reads: pi D / (2 marks)."""
    return pi * track_diameter_mm / (2 * marks)


def edge_interval_us(marks: int, rpm: float) -> float:
    """Least time between two edges of one channel at that speed. 1e6 us * 60 s / (2 marks rpm)."""
    return 60e6 / (2 * marks * rpm)


def pulses_per_second(marks: int, rpm: float) -> float:
    """Pulses of one channel, rising edges only: rpm / 60 x marks."""
    return rpm / 60 * marks


def most_marks(track_diameter_mm: float, aperture_mm: float) -> int:
    """The most marks that a sensor of that aperture tells apart with room to spare."""
    return int(pi * track_diameter_mm / (2 * LEAST_APERTURES * aperture_mm))


def second_channel_deg(marks: int, *, whole_pitches: int) -> float:
    """Angle of a second sensor from the first for two channels a quarter apart: (n + 1/4) pitches."""
    return 360.0 / marks * (whole_pitches + 0.25)

"""The fork of the listed light barrier goes over the edge of what it reads, its light in the middle of the slots."""

from __future__ import annotations

import re
from functools import cache
from math import cos, pi, sin
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from attrs import evolve

from hardware_page import FLOWING, ROWS
from parts.design import Design, load_design
from parts.discs import slot_disc_solid
from parts.sensing import LEAST_END_AIR_MM, LEAST_SIDE_AIR_MM
from parts.solid import box
from parts.wheel import measuring_wheel_solid

if TYPE_CHECKING:
    from manifold3d import Manifold

    from parts.discs import SlotDisc
    from parts.sensing import LightBarrier
    from parts.wheel import MeasuringWheel

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
# of each arm, along the shaft and along the disc's edge: more than light barriers of such a gap have, from memory
ARM_MM, ALONG_MM = 6.0, 7.0
READ = ("slot_disc", "measuring_wheel")


@cache
def design() -> Design:
    return load_design(HARDWARE / "parts" / "design.toml")


def part(name: str) -> SlotDisc | MeasuringWheel:
    found: SlotDisc | MeasuringWheel = getattr(design(), name)
    return found


@cache
def solid(name: str) -> Manifold:
    return (
        slot_disc_solid(design().slot_disc) if name == "slot_disc" else measuring_wheel_solid(design().measuring_wheel)
    )


def fork(barrier: LightBarrier, track_mm: float, middle_mm: float) -> Manifold:
    """Two arms and what joins them, the light on the circle read, the gap about that height of the shaft."""
    tips = track_mm / 2 - barrier.light_mm
    deep = barrier.depth_mm + ARM_MM
    whole = box((deep, ALONG_MM, barrier.gap_mm + 2 * ARM_MM), (tips + deep / 2, 0.0, middle_mm))
    gap = box((2 * barrier.depth_mm, 2 * ALONG_MM, barrier.gap_mm), (tips, 0.0, middle_mm))
    return whole - gap


@pytest.mark.parametrize("name", READ)
def test_the_fork_stands_over_the_edge_with_air_on_every_side_in_the_whole_of_a_turn(name: str) -> None:
    barrier, edge = design().light_barrier, part(name).read_edge
    over = fork(barrier, edge.track_mm, edge.thickness_mm / 2)
    turning = solid(name)
    air = min(LEAST_SIDE_AIR_MM, LEAST_END_AIR_MM)
    for step in range(8):
        turned = turning.rotate((0.0, 0.0, 360 / part_slots(name) * step / 8))
        assert (turned ^ over).volume() == 0
        assert turned.min_gap(over, 5.0) >= air - 0.02, step
    side_mm = (barrier.gap_mm - edge.thickness_mm) / 2
    for place in ((0, 0, side_mm + 0.1), (0, 0, -side_mm - 0.1), (-LEAST_END_AIR_MM - 0.2, 0, 0)):
        assert (turning ^ over.translate(place)).volume() > 0, place


def part_slots(name: str) -> int:
    return design().slot_disc.slots if name == "slot_disc" else design().measuring_wheel.flange_slots


@pytest.mark.parametrize("name", READ)
def test_the_light_passes_in_each_slot_and_nowhere_else(name: str) -> None:
    edge, slots = part(name).read_edge, part_slots(name)
    barrier = design().light_barrier
    dark = []
    for number in range(2 * slots):
        turn = pi / slots * number
        # across the window's width, along the edge
        for share in (-0.5, 0.0, 0.5):
            at = turn + share * barrier.aperture_mm / (edge.track_mm / 2)
            x, y = edge.track_mm / 2 * cos(at), edge.track_mm / 2 * sin(at)
            low, high = edge.thickness_mm / 2 - barrier.gap_mm / 2, edge.thickness_mm / 2 + barrier.gap_mm / 2
            dark.append(bool(solid(name).ray_cast((x, y, low), (x, y, high))))
    assert dark == [False, False, False, True, True, True] * slots


@pytest.mark.parametrize(
    ("name", "changed", "key", "told"),
    [
        ("measuring_wheel", {"web_mm": 4.0}, "web_mm", "0.50 mm to each arm"),
        ("measuring_wheel", {"flange_diameter_mm": 75.0}, "flange_diameter_mm", "-1.00 mm between the rim"),
        ("measuring_wheel", {"slot_length_mm": 9.0}, "slot_length_mm", "too short"),
        ("slot_disc", {"thickness_mm": 3.5}, "thickness_mm", "0.75 mm to each arm"),
        ("slot_disc", {"slot_depth_mm": 12.0}, "slot_depth_mm", "2.00 mm too short"),
        ("slot_disc", {"hub_diameter_mm": 48.0}, "diameter_mm", "-0.50 mm between the hub"),
    ],
)
def test_what_the_fork_cannot_read_is_refused_with_its_key(
    name: str, changed: dict[str, float], key: str, told: str
) -> None:
    faults = list(design().light_barrier.reach_faults(evolve(part(name), **changed).read_edge))
    assert any(told in fault.message for fault in faults if fault.path == key), faults
    assert all("; " in fault.message for fault in faults), "each says what to change"


def test_the_light_barrier_on_the_list_is_at_least_that_of_the_design() -> None:
    barrier = design().light_barrier
    listed = next(row for row in ROWS if row["ref"] == "B1")
    gap, depth, light, aperture = map(
        float,
        re.match(
            r"gap ([\d.]+) mm and depth ([\d.]+) mm or more, light ([\d.]+) mm from the tips, window ([\d.]+) mm",
            listed["dimensions"],
        ).groups(),
    )
    assert (gap, depth, light, aperture) == (
        barrier.gap_mm,
        barrier.depth_mm,
        barrier.light_mm,
        barrier.aperture_mm,
    )
    assert f"holes {design().sensor_bracket.hole_spacing_mm:g} mm apart for M3" in listed["dimensions"]


def test_the_page_says_how_high_the_bracket_holds_the_fork() -> None:
    disc_mm, wheel_mm = (part(name).read_edge.track_mm / 2 for name in READ)
    assert f"less {disc_mm:g} mm for the disc, {wheel_mm:g} mm for the wheel" in FLOWING
    # the gap's bottom, as deep as the arms are beyond their tips; the edge turns within it
    barrier = design().light_barrier
    bottoms_mm = [part(name).read_edge.track_mm / 2 - barrier.light_mm + barrier.depth_mm for name in READ]
    assert all(part(name).read_edge.diameter_mm / 2 < bottom for name, bottom in zip(READ, bottoms_mm, strict=True))
    disc_mm, wheel_mm = bottoms_mm
    face = f"its face to the axis and {disc_mm:g} mm from it for the disc, {wheel_mm:g} mm for the wheel, and the"
    assert (
        f"stand out from the face that is screwed on: the upright is then beyond the edge that is read, {face}"
        in FLOWING
    )
    hall = FLOWING.partition("A Hall switch, screwed on by its one hole, reads the magnets below the shaft: ")[2]
    assert hall.startswith(f"that less {design().magnet_disc.track_mm / 2:g} mm")
    assert "the fork of its light barrier reaches over its flange from the side where no strand runs" in FLOWING

"""What the list says of shafts, bearings, screws and tools, against the printable parts and the page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from hardware_page import FLOWING, ROWS, numbers
from parts.bracket import sensor_bracket_solid
from parts.design import load_design
from parts.standard_parts import BEARINGS, SCREWS
from reelwright.profiles.toml_files import read_toml
from wired_machines import HARDWARE, MACHINES

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("name", sorted(BEARINGS))
def test_bearings_have_the_dimensions_that_the_printable_parts_go_by(name: str) -> None:
    row = next(row for row in ROWS if row["part"] == f"bearing {name}")
    bearing = BEARINGS[name]
    assert numbers(row["dimensions"]) == [bearing.bore_mm, bearing.outside_mm, bearing.width_mm]


@pytest.mark.parametrize("name", sorted(SCREWS))
def test_screws_have_the_dimensions_that_the_printable_parts_go_by(name: str) -> None:
    row = next(row for row in ROWS if row["part"].startswith(f"screw {name} "))
    screw = SCREWS[name]
    assert numbers(row["dimensions"]) == [screw.pitch_mm, screw.clearance_mm, screw.tapping_mm]


def test_the_magnets_on_the_list_fit_their_disc() -> None:
    disc = load_design(HARDWARE / "parts" / "design.toml").magnet_disc
    row = next(row for row in ROWS if row["part"] == "magnet")
    diameter, height = numbers(row["dimensions"])
    assert diameter < disc.magnet_diameter_mm < diameter + 0.3
    assert height == disc.magnet_height_mm
    assert int(row["quantity"]) == disc.magnets


def test_nothing_stands_out_of_what_turns() -> None:
    """Grub screws end in their hubs, and the carriage runs over what pins the screw to its shaft."""
    design = load_design(HARDWARE / "parts" / "design.toml")
    lengths = [int(found[1]) for row in ROWS if (found := re.match(r"grub screw M3 x (\d+)", row["part"]))]
    in_hubs, in_screw = sorted(lengths)
    for disc in (design.slot_disc, design.magnet_disc):
        # a tenth of a mm is the edge that a finger does not feel: from memory
        assert in_hubs <= (disc.hub_diameter_mm - disc.shaft_mm) / 2 + 0.1
    gear = next(row for row in ROWS if row["part"] == "gear")["dimensions"]
    module_mm = float(re.search(r"module ([\d.]+),", gear)[1])
    smallest = min(numbers(re.search(r"teeth ([\d, ]+) or by", gear)[1]))
    bore_mm, hub_mm, long_mm = numbers(re.search(r"bore .* across and \d+ mm", gear)[0])
    # a tooth's foot lies 1.25 modules within the pitch circle: ISO 53, from memory
    assert (module_mm * (smallest - 2.5) - bore_mm) / 2 < in_hubs, "it sits below the teeth; this test is void"
    assert in_hubs <= (hub_mm - bore_mm) / 2
    assert long_mm >= 2 * SCREWS["M3"].thread_mm  # half a thread's diameter of material on either side: common practice
    pin_mm, turning_mm = design.screw.end_mm / 2, design.screw.first_turning_mm(design.groove)
    assert turning_mm - pin_mm < design.carriage.length_mm / 2, "the carriage does not reach it; this test is void"
    assert design.screw.bore_mm < in_screw < design.groove.screw_diameter_mm
    note = next(row for row in ROWS if row["part"].startswith("screw M3 x 10"))["note"]
    assert "nowhere on what turns" in note


def test_the_carriage_overhangs_the_screw_by_no_more_than_the_page_keeps_free() -> None:
    design = load_design(HARDWARE / "parts" / "design.toml")
    over_mm = design.carriage.length_mm / 2 - design.screw.first_turning_mm(design.groove)
    free_mm = float(re.search(r"(\d+) mm free at each end of the screw", FLOWING)[1])
    assert 0 < over_mm <= free_mm - 1


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_each_shaft_of_the_machines_has_its_bearings_blocks_and_collars(path: Path) -> None:
    counts = {row["part"]: int(row["quantity"]) for row in ROWS if row["quantity"]}
    gears = read_toml(path)["machine"][path.stem]["gears"]
    between = len(gears) - 1
    shafts = ["take-up spool", "screw", "pay-off spool"]
    assert counts["steel shaft"] == len(shafts) + between
    assert counts["bearing block for 608"] == 2 * counts["steel shaft"] == counts["bearing 608"] - 1  # the wheel's
    assert counts["shaft collar"] == 2 * counts["steel shaft"] + 2  # the wheel's axle
    # each gear, and the disc that the sensor reads
    assert counts["gear"] == 2 * len(gears) == counts["grub screw M3 x 5"] - 1


def test_there_are_screws_for_all_that_is_screwed_down() -> None:
    counts = {row["part"]: int(row["quantity"]) for row in ROWS if row["quantity"]}
    notes = {row["part"]: row["note"] for row in ROWS}
    brackets = 3  # two channels and the measuring wheel, as the page has it
    page = FLOWING
    assert "one for each sensor: two for `quadrature`, one more for the wheel" in page
    bracket = sensor_bracket_solid(load_design(HARDWARE / "parts" / "design.toml").sensor_bracket)
    each = bracket.genus() // 2  # half its holes are the foot's, half the sensor's
    assert counts["screw M4 x 16"] == each * brackets + 4
    assert notes["screw M4 x 16"] == "two each for three sensor brackets, four for the driver"
    assert counts["screw M3 x 10"] == each * brackets + 2  # the cap's
    assert f"{each * brackets} nuts" in notes["screw M3 x 10"]
    # a block stands on two screws, what is hung on or carries a force across on four: common practice
    on_two = ("bearing block for 608", "rod block", "ratchet", "brake for the pay-off spool")
    on_four = ("motor mount", "guard", "control box")
    wanted = 2 * sum(counts[part] for part in on_two) + 4 * sum(counts[part] for part in on_four)
    assert counts["screw M5 x 20"] == wanted
    told = notes["screw M5 x 20"]
    assert "two each for bearing blocks, rod blocks, ratchet and brake;" in told
    assert "four each for motor mount, guard and control box" in told


def test_a_bought_block_on_its_packing_has_screws_that_reach_the_plate() -> None:
    rows = {row["part"]: row for row in ROWS}
    row = rows["screw M5, through a packing"]
    assert int(row["quantity"]) == 2 * int(rows["bearing block for 608"]["quantity"])
    assert "set on packings, which take longer screws" in rows["bearing block for 608"]["note"]
    length_mm, packing_mm = map(float, re.search(r"M5 x (\d+) for a packing of (\d+) mm", row["dimensions"]).groups())
    assert packing_mm > 20, "a screw M5 x 20 goes through; this test is void"
    base_mm = float(re.search(r"plywood (\d+) mm", rows["base plate"]["dimensions"])[1])
    for foot_mm in numbers(rows["screw M5 x 20"]["note"].partition("feet")[2]):
        # engaged by at least its own diameter, common practice; and it stays within the wood
        assert SCREWS["M5"].thread_mm <= length_mm - packing_mm - foot_mm < base_mm
    assert f"a hole of {SCREWS['M5'].clearance_mm:g} mm through it" in row["note"]


def test_each_screw_of_a_wooden_base_has_an_insert_that_it_reaches() -> None:
    """Plywood holds no thread, and is too thick for a nut on its other side."""
    counts = {row["part"]: int(row["quantity"]) for row in ROWS if row["quantity"]}
    plate = next(row for row in ROWS if row["part"] == "base plate")
    base_mm = float(re.search(r"plywood (\d+) mm", plate["dimensions"])[1])
    assert counts["threaded insert M5"] == counts["screw M5 x 20"]
    assert counts["threaded insert M4"] == counts["screw M4 x 16"] - 4  # the driver's, which hold it in its box
    feet_mm = {
        "M4": (load_design(HARDWARE / "parts" / "design.toml").sensor_bracket.thickness_mm,) * 2,
        "M5": tuple(numbers(next(row for row in ROWS if row["part"] == "screw M5 x 20")["note"].partition("feet")[2])),
    }
    for thread, (thinnest_mm, thickest_mm) in feet_mm.items():
        screw = next(row["part"] for row in ROWS if row["part"].startswith(f"screw {thread} x "))
        length_mm = float(screw.rpartition(" ")[2])
        insert = next(row for row in ROWS if row["part"] == f"threaded insert {thread}")
        assert numbers(insert["dimensions"])[0] < base_mm
        # engaged by at least its own diameter, common practice; and it stays within the wood
        assert length_mm - thickest_mm >= SCREWS[thread].thread_mm
        assert length_mm - thinnest_mm < base_mm
        assert length_mm < thinnest_mm + base_mm, "a nut below would be reached; this test is void"
        assert "tapping in metal" in next(row for row in ROWS if row["part"] == screw)["dimensions"]


def test_the_page_lists_a_tool_for_each_thread_and_each_hole_that_is_cut() -> None:
    tools = FLOWING.partition("Tools: ")[2].partition("## Printed parts")[0]
    *some, last = (f"{screw.tapping_mm:g}" for screw in SCREWS.values())
    assert f"bits of {', '.join(some)} and {last} mm" in tools
    *some, last = (f"{screw.clearance_mm:g}" for screw in SCREWS.values())
    assert f"of {', '.join(some)} and {last} mm for screws to pass" in tools
    assert f"taps {', '.join(SCREWS)}" in tools
    holes = {row["ref"]: found[1] for row in ROWS if (found := re.search(r"hole ([\d or]+ mm)", row["dimensions"]))}
    assert set(holes) == {"S0", "S1", "S2", "S3"}
    (button,) = set(holes.values())
    assert f"cutters of {button} for buttons" in tools
    (led,) = {found[1] for row in ROWS if (found := re.match(r"LED (\d+ mm)", row["dimensions"]))}
    assert f"of {led} for LEDs" in tools
    assert f"of {BEARINGS['608'].outside_mm:g} mm for the bearings' seats" in tools
    # what the page has somebody measure with
    for tool in ("multimeter", "a scope or a meter that holds peaks", "caliper", "spring scale", "kitchen scale"):
        assert tool in tools


def test_magnets_that_lie_loose_in_their_pockets_are_glued() -> None:
    disc = load_design(HARDWARE / "parts" / "design.toml").magnet_disc
    magnet_mm = numbers(next(row for row in ROWS if row["part"] == "magnet")["dimensions"])[0]
    assert magnet_mm < disc.magnet_diameter_mm, "they are pressed in; this test is void"
    assert "magnets in their pockets" in next(row for row in ROWS if row["part"] == "glue")["note"]


def test_no_bearing_is_listed_that_fits_no_shaft_of_the_list() -> None:
    notes = {row["part"]: row["note"] for row in ROWS}
    bores = {row["part"]: numbers(row["dimensions"])[0] for row in ROWS if re.match(r"bearing \d", row["part"])}
    shaft_mm = numbers(next(row for row in ROWS if row["part"] == "steel shaft")["dimensions"])[0]
    assert bores
    for part, bore_mm in bores.items():
        assert bore_mm == shaft_mm or f"on a {bore_mm:g} mm shaft" in notes[part], part

"""The list of parts has what the drawings, the printable parts and the standards name."""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path

import pytest

from parts.bracket import sensor_bracket_solid
from parts.design import load_design
from parts.standard_parts import BEARINGS, SCREWS
from reelwright.profiles.toml_files import read_toml
from wiring.circuit import (
    BUZZER_OHM,
    CONTACT_OHM,
    CONTACT_PULL_UP_OHM,
    DRIVER,
    GUARD_NETS,
    INVERTER,
    LIVE_RESISTOR,
    PARTS,
    PLUGS,
    POWER_NETS,
    POWER_PARTS,
    WIRES,
    Circuit,
)
from wiring.reading import circuit_of

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
ROWS = list(csv.DictReader((HARDWARE / "parts.csv").read_text(encoding="utf-8").splitlines()))
MACHINES = sorted((HARDWARE / "machines").glob("*.toml"))


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def flowing_page() -> str:
    """The hardware's page without its line breaks."""
    return " ".join((HARDWARE / "README.md").read_text(encoding="utf-8").split())


def test_every_row_has_every_column_and_a_name() -> None:
    for row in ROWS:
        assert None not in row, row
        assert all(value is not None for value in row.values()), row
        assert row["part"], row
        assert row["dimensions"] or row["rating"], row


def test_every_part_of_the_drawings_is_on_the_list() -> None:
    listed = {row["ref"] for row in ROWS}
    plugs = {plug for plug, _ in PLUGS.values()}
    assert {"U1", "M1", INVERTER, LIVE_RESISTOR.ref, *plugs, *PARTS, *POWER_PARTS} <= listed


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_small_part_of_a_drawing_is_on_the_list(path: Path) -> None:
    check_enough(circuit_of(read_toml(path), path.name))


@pytest.mark.parametrize(("volts", "output"), [(5, "push_pull"), (5, "open_collector")])
def test_there_are_enough_small_parts_for_a_winder_with_everything(volts: int, output: str) -> None:
    roles = [role for role in WIRES if role not in ("motor_pwm", "motor_direction", "tension_level")]
    pins: dict[str, int] = dict(zip(roles, (pin for pin in range(23) if pin != 16), strict=False))
    pulls = {role: "none" for role in pins if WIRES[role].way in ("signal", "contact")}
    given = {
        "board": {"kind": "pico", "pins": {**pins, "tension_level": 26}, "pulls": pulls},
        "wiring": {"sensor_supply_v": volts, "sensor_output": output, "enable_input": "active_low"},
    }
    check_enough(circuit_of(given, "everything"))


def check_enough(circuit: Circuit) -> None:
    """Each value is on the list, as often as the circuit has it."""
    listed = {
        found[0]: int(row["quantity"])
        for row in ROWS
        if (found := re.search(r"[\d.]+ (?:k?Ohm|nF)$", row["part"])) and row["ref"][0] in "RC"
    }
    for value, needed in Counter(each.value for each in circuit.components()).items():
        assert listed.get(value, 0) >= needed, value


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


def test_the_buzzer_sounds_on_the_steady_voltage_that_the_board_gives() -> None:
    """The board drives its pin high for as long as it shall sound: a passive one would click once."""
    row = next(row for row in ROWS if row["ref"] == "H2")
    assert row["rating"].startswith("active"), row
    sounds_v, most_ma = numbers(row["rating"])
    assert 3.3 - most_ma / 1000 * BUZZER_OHM >= sounds_v
    assert most_ma <= 4  # of an RP2040's pin at its usual strength: RP2040 Datasheet, 2.19.4, from memory


def test_the_capacitor_at_the_driver_bears_twice_the_motors_supply() -> None:
    """A motor that brakes lifts its supply above what the fuse lets in: common practice."""
    row = next(row for row in ROWS if row["ref"] == "C0")
    rated = [tuple(map(float, pair)) for pair in re.findall(r"(\d+) V for (?:a supply of )?(\d+) V", row["rating"])]
    supplies = next(row for row in ROWS if row["ref"] == "G1")["rating"]
    assert [supply for _, supply in rated] == [12, 24] == numbers(supplies)[:2]
    assert all(volts >= 2 * supply for volts, supply in rated)


def test_the_suppressor_lets_the_supply_be_and_holds_what_capacitor_and_driver_bear() -> None:
    bears = {
        ref: {
            supply: volts
            for volts, supply in re.findall(
                r"(\d+) V for (?:a supply of )?(\d+) V", next(row for row in ROWS if row["ref"] == ref)["rating"]
            )
        }
        for ref in ("C0", "A1")
    }
    rating = next(row for row in ROWS if row["ref"] == "D2")["rating"]
    told = re.findall(r"of (\d+) V bears (\d+) V for good and holds (\d+) V", rating)
    assert {supply: holds for supply, _, holds in told} == bears["C0"] == bears["A1"]
    holds = " and ".join(
        f"{volts} V of {whose} {supply} V"
        for (supply, _, volts), whose in zip(told, ("a supply of", "one of"), strict=True)
    )
    assert f"It holds {holds}: a driver that bears less needs a lower `deceleration_rpm_s` instead" in flowing_page()
    # a finished supply is within a tenth of its plate: common practice
    assert all(float(stands) > 1.1 * float(supply) for supply, stands, _ in told)


def test_the_page_warns_that_the_listed_fuse_may_never_blow() -> None:
    """A supply that limits its current below what the fuse needs protects in its place, and for good."""
    supply, fuse = (next(row for row in ROWS if row["ref"] == ref) for ref in ("G1", "F1"))
    rated = float(re.search(r"current of the motor x ([\d.]+)", supply["rating"])[1])
    least, most = map(float, re.search(r"rated current x ([\d.]+) to ([\d.]+)", fuse["rating"]).groups())
    blows = float(re.search(r"less than ([\d.]+) x F1 never blows it", supply["note"])[1])
    # of finished supplies that limit by a constant current, over their rating: from memory of data sheets
    lowest, highest = 1.05, 1.5
    assert highest * rated < blows * least < blows * most, "it blows; this test is void"
    cautions = flowing_page().partition("## Cautions")[2].partition("## What a winder has")[0]
    told = (
        f"G1 is rated at {rated:g} times the motor's current, and such a supply limits at {lowest} to {highest} times"
    )
    assert told in cautions
    assert f"so at {lowest * rated:.1f} to {highest * rated:g} times the motor's" in cautions
    blown = (
        f"a slow fuse of {least:g} to {most:g} times it is sure to blow at {blows * least:.1f} to {blows * most:.1f}"
    )
    assert blown in cautions


def test_all_that_carries_the_motors_current_bears_that_at_which_the_supply_limits() -> None:
    """The list's factors of the motor's current may fall short of it; the fuse does not help."""
    carry = ("motor driver", "contactor or power relay", "terminal", "wire for the motor")
    rows = [row for row in ROWS if row["part"] in carry]
    assert len(rows) == len(carry)
    for row in rows:
        assert "at which G1 limits" in row["rating"] + row["note"], row["part"]
    driver = next(row for row in ROWS if row["ref"] == "A1")["rating"]
    rated = float(
        re.search(r"current of the motor x ([\d.]+)", next(row for row in ROWS if row["ref"] == "G1")["rating"])[1]
    )
    assert f"G1 limits (a stalled motor), which may be {1.5 * rated:g} times the motor's" in driver
    assert "Take the limit from G1's data sheet: driver, K1, wire and terminals bear it for good" in flowing_page()


def test_the_emergency_stop_on_the_list_has_as_many_contacts_as_the_drawing() -> None:
    row = next(row for row in ROWS if row["ref"] == "S0")
    nets = circuit_of(read_toml(HARDWARE / "machines" / "pico-dc.toml"), "a").nets()
    contacts = sum(terminal.startswith("S0.") for terminals in nets.values() for terminal in terminals) / 2
    assert contacts == 2
    assert "two contacts, each of which opens positively" in row["rating"]
    assert "DC rating of the coil" in row["rating"]
    assert "21 to 22 gold, fit for as little as" in row["rating"]


@pytest.mark.parametrize("ref", sorted({wire.part for wire in WIRES.values() if wire.way == "contact"} | {"S0"}))
def test_each_contact_is_rated_for_as_little_as_its_wire_gives_it(ref: str) -> None:
    """Below its least load a contact does not break the film on its faces, and a stop is told that nobody gave."""
    rating = next(row for row in ROWS if row["ref"] == ref)["rating"]
    volts, milliamperes = map(float, re.search(r"as little as ([\d.]+) V ([\d.]+) mA", rating).groups())
    # resistors of 5 % by the list; a board's supply within 3 %: common practice
    least_ma = 0.97 * 3.3 / (1.05 * (CONTACT_OHM + CONTACT_PULL_UP_OHM)) * 1000
    assert volts <= 3.3
    assert milliamperes <= least_ma
    assert "gold" in rating


def test_a_guard_switch_that_drops_the_motor_has_on_the_list_the_contact_that_the_drawing_numbers() -> None:
    given = read_toml(HARDWARE / "machines" / "pico-dc.toml")
    given["wiring"]["guard_drops_motor"] = True
    nets = circuit_of(given, "a").nets()
    assert {"S4.21"} <= nets["fused"]
    assert {"S4.22"} <= nets["guarded"]
    row = next(row for row in ROWS if row["ref"] == "S4")
    # 1 to 2 is drawn closed with the guard: of a switch that the guard forces open that is a NC contact, too
    told = [terminals for terminals in nets.values() if terminals & {"S4.1", "S4.2"}]
    assert len(told) == 2
    assert not any(terminals & nets["fused"] | terminals & nets["guarded"] for terminals in told)
    assert PARTS["S4"][0] == "guard switch, closed with the guard"
    assert "two NC contacts that the opening guard forces open" in row["note"]
    assert "ISO 14119), closed while it is shut: 21 to 22, in series with S0, DC rating of the coil" in row["note"]
    assert "and 1 to 2, gold" in row["note"]


def test_a_crank_needs_no_part_of_the_motors_supply() -> None:
    note = next(row for row in ROWS if row["part"] == "crank")["note"]
    assert set(re.findall(r"[A-Z]\d", note.partition("then no ")[2])) == {
        DRIVER,
        PLUGS[DRIVER][0],
        LIVE_RESISTOR.ref,
        *POWER_PARTS,
    }


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
    free_mm = float(re.search(r"(\d+) mm free at each end of the screw", flowing_page())[1])
    assert 0 < over_mm <= free_mm - 1


@pytest.mark.parametrize(
    "name",
    [
        "ratchet",
        "coupling or belt",
        "wheel axle",
        "shaft collar",
        "base plate",
        "grease",
        "eye protection",
        "motor mount",
        "USB cable",
        "control box",
        "prototype board",
    ],
)
def test_what_a_builder_would_miss_on_the_last_evening_is_listed(name: str) -> None:
    assert any(row["part"] == name for row in ROWS)


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
    page = flowing_page()
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
    tools = flowing_page().partition("Tools: ")[2].partition("## Printed parts")[0]
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


@pytest.mark.parametrize("guard", [{}, GUARD_NETS])
def test_there_is_a_terminal_for_each_wire_end_where_several_of_the_motors_supply_meet(
    guard: dict[str, tuple[str, ...]],
) -> None:
    nets = {net: set(terminals) for net, terminals in (POWER_NETS | guard).items()}
    for number, net in enumerate(LIVE_RESISTOR.ends, 1):
        nets[net].add(f"{LIVE_RESISTOR.ref}.{number}")
    ends = sum(len(terminals) for terminals in nets.values() if len(terminals) >= 3)
    assert 15 < ends <= int(next(row for row in ROWS if row["part"] == "terminal")["quantity"])


def test_no_bearing_is_listed_that_fits_no_shaft_of_the_list() -> None:
    notes = {row["part"]: row["note"] for row in ROWS}
    bores = {row["part"]: numbers(row["dimensions"])[0] for row in ROWS if re.match(r"bearing \d", row["part"])}
    shaft_mm = numbers(next(row for row in ROWS if row["part"] == "steel shaft")["dimensions"])[0]
    assert bores
    for part, bore_mm in bores.items():
        assert bore_mm == shaft_mm or f"on a {bore_mm:g} mm shaft" in notes[part], part


def test_the_list_names_no_maker() -> None:
    # a board is named by its maker's name, since its pins are meant; all other parts are generic
    for row in ROWS:
        assert row["ref"] == "U1" or not re.search(r"\b[A-Z][a-z]+ [A-Z][a-z]+\b", " ".join(row.values())), row

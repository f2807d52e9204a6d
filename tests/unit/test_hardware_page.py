"""The hardware's page against the drawings and the printable parts: it names what there is, with its figures."""

from __future__ import annotations

import re
import tomllib
from fractions import Fraction
from math import acos, ceil, cos, pi, radians, tan
from pathlib import Path

import pytest
from click.testing import CliRunner

from hardware_page import FLOWING, PAGE, ROWS
from parts.design import load_design, solids
from parts.sensing import edge_interval_us, pulses_per_second, second_channel_deg
from reelwright.cli import main
from reelwright.winding.gear_check import TrainCheck, check_train
from reelwright.winding.gear_teeth import ToothForm, centre_distance_mm, undercut_limit
from wiring.circuit import CONTACT_NF, CONTACT_OHM, CONTACT_PULL_UP_OHM, PULL_DOWN_OHM, TOLD_THROUGH
from wiring.reading import circuit_of

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
JOB = tomllib.loads(re.search(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)[1])


def test_the_drawing_has_the_contact_that_the_page_measures_and_blames() -> None:
    """In step 1, in the wiring and in the fault table; the stop itself is the other one."""
    one, other = (terminal.partition(".")[2] for terminal in reversed(TOLD_THROUGH["S2"]))
    stops, tells = "11 to 12", f"{one} to {other}"
    first = PAGE.partition("### 1. ")[2].partition("### 2. ")[0]
    row = next(line for line in PAGE.splitlines() if line.endswith("| `stop_pressed` |") and "by itself" in line)
    assert tells in first
    assert f"contact {tells}" in row
    unheard = next(line for line in PAGE.splitlines() if line.endswith("| `no_pulses` |") and "K1 off" in line)
    assert f"after an emergency stop: S0's contact {tells} passed by" in unheard
    assert f"S0's contact {tells} carries the stop button's ground to it, logic alone; {stops} is the one" in FLOWING
    assert "the stop does not depend on it" in FLOWING.partition("## What a winder has")[0]


def test_the_same_thing_has_the_same_words_and_the_same_value_everywhere() -> None:
    assert not re.search(r"supply (off|on)\b", FLOWING)
    told = {float(ohm) for ohm in re.findall(r"pull-down[^.]*?\(([\d.]+) kOhm here", FLOWING)}
    assert told == {PULL_DOWN_OHM / 1000}
    assert f"| {PULL_DOWN_OHM / 1000:g} kOhm, less where the driver has a pull-down of its own" in PAGE
    at_a_contact = f"{CONTACT_OHM / 1000:g} kOhm, {CONTACT_NF} nF and {CONTACT_PULL_UP_OHM / 1000:g} kOhm to 3.3 V"
    assert at_a_contact in FLOWING
    assert f"| pin of each contact, the contact open | {CONTACT_PULL_UP_OHM / 1000:g} kOhm |" in PAGE
    # beside the contact's own resistor lies the way by its pull-up and the board, whose 3V3 may be anything to GND
    least = 1 / (1 / CONTACT_OHM + 1 / CONTACT_PULL_UP_OHM)
    closed = f"{least / 1000:.1f} to {CONTACT_OHM / 1000:g} kOhm"
    assert f"| {closed}; then above 9 kOhm |" in PAGE
    assert f"not gold: {closed} from the pin to GND when both are let out" in PAGE


def test_an_input_is_measured_with_the_polarity_at_which_its_protective_diode_blocks() -> None:
    """A chip's input has a diode from its ground, anode there: with red at ground it conducts, any text on CMOS inputs.

    An ohmmeter then reads the diode, and a pull-down that is missing passes.
    """
    first = PAGE.partition("### 1. ")[2].partition("### 2. ")[0]
    assert 'its red lead at "from" where it matters' in first
    rows = [line.split(" | ") for line in first.splitlines() if line.startswith("| ")]
    of_inputs = [
        row for row in rows if "each input that can turn" in row[1] or "pin of each stopping contact" in row[1]
    ]
    assert len(of_inputs) == 2
    for start, end, *_ in of_inputs:
        assert "GND" in start
        assert start.endswith("(black lead here)")
        assert "(red)" in end


def test_a_current_that_a_trimmer_sets_is_set_while_the_drivers_logic_has_its_supply() -> None:
    """What feeds it is in the drawing: the board by way of X2, or the motor's supply, which no board is needed for."""
    vcc = {}
    for feeds in ("board", "own"):
        given = tomllib.loads((HARDWARE / "machines" / "esp32-stepper.toml").read_text(encoding="utf-8"))
        given["wiring"]["driver_logic_supply"] = feeds
        nets = circuit_of(given, feeds).nets().values()
        (vcc[feeds],) = [terminals for terminals in nets if "A1.VCC" in terminals]
    assert {"U1.3V3", "X2.VCC"} <= vcc["board"]
    assert not {each for each in vcc["own"] if each.startswith(("U1.", "X2."))}
    second = FLOWING.partition("### 2. ")[2].partition("### 3. ")[0]
    before, _, readings = second.partition("All right, or do not go on:")
    assert "The driver's plug X2 pulled" in before
    fed = "one that the board feeds set it with X2 and USB plugged in, the motor's supply unplugged, and pull X2 then"
    assert fed in before
    own = "one that makes its own gets the least current first, and the motor's after reading 3"
    assert own in before
    assert '3. Press "motor on"' in readings


def test_every_file_that_the_page_points_to_exists() -> None:
    targets = re.findall(r"\]\(([^)#:]+)\)", PAGE)
    assert "parts.csv" in targets
    for target in targets:
        assert (HARDWARE / target).exists(), target


def test_every_printable_part_is_on_the_page() -> None:
    design = load_design(HARDWARE / "parts" / "design.toml")
    for name in solids(design, step_deg=10):
        assert f"`{name}`" in PAGE, name


def test_the_figures_of_marks_and_groove_are_those_of_the_design() -> None:
    design = load_design(HARDWARE / "parts" / "design.toml")
    slots, magnets = design.slot_disc, design.magnet_disc
    assert (
        f"{slots.slots} slots on a circle of {slots.track_mm:g} mm, window {design.light_barrier.aperture_mm:g} mm"
        in PAGE
    )
    assert f"| {slots.spacing_mm:.2f} mm |" in PAGE
    assert f"{magnets.spacing_mm:.2f} mm clear between two" in PAGE
    for marks in (slots.slots, magnets.magnets):
        each_ms = edge_interval_us(marks, 120) / 1000
        assert f"| {pulses_per_second(marks, 120):g} pulses a second, an edge each {each_ms:.2f} ms |" in PAGE
    assert f"{second_channel_deg(60, whole_pitches=0):g} degrees plus whole pitches of {360 / 60:g} degrees" in PAGE
    wheel, strand_mm = design.measuring_wheel, design.strand_diameter_mm
    per_pulse = wheel.mm_per_pulse(strand_mm)
    assert f"slots: {per_pulse:.3f} for the wheel" in PAGE
    assert f"{1 / per_pulse:.4f} pulses a mm" in PAGE
    assert f"0.05 mm thicker makes it {100 * (wheel.mm_per_pulse(strand_mm + 0.05) / per_pulse - 1):.2f} % more" in PAGE
    assert f"it is {design.groove.pitch_excess:.3f} times the mean one" in PAGE


def test_the_cautions_come_before_everything_else() -> None:
    headings = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    assert headings[0] == "Cautions"
    cautions = PAGE.split("## Cautions")[1].split("\n## ")[0]
    for word in (
        "not legal advice",
        "Local codes and licensed practice come before",
        "ISO 12100",
        "ISO 13850",
        "IEC 60204-1",
        "category 0",
        "Entanglement",
        "Pinch points",
        "snapped strand",
        "Fuse",
        "pull-down",
        "guard",
    ):
        assert word in cautions, word


def test_what_is_braked_feeds_back_what_the_rotor_behind_its_gears_and_the_jobs_spool_hold() -> None:
    """J of a ring, 0.5 J w^2, 0.5 C V^2, and a rotor's inertia seen through gears as ratio squared: any textbook."""
    step = FLOWING.partition("### 8. ")[2].partition("### 9. ")[0]
    capacity_uf = float(re.search(r"with (\d+) uF", step)[1])
    table = re.findall(r"\| ([^|]+) \| (\d+) rpm \| ([\d.]+) J \| (\d+) V \| (\d+) V \|", step)
    inner, outer = JOB["take_up"]["barrel_diameter_mm"] / 2000, JOB["take_up"]["flange_diameter_mm"] / 2000
    assert f"{2000 * inner:g} mm to {2000 * outer:g} mm" in table[2][0]
    mass_kg = float(re.search(r"([\d.]+) kg,", table[2][0])[1])
    rotor_kg_m2, ratio = map(float, re.search(r"([\d.e-]+) kg m2 behind gears of (\d+):1", table[0][0]).groups())
    of_spool, of_rotor = mass_kg * (outer**2 + inner**2) / 2, rotor_kg_m2 * ratio**2
    assert ["no spool" in what for what, *_ in table] == [True, True, False, False]
    for (_, rpm, told_j, *told_v), inertia in zip(
        table, (of_rotor, of_rotor, of_spool, of_rotor + of_spool), strict=True
    ):
        energy_j = inertia * (2 * pi * float(rpm) / 60) ** 2 / 2
        assert float(told_j) == pytest.approx(energy_j, abs=0.005)
        for supply_v, volts in zip((24, 12), told_v, strict=True):
            lifted_v = (supply_v**2 + 2 * energy_j / (capacity_uf / 1e6)) ** 0.5
            assert float(volts) == pytest.approx(lifted_v, abs=0.5)
    row = next(row for row in ROWS if row["ref"] == "C0")["rating"]
    assert f"{capacity_uf:g} uF" in row
    bears = {int(supply): int(volts) for volts, supply in re.findall(r"(\d+) V for (?:a supply of )?(\d+) V", row)}
    # the rotor alone is above what the listed capacitor bears, at the job's speed already
    assert bears[12] < float(table[0][4])
    assert all(bears[supply] < float(volts) for supply, volts in zip((24, 12), table[1][3:], strict=True))
    assert float(table[0][1]) == JOB["machine"]["max_spool_rpm"]
    assert "fit D2 across C0" in step
    assert "or a meter that holds peaks" in step


def test_what_braking_feeds_back_is_told_before_anything_asks_the_motor_to_turn() -> None:
    """The rotor is braked by the first test of the motor: a sum that comes after it comes too late."""
    told = PAGE.index("**Before any motor run** reckon what braking feeds back")
    assert told < PAGE.index("fit D2 across C0") < PAGE.index("reelwright checkup --port PORT --motor")


def test_both_pages_promise_the_one_stop_category_that_the_drawing_gives() -> None:
    """Nothing slows the motor down before its power goes: the contactor drops as the button is pressed."""
    front = " ".join((HARDWARE.parent / "README.md").read_text(encoding="utf-8").split())
    assert set(re.findall(r"stop category (\d(?: or \d)?)", front)) == {"0"}
    assert "power off at once, stop category 0 (IEC 60204-1; category 1 would slow down first" in FLOWING


def test_the_gears_on_the_list_span_from_the_spool_to_the_screw() -> None:
    """What a train spans at most is the sum of its centre distances."""
    design, gears = load_design(HARDWARE / "parts" / "design.toml"), JOB["machine"]["gears"]
    arm_mm = solids(design, step_deg=10)["carriage"].bounding_box()[3]
    assert f"{arm_mm:.2f} mm from the screw's axis to the arm's face, and 2 mm of air" in FLOWING
    flange_mm = JOB["take_up"]["flange_diameter_mm"]
    least_mm = flange_mm / 2 + arm_mm + 2
    assert f"{least_mm:.2f} mm for a flange of {flange_mm} mm" in FLOWING
    row = next(row for row in ROWS if row["part"] == "gear")
    listed_mm = int(re.search(r"module (\d+),", row["dimensions"])[1])
    spans_mm = {
        module: sum(centre_distance_mm(*pair, ToothForm(module_mm=module)) for pair in gears)
        for module in (1.5, listed_mm)
    }
    assert spans_mm[1.5] < least_mm <= spans_mm[listed_mm]
    told = f"give {spans_mm[1.5]:g} mm of module 1.5, too little, and {spans_mm[listed_mm]:g} mm of module {listed_mm}"
    assert told in FLOWING
    blocks = next(row for row in ROWS if row["part"].startswith("bearing block"))
    assert "all at one height" in blocks["dimensions"]
    # in one plane the shafts do not fold to anything less
    assert f"as far as the gears of step 5 span, {spans_mm[listed_mm]:g} mm for those of the list" in FLOWING
    assert "all bearing blocks at one height the three shafts lie in one plane" in FLOWING
    # preferred modules of ISO 54, series I, from memory: 1, 1.25, 1.5, 2, 2.5
    assert listed_mm == min(module for module in (1, 1.25, 1.5, 2, 2.5) if module / 1.5 * spans_mm[1.5] >= least_mm)
    teeth = [tooth for pair in gears for tooth in pair]
    assert f"teeth {', '.join(map(str, teeth))} or by" in row["dimensions"]
    assert int(row["quantity"]) == len(teeth)


def test_the_blocks_hold_the_jobs_spool_off_the_plate_and_the_bracket_holds_its_sensor_as_high() -> None:
    block = next(row for row in ROWS if row["part"] == "bearing block for 608")["dimensions"]
    height_mm = float(re.search(r"its middle (\d+) mm above the plate", block)[1])
    flange_mm = JOB["take_up"]["flange_diameter_mm"]
    clear_mm = height_mm - flange_mm / 2
    assert clear_mm > 3  # a sheet's edge or a screw's low head passes: from memory
    told = f"hold all axes {height_mm:g} mm above the plate, which such a flange then clears by {clear_mm:g} mm"
    assert told in FLOWING
    train = listed_train()
    largest = max(gear.teeth for mesh in train.meshes for gear in (mesh.driver, mesh.driven))
    # a tooth stands one module above the pitch circle, and 0.42 more at most where its profile is shifted: ISO 53
    assert train.form.module_mm * (largest / 2 + 1.42) < height_mm
    assert load_design(HARDWARE / "parts" / "design.toml").sensor_bracket.sensor_height_mm == height_mm


def test_carriage_rod_blocks_and_the_screws_bearings_follow_one_another_along_the_screw() -> None:
    """The rod lies below the screw, so that a bearing block of the screw within the rod's length would stand in it."""
    design, rows = load_design(HARDWARE / "parts" / "design.toml"), {row["part"]: row for row in ROWS}
    step = FLOWING.partition(" 3. Screw on its shaft")[2].partition(" 4. Carriage")[0]
    carriage = solids(design, step_deg=10)["carriage"]
    low_y, high_y = carriage.bounding_box()[1], carriage.bounding_box()[4]
    assert high_y == -low_y
    reach_mm = design.groove.stroke_mm / 2 + high_y
    rod_mm = design.groove.stroke_mm + float(re.search(r"stroke \+ (\d+) mm", rows["guide rod"]["dimensions"])[1])
    below_mm, below = design.carriage.rod_distance_mm, "mm straight below the screw"
    # its hole goes through the solid, and a line beside it meets the solid
    assert not carriage.ray_cast((0, -100, -below_mm), (0, 100, -below_mm))
    assert carriage.ray_cast(
        (design.carriage.rod_diameter_mm, -100, -below_mm), (design.carriage.rod_diameter_mm, 100, -below_mm)
    )
    axis_mm = float(re.search(r"its middle (\d+) mm above", rows["bearing block for 608"]["dimensions"])[1])
    assert f"lies {below_mm:g} {below} and {axis_mm - below_mm:g} mm above the plate" in step
    assert f"it is {rod_mm:g} mm long, and the carriage reaches {reach_mm:.1f} mm from the middle" in step
    told = re.search(
        r"rod's blocks, between (\d+) mm and its end at ([\d.]+) mm, .* blocks beyond (\d+) mm\. The", step
    )
    first_mm, end_mm, bearings_mm = map(float, told.groups())
    assert reach_mm < first_mm
    assert end_mm == pytest.approx(rod_mm / 2, abs=0.05)
    assert bearings_mm > rod_mm / 2
    # the carriage passes the screw's own ends, and comes to no bearing
    assert design.screw.length_mm(design.groove) / 2 < reach_mm
    middle_mm, along_mm = map(
        float, re.search(r"middle (\d+) mm above the plate, (\d+) mm or less", rows["rod block"]["dimensions"]).groups()
    )
    assert middle_mm == axis_mm - below_mm
    assert along_mm <= rod_mm / 2 - first_mm
    beside_mm = listed_train().meshes[1].centre_distance_mm
    assert f"The inner block of the shaft between, {beside_mm:g} mm beside the screw" in step
    assert f"stands beyond {first_mm:g} mm as well" in step


def looked_at(gears: list[list[int]], module_mm: float) -> TrainCheck:
    """A train as `reelwright gears check` looks at it."""
    stages = tuple((driver, driven) for driver, driven in gears)
    return check_train(stages, Fraction(JOB["machine"]["screw_turns_per_pass"]), ToothForm(module_mm=module_mm))


def listed_train() -> TrainCheck:
    row = next(row for row in ROWS if row["part"] == "gear")
    return looked_at(JOB["machine"]["gears"], int(re.search(r"module (\d+),", row["dimensions"])[1]))


def test_the_page_says_where_the_screws_shaft_and_the_shaft_between_end() -> None:
    train = listed_train()
    (found,) = [each for each in train.findings if each.code == "shaft_in_the_way"]
    large, last = train.meshes[0].driven, train.meshes[1].driven
    # the spool's shaft is 1, so that the last gear's is the screw's
    assert f"The gear of {large.teeth} teeth on shaft 2 reaches" in found.message
    assert f"and shaft {last.shaft} stands" in found.message
    step = FLOWING.partition(" 3. Screw on its shaft")[2].partition(" 4. Carriage")[0]
    assert f"Cut the screw's shaft to end in its gear of {last.teeth} teeth" in step
    assert f"The gear of {large.teeth} teeth on the shaft between lies beyond that end" in step
    reach = f"it reaches {found.value:g} mm from its own axis, and the screw's is {found.limit:g} mm away"
    assert f"{reach} (module {train.form.module_mm:g})" in step
    away_mm, flange_mm = train.meshes[0].centre_distance_mm, JOB["take_up"]["flange_diameter_mm"]
    assert away_mm < flange_mm / 2
    beside = (
        f"it stands {away_mm:g} mm from the spool's axis, and a flange of {flange_mm} mm reaches {flange_mm / 2:g} mm"
    )
    assert f"The shaft between ends beside the spool: {beside}" in FLOWING
    assert "the screw's ends in its gear" in next(row for row in ROWS if row["part"] == "steel shaft")["note"]


def test_the_page_says_that_the_smallest_gears_on_the_list_are_undercut_and_two_ways_out() -> None:
    train = listed_train()
    cut = {
        gear.teeth: gear for mesh in train.meshes for gear in (mesh.driver, mesh.driven) if gear.undercut == "undercut"
    }
    ((teeth, gear),) = cut.items()
    step = FLOWING.partition(" 5. Gears from the spool")[2].partition(" 6. Disc")[0]
    assert f"A gear of {teeth} teeth is undercut" in step
    # 18, and 17 in practice: gear handbooks, as in test_gear_trains
    assert "below 18 teeth (17 in practice)" in step
    shift = ceil(100 * gear.profile_shift) / 100
    assert f"outward by {shift:.2f} modules, and its mate's inward by as much" in step
    # gear handbooks, from memory: shifts that cancel leave the distance, and free both gears where the teeth of the two
    # are twice the limit or more
    for mesh in train.meshes:
        assert mesh.driver.teeth + mesh.driven.teeth >= 2 * undercut_limit(train.form)
    # thickness of a tooth at its tip, any handbook; 0.2 modules or more is common practice
    assert tip_thickness(teeth, shift) > 0.2
    found = re.search(r"or take (\d+):(\d+), (\d+):(\d+) of module (\d+),", step)
    assert found
    first, second, third, fourth, module_mm = map(int, found.groups())
    other = looked_at([[first, second], [third, fourth]], module_mm)
    assert {each.code for each in other.findings} == {"shaft_in_the_way"}
    assert other.ratio == train.ratio
    distances_mm = [mesh.centre_distance_mm for mesh in train.meshes]
    assert [mesh.centre_distance_mm for mesh in other.meshes] == pytest.approx(distances_mm)
    row = next(row for row in ROWS if row["part"] == "gear")
    assert f"those of {teeth} teeth need a shifted profile" in row["note"]


def test_the_page_says_what_the_check_of_other_gears_tells_and_what_it_leaves_to_the_builder() -> None:
    step = FLOWING.partition(" 5. Gears from the spool")[2].partition(" 6. Disc")[0]
    command = re.search(r"`reelwright (gears check [^`]*)`", step)[1]
    train = listed_train()
    assert f"--module {train.form.module_mm:g}" in command
    assert f"Without `--module` it takes {ToothForm().module_mm:g} mm" in step
    done = CliRunner().invoke(main, command.split())
    assert done.exit_code == 0, done.output
    for mesh in train.meshes:
        assert f"{mesh.centre_distance_mm:.4f}" in done.output
    # what is as wrong as can be gives every warning there is, but for a train that was asked to end where it begins
    poor = [*looked_at([[5, 58], [5, 5]], 1).findings, *train.findings]
    assert set(re.findall(r"\(`(\w+)`\)", step)) == {each.code for each in poor}
    # what the page leaves to the builder, the check does not say
    told = " ".join(each.message + each.remedy for each in poor)
    for word in ("flange", "hub", "mate"):
        assert word in step.partition("yours to check")[0].rpartition("The sum")[2]
        assert word not in told
    assert f"{sum(mesh.centre_distance_mm for mesh in train.meshes):g}" not in done.output


def tip_thickness(teeth: int, shift: float) -> float:
    """In modules, of a tooth of 20 degrees that stands one module and its shift above the pitch circle."""
    pressure = radians(20)
    tip = teeth + 2 + 2 * shift
    at_tip = acos(teeth * cos(pressure) / tip)
    half = (pi / 2 + 2 * shift * tan(pressure)) / teeth + (tan(pressure) - pressure) - (tan(at_tip) - at_tip)
    return tip * half


def test_the_voltage_at_which_work_begins_is_the_one_that_the_lamp_leaves() -> None:
    second = FLOWING.partition("### 2. ")[2].partition("### 3. ")[0]
    left_v = re.search(r"A1 VM less than (\d+) V, which C0 may keep where H0 no longer takes it", second)[1]
    cautions = FLOWING.partition("## Cautions")[2].partition("## What a winder has")[0]
    assert f"see A1 VM below {left_v} V" in cautions


def test_the_guard_on_the_list_covers_what_the_cautions_have_covered() -> None:
    (covered,) = re.findall(r"Cover ([^.]*?) with a fixed guard", FLOWING)
    assert f"Guards over {covered}" in FLOWING.partition("## Putting it together")[2]
    assert f"fixed over {covered}" in next(row for row in ROWS if row["part"] == "guard")["note"]


def test_the_fuse_is_at_the_supply_wherever_it_is_named() -> None:
    rows = {row["ref"] or row["part"]: row for row in ROWS}
    assert rows["F1"]["note"] == "at the supply, before everything else"
    assert "**Fuse** the motor's supply at the supply" in FLOWING
    assert "F1" not in rows["control box"]["dimensions"]

"""The hardware's page against the drawings and the printable parts: it names what there is, with its figures."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

from parts.design import load_design, solids
from parts.sensing import edge_interval_us, pulses_per_second, second_channel_deg
from reelwright.winding.gear_teeth import ToothForm, centre_distance_mm
from wiring.circuit import CONTACT_NF, CONTACT_OHM, CONTACT_PULL_UP_OHM, PULL_DOWN_OHM, TOLD_THROUGH

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
PAGE = (HARDWARE / "README.md").read_text(encoding="utf-8")
FLOWING = " ".join(PAGE.split())
ROWS = list(csv.DictReader((HARDWARE / "parts.csv").read_text(encoding="utf-8").splitlines()))
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


def test_the_gears_on_the_list_span_from_the_spool_to_the_screw() -> None:
    """A train folds to any smaller distance; what it spans at most is the sum of its centre distances."""
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
    # preferred modules of ISO 54, series I, from memory: 1, 1.25, 1.5, 2, 2.5
    assert listed_mm == min(module for module in (1, 1.25, 1.5, 2, 2.5) if module / 1.5 * spans_mm[1.5] >= least_mm)
    teeth = [tooth for pair in gears for tooth in pair]
    assert f"teeth {', '.join(map(str, teeth))} or by" in row["dimensions"]
    assert int(row["quantity"]) == len(teeth)

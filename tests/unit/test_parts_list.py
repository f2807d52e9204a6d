"""The list of parts has what the drawings, the printable parts and the standards name."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from parts.design import load_design
from parts.standard_parts import BEARINGS, SCREWS
from reelwright.profiles.toml_files import read_toml
from wiring.circuit import BUZZER_OHM, PARTS, PLUG, POWER_PARTS, circuit_of

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
ROWS = list(csv.DictReader((HARDWARE / "parts.csv").read_text(encoding="utf-8").splitlines()))
MACHINES = sorted((HARDWARE / "machines").glob("*.toml"))


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_every_row_has_every_column_and_a_name() -> None:
    for row in ROWS:
        assert None not in row, row
        assert all(value is not None for value in row.values()), row
        assert row["part"], row
        assert row["dimensions"] or row["rating"], row


def test_every_part_of_the_drawings_is_on_the_list() -> None:
    listed = {row["ref"] for row in ROWS}
    assert {"U1", PLUG, *PARTS, *POWER_PARTS} <= listed


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_small_part_of_a_drawing_is_on_the_list(path: Path) -> None:
    listed = " ".join(row["part"] for row in ROWS if row["ref"] in ("R", "C"))
    for each in circuit_of(read_toml(path), path.name).components():
        assert each.value in listed, each


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


def test_a_crank_needs_no_part_of_the_motors_supply() -> None:
    note = next(row for row in ROWS if row["part"] == "crank")["note"]
    assert set(re.findall(r"[A-Z]\d", note.partition("then no ")[2])) == {"A1", PLUG, *POWER_PARTS}


def test_the_list_names_no_maker() -> None:
    # a board is named by its maker's name, since its pins are meant; all other parts are generic
    for row in ROWS:
        assert row["ref"] == "U1" or not re.search(r"\b[A-Z][a-z]+ [A-Z][a-z]+\b", " ".join(row.values())), row

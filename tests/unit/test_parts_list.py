"""The list of parts has what the drawings, the printable parts and the standards name."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

import pytest

from hardware_page import ROWS
from reelwright.profiles.toml_files import read_toml
from wired_machines import MACHINES
from wiring.circuit import (
    INVERTER,
    LIVE_RESISTOR,
    PARTS,
    PLUGS,
    POWER_PARTS,
    WIRES,
    Circuit,
)
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path


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


def test_the_list_names_no_maker() -> None:
    # a board is named by its maker's name, since its pins are meant; all other parts are generic
    for row in ROWS:
        assert row["ref"] == "U1" or not re.search(r"\b[A-Z][a-z]+ [A-Z][a-z]+\b", " ".join(row.values())), row

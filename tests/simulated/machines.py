"""A machine for the plant, as the host would describe it, with what a test changes."""

from __future__ import annotations

import copy
from typing import Any

from plant.winder import Plant
from windlink.codes import DC

STEP_MS = 10

SPEC: dict[str, Any] = {
    "seed": 7,
    "faults": [],
    "stops": [6000],
    "take_up": {"barrel_diameter_mm": 80.0, "flange_diameter_mm": 200.0, "empty_mass_g": 150.0},
    "pay_off": {"length_mm": 330000.0, "barrel_diameter_mm": 80.0, "inside_width_mm": 60.0},
    "strand": {"diameter_mm": 1.75, "density_g_cm3": 1.24, "rise": 0.95661},
    "machine": {
        "drive": DC,
        "channels": 1,
        "ratchet": True,
        "turns_per_layer": [174, 5],
        "first_pass_turns": [174, 5],
        "pulses_per_spool_turn": [60, 1],
        "steps_per_spool_turn": [3200, 1],
        "stroke_mm": 60.9,
        "no_load_rpm": 168.0,
        "spool_rpm": 120.0,
        "back_tension_n": 2.0,
    },
}


def machine_spec(**changes: Any) -> dict[str, Any]:
    """SPEC, with the changes laid over its machine table; `faults` and `seed` over the whole."""
    spec = copy.deepcopy(SPEC)
    for name in ("faults", "seed", "pay_off"):
        if name in changes:
            spec[name] = changes.pop(name)
    spec["machine"].update(changes)
    return spec


def plant(**changes: Any) -> Plant:
    """The machine of `machine_spec`."""
    return Plant(machine_spec(**changes), STEP_MS)


def drive_to(machine: Plant, turns: float, duty: int = 800) -> None:
    """Drive until the spool has made these turns; fails when it does not within ten virtual minutes."""
    for _ in range(60000):
        if machine.turns >= turns:
            return
        machine.step(duty, 0, 0, 0)
    raise AssertionError(f"only {machine.turns} turns")


def stand(machine: Plant, seconds: float, brake: int = 0) -> None:
    """Drive off for a while."""
    for _ in range(round(seconds * 1000 / STEP_MS)):
        machine.step(0, brake, 0, 0)

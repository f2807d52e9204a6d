"""Jobs for tests: an invented workshop's spool, strand and winder, with what a test changes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reelwright.profiles import build_job
from reelwright.winding.job import TARGET_KINDS
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan


def job_tables(**changes: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The tables of a sound job with those of `changes` laid over; a value of None takes a key out."""
    tables: dict[str, dict[str, Any]] = {
        "take_up": {"barrel_diameter_mm": 80, "flange_diameter_mm": 200, "inside_width_mm": 63},
        "strand": {"diameter_mm": 1.75, "density_g_cm3": 1.24},
        "machine": {"turns_per_layer": "174/5", "pulses_per_turn": 60},
        "target": {"length_m": 40},
    }
    for name, table in changes.items():
        merged = tables.get(name, {}) | table
        if name == "target" and (set(TARGET_KINDS) - {"length_m"}) & set(table):
            merged.pop("length_m", None)
        tables[name] = {key: value for key, value in merged.items() if value is not None}
    return tables


def job_of(**changes: dict[str, Any]) -> Job:
    """A sound job with changes."""
    return build_job(job_tables(**changes))


def plan_of(**changes: dict[str, Any]) -> Plan:
    """The plan of a sound job with changes."""
    return make_plan(job_of(**changes))

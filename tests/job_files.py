"""A job file that is right, and what is told of jobs that are not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from reelwright.errors import FileFaultsError
from reelwright.profiles import build_job

if TYPE_CHECKING:
    from pathlib import Path

GOOD = """
[take_up]
barrel_diameter_mm = 80
flange_diameter_mm = 200
inside_width_mm = 63
[strand]
diameter_mm = 1.75
density_g_cm3 = 1.24
[machine]
gears = [[10, 58], [10, 30]]
screw_turns_per_pass = 2
pulses_per_turn = 60
[target]
length_m = 40
"""


def file_of(folder: Path, text: str) -> Path:
    """A job file of this text."""
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(tables: dict[str, Any]) -> dict[str, str]:
    """Path and message of each fault of a job from these tables, which must have some."""
    with pytest.raises(FileFaultsError) as refusal:
        build_job(tables)
    return {fault.path: fault.message for fault in refusal.value.faults}

"""A machine file's text, and what is told of such a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from reelwright.errors import FileFaultsError
from reelwright.machines import load_machine_file

Write = Callable[[str], Path]

PROFILE = """
[machine.shed]
gears = [[10, 58], [10, 30]]
screw_turns_per_pass = 2
pulses_per_turn = 60
drive = "dc"
max_spool_rpm = 120
fitted = ["stop_button"]
"""
BOARD = """
[board]
kind = "pico"
[board.pins]
motor_pwm = 16
motor_direction = 17
sensor_a = 2
stop_button = 20
"""


def faults(path: Path) -> dict[str, str]:
    """What is wrong with a file, which must have some fault, by its place."""
    with pytest.raises(FileFaultsError) as caught:
        load_machine_file(path)
    told: dict[str, str] = {}
    for fault in caught.value.faults:
        told[fault.path] = f"{told[fault.path]}; {fault.message}" if fault.path in told else fault.message
    return told


def told(path: Path) -> dict[str, str]:
    """The faults of a file; none where it passes."""
    try:
        load_machine_file(path)
    except FileFaultsError:
        return faults(path)
    return {}

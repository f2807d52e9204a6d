"""What tests of `reelwright install` share: a small firmware, and the commands as they call them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from click.testing import CliRunner, Result

from reelwright.cli.install import command
from reelwright.cli.machine import command as machine_command
from reelwright.errors import ReelwrightError
from reelwright.install.manifest import firmware_files
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from pathlib import Path

    from fake_board import FakeBoard

MACHINE = """
[machine.shed]
gears = [[10, 58], [10, 30]]
screw_turns_per_pass = 2
pulses_per_turn = 60
max_spool_rpm = 120
[board]
kind = "pico"
[board.pins]
motor_pwm = 16
sensor_a = 2
stop_button = 20
"""
# A firmware small enough to be broken off at every step; what it holds is never run.
SMALL = {
    "boot.py": "__import__('boards.motor_pins', None, None, ('make_safe',)).make_safe()\n",
    "main.py": "BOARD_FILES = {'rp2': 'pico'}\nfrom windcore.loop import run\n",
    "boards/__init__.py": "",
    "boards/motor_pins.py": "def make_safe(): pass\n",
    "boards/pico.py": "import windcore.ticks\nMYPY = False\nif MYPY:\n    from boards.simulated import nothing\n",
    "boards/simulated.py": "import plant\n",
    "windcore/loop.py": "from windcore import ticks\n",
    "windcore/ticks.py": "LOOP_MS = 10\n",
    "windcore/service.py": 'FIRMWARE = "0.1.0"\n',
    "plant/__init__.py": "",
}


def small_firmware(folder: Path, **changed: str) -> Path:
    for path, text in {**SMALL, **{path.replace("__", "/"): text for path, text in changed.items()}}.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return folder


def install(board: FakeBoard, *arguments: str) -> Result:
    return CliRunner().invoke(command, ["--port", board.port_name, *arguments])


def push(board: FakeBoard, machine: str, *arguments: str) -> Result:
    return CliRunner().invoke(machine_command, ["push", machine, "--port", board.port_name, *arguments])


def failure_of(result: Result) -> ReelwrightError:
    assert isinstance(result.exception, ReelwrightError), (result.exception, result.output)
    return result.exception


def on_board(board: FakeBoard) -> dict[str, bytes]:
    return {
        path.relative_to(board.files).as_posix(): path.read_bytes() for path in board.files.rglob("*") if path.is_file()
    }


def of_firmware(folder: Path) -> dict[str, bytes]:
    return {each.path: each.content for each in firmware_files(boards()["pico"], (folder, folder))}

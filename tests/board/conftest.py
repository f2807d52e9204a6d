"""The board that the tests are given; without one they are skipped, and say how to run them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from board.desk import Desk
from reelwright.device.patience import PATIENCE

if TYPE_CHECKING:
    from collections.abc import Iterator

HOW = (
    "no board: pytest tests/board --board-port PORT; a Raspberry Pi Pico with MicroPython 1.26 or newer, no"
    " motor and no wires but the jumpers of tests/board/pico.toml"
)


@pytest.fixture(scope="session")
def desk(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The board, saved before the first test and put back after the last."""
    port = request.config.getoption("--board-port")
    if not port:
        pytest.skip(HOW)
    machine = request.config.getoption("--board-machine") or Path(__file__).with_name("pico.toml")
    desk = Desk(port, Path(machine), tmp_path_factory.mktemp("board"))
    told = os.environ.get(PATIENCE)
    desk.save()
    try:
        yield desk
    finally:
        desk.restore()
        if told is None:
            os.environ.pop(PATIENCE, None)


@pytest.fixture(scope="session")
def installed(desk: Desk) -> Desk:
    """The same, with the firmware on it."""
    done = desk.command("install", "--port", desk.port_name, "--machine", str(desk.machine_path), "--overwrite")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return desk


@pytest.fixture(scope="session")
def shaft(installed: Desk) -> list[int]:
    """Pins that reach the sensor; a test that needs them is skipped where one jumper is missing."""
    installed.to_prompt()
    pins = installed.shaft_pins()
    if not pins:
        pytest.skip(f"no way to the sensor's pins: wire both jumpers as {installed.machine_path} says, or none")
    return pins


@pytest.fixture(scope="session")
def jumpers(installed: Desk) -> None:
    """Both jumpers; a test that needs them is skipped without."""
    installed.to_prompt()
    if None in installed.jumpers():
        pytest.skip(f"no jumpers: wire them as {installed.machine_path} says")

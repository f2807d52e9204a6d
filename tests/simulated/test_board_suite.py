"""The tests for a board pass on a board that is not there, over a pseudo terminal, with the real mpremote."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from board.desk import Desk
from interpreters import ROOT
from reelwright.device.patience import PATIENCE, patience
from reelwright.install import delivery
from reelwright.install.manifest import BoardFile, firmware_files
from reelwright.machines import compiled_text, load_machine_file
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "openpty"), reason="there are no pseudo terminals here"),
    pytest.mark.skipif(importlib.util.find_spec("mpremote") is None, reason="no mpremote: pip install mpremote"),
]
# Of the tests for a board, those that the suite runs here: all of them wait for a minute and a half, and so does each
# board that lacks something, whose own step is tried by itself.
WHOLE = bool(os.environ.get("REELWRIGHT_WHOLE_BOARD"))
SAMPLE = () if WHOLE else ("-k", "says_who_it_is or short_wind")
on_whole_boards = pytest.mark.skipif(not WHOLE, reason="a minute each: set REELWRIGHT_WHOLE_BOARD=1")
PICO = ROOT / "tests" / "board" / "pico.toml"
STRANGERS = {"main.py": "print('a program of its owner')\n", "lib/other.py": "x = 1\n"}


@contextmanager
def stand_in(folder: Path, *options: str) -> Iterator[str]:
    """A board whose files lie in a folder; its port."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    with subprocess.Popen(
        [sys.executable, "-m", "stand_in", str(folder), *options],
        cwd=ROOT / "tests",
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    ) as board:
        assert board.stdout is not None
        try:
            yield board.stdout.readline().strip()
        finally:
            board.kill()


def suite(port: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """The tests for a board, on this port."""
    return subprocess.run(
        [sys.executable, "-m", "pytest", "tests/board", "--board-port", port, *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )


def test_they_pass_and_leave_the_board_as_they_found_it(tmp_path: Path) -> None:
    for name, text in STRANGERS.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    with stand_in(tmp_path, "--pace", "3") as port:
        done = suite(port, *SAMPLE)
    assert done.returncode == 0, done.stdout[-5000:]
    assert "skipped" not in done.stdout, done.stdout[-5000:]
    left = {each.relative_to(tmp_path).as_posix(): each for each in tmp_path.rglob("*") if each.is_file()}
    assert {name: path.read_text(encoding="utf-8") for name, path in left.items()} == STRANGERS


@pytest.mark.parametrize(("lacks", "shaft"), [((), [14, 15]), (("--lacks", "jumpers"), [2, 3])])
def test_the_shaft_is_behind_the_jumpers_or_else_the_sensors_own_pins(
    tmp_path: Path, lacks: tuple[str, ...], shaft: list[int]
) -> None:
    (tmp_path / "board").mkdir()
    with stand_in(tmp_path / "board", "--pace", "3", *lacks) as port:
        assert Desk(port, PICO, tmp_path).shaft_pins() == shaft


@on_whole_boards
def test_without_jumpers_the_chip_turns_its_sensor_itself(tmp_path: Path) -> None:
    with stand_in(tmp_path, "--pace", "3", "--lacks", "jumpers") as port:
        done = suite(port, "-k", "short_wind")
    assert "1 passed" in done.stdout, done.stdout[-5000:]


@pytest.mark.parametrize(
    ("pace", "told", "least", "most"), [("0.2", None, 8, 16), ("1", None, 1, 1), ("0.2", "3", 3, 3)]
)
def test_a_board_whose_clock_is_slow_gets_more_time_unless_it_is_told_how_much(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pace: str, told: str | None, least: float, most: float
) -> None:
    monkeypatch.setenv(PATIENCE, told or "1")
    if told is None:
        monkeypatch.delenv(PATIENCE)
    with stand_in(tmp_path, "--pace", pace) as port:
        Desk(port, PICO, tmp_path).learn_patience()
    assert least <= patience() <= most


def with_firmware(folder: Path) -> Path:
    """A board's files once the firmware is installed."""
    files = firmware_files(boards()["pico"])
    for each in [*files, BoardFile("machine.json", compiled_text(load_machine_file(PICO)).encode())]:
        (folder / each.path).parent.mkdir(parents=True, exist_ok=True)
        (folder / each.path).write_bytes(each.content)
    return folder


def test_a_board_that_forgets_over_a_reset_is_told_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivery, "PROMPT_S", 2.0)  # for a prompt that never comes
    with stand_in(with_firmware(tmp_path / "board"), "--pace", "3", "--lacks", "registers") as port:
        desk = Desk(port, PICO, tmp_path)
        with desk.client():
            pass  # it is started
        with pytest.raises(pytest.skip.Exception, match="keeps no registers over a reset"):
            desk.to_prompt()


@on_whole_boards
def test_on_a_board_that_forgets_over_a_reset_the_other_tests_pass(tmp_path: Path) -> None:
    with stand_in(tmp_path, "--pace", "3", "--lacks", "registers") as port:
        done = suite(port, "-k", "says_who_it_is or upload")
    assert "keeps no registers over a reset" in done.stdout, done.stdout[-5000:]
    assert "1 passed, 1 skipped" in done.stdout, done.stdout[-5000:]

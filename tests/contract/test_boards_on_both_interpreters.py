"""Both board files keep the session's promises and their own, on fake modules with the real ones' habits.

The fakes show what the sources of MicroPython say; a real board has not been met here.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interpreters import CPYTHON, MICROPYTHON, both, needs_micropython, on_micropythons, run_script

HERE = Path(__file__).parent
OF_BOARDS = ("board_scenarios.py", "board_restart_scenarios.py")
BOARDS = pytest.mark.parametrize(
    ("port", "channels"), [("rp2", 1), ("rp2", 2), ("esp32", 1), ("esp32", 2)], ids=lambda value: str(value)
)


def promises(interpreter: tuple[str, ...], script: str, folder: Path, *arguments: object) -> list[str]:
    said = run_script(interpreter, HERE / script, *arguments, timeout_s=600, beside=HERE.parent, within=folder)
    return said.splitlines()


@BOARDS
def test_a_board_keeps_what_the_session_promises(port: str, channels: int, tmp_path: Path) -> None:
    assert promises(CPYTHON, "board_rig.py", tmp_path, port, channels)[-1] == "all kept"


@BOARDS
@pytest.mark.parametrize("script", OF_BOARDS)
def test_a_board_keeps_its_own_promises(port: str, channels: int, script: str, tmp_path: Path) -> None:
    assert promises(CPYTHON, script, tmp_path, port, channels)[-1] == "all kept"


@both
@pytest.mark.parametrize("port", ["rp2", "esp32"])
def test_a_board_keeps_its_pins_as_they_are_described(interpreter: tuple[str, ...], port: str, tmp_path: Path) -> None:
    assert promises(interpreter, "pin_scenarios.py", tmp_path, port)[-1] == "all kept"


@both
def test_a_pass_of_the_loop_takes_and_gives_little(interpreter: tuple[str, ...], tmp_path: Path) -> None:
    assert promises(interpreter, "console_scenarios.py", tmp_path)[-1] == "all kept"


@both
@pytest.mark.parametrize(("port", "channels"), [("rp2", 1), ("esp32", 2)])
def test_a_wind_whose_loop_comes_late_drives_on_or_trips(
    interpreter: tuple[str, ...], port: str, channels: int, tmp_path: Path
) -> None:
    assert promises(interpreter, "lease_scenarios.py", tmp_path, port, channels)[-1] == "all kept"


@both
@pytest.mark.parametrize("port", ["rp2", "esp32"])
def test_a_tension_level_acts_like_its_switches(interpreter: tuple[str, ...], port: str, tmp_path: Path) -> None:
    assert promises(interpreter, "level_scenarios.py", tmp_path, port, 2)[-1] == "all kept"


@needs_micropython
@pytest.mark.parametrize(
    ("port", "script"),
    [("rp2", "board_rig.py"), *((port, script) for port in ("rp2", "esp32") for script in OF_BOARDS)],
)
def test_the_board_files_run_on_micropython(port: str, script: str, tmp_path: Path) -> None:
    assert promises(MICROPYTHON, script, tmp_path, port, 2)[-1] == "all kept"


@on_micropythons
def test_reading_and_driving_the_pins_allocates_nothing(interpreter: tuple[str, ...], tmp_path: Path) -> None:
    assert promises(interpreter, "board_heap_locked.py", tmp_path)[-1] == "passes without allocation: 5000"

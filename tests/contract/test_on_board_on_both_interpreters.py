"""What a board does for an installation is the same on CPython and MicroPython."""

from __future__ import annotations

from pathlib import Path

import interpreters
from interpreters import both, run_script

INSTALL = interpreters.ROOT / "host" / "reelwright" / "install"


@both
def test_files_are_hashed_gathered_and_put_in_place(interpreter: tuple[str, ...], tmp_path: Path) -> None:
    scenario = Path(__file__).with_name("on_board_scenario.py")
    assert run_script(interpreter, scenario, tmp_path, beside=INSTALL).strip() == '<answer>{"right": true}</answer>'

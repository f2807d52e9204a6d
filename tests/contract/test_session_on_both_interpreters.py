"""The session keeps its promises on CPython and on MicroPython, and its step allocates nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from interpreters import CPYTHON, MICROPYTHON, both, needs_micropython, run_script
from windlink import codes

HERE = Path(__file__).parent


SCENARIOS = pytest.mark.parametrize("script", ["session_scenarios.py", "trip_scenarios.py"])


@both
@SCENARIOS
def test_the_session_keeps_every_promise(script: str, interpreter: tuple[str, ...]) -> None:
    assert run_script(interpreter, HERE / script).splitlines()[-1] == "all kept"


@needs_micropython
@SCENARIOS
def test_both_interpreters_walk_the_same_way(script: str) -> None:
    said = [run_script(each, HERE / script) for each in (CPYTHON, MICROPYTHON)]
    assert said[0] == said[1]


@needs_micropython
@pytest.mark.parametrize("drive", [codes.DC, codes.HAND, codes.STEPPER])
def test_the_control_step_allocates_nothing_in_ten_thousand_steps(drive: int) -> None:
    assert "steps without allocation: 10000" in run_script(MICROPYTHON, HERE / "heap_locked.py", drive)

"""The session keeps its promises on CPython and MicroPython, with the boards' integers too, and allocates nothing."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interpreters import (
    CPYTHON,
    MICROPYTHON,
    MICROPYTHON_32,
    both,
    needs_micropython,
    needs_micropython_32,
    on_micropythons,
    run_script,
)
from windlink import codes

HERE = Path(__file__).parent


SCENARIOS = pytest.mark.parametrize(
    "script", ["session_scenarios.py", "session_speed_scenarios.py", "trip_scenarios.py"]
)


@cache
def said(interpreter: tuple[str, ...], script: str) -> str:
    return run_script(interpreter, HERE / script, timeout_s=600)


@both
@SCENARIOS
def test_the_session_keeps_every_promise(script: str, interpreter: tuple[str, ...]) -> None:
    assert said(interpreter, script).splitlines()[-1] == "all kept"


@needs_micropython
@SCENARIOS
def test_both_interpreters_walk_the_same_way(script: str) -> None:
    assert said(CPYTHON, script) == said(MICROPYTHON, script)


@needs_micropython_32
@SCENARIOS
def test_the_boards_integers_walk_the_same_way_too(script: str) -> None:
    assert said(CPYTHON, script) == said(MICROPYTHON_32, script)


@on_micropythons
@pytest.mark.parametrize("drive", [codes.DC, codes.HAND, codes.STEPPER])
def test_the_control_step_allocates_nothing_in_ten_thousand_steps(interpreter: tuple[str, ...], drive: int) -> None:
    assert "steps without allocation: 10000" in run_script(interpreter, HERE / "heap_locked.py", drive)

"""The lease's timer may come between any two lines of the drive: the motor is off then, and can be driven later."""

from __future__ import annotations

import inspect
import sys
from typing import TYPE_CHECKING, Any

import pytest

from fakes import bench
from fakes.world import WORLD
from windcore.signals import Outputs

if TYPE_CHECKING:
    from pathlib import Path
    from types import FrameType

    from boards.hardware import HardwareBoard


def lapse_at(board: HardwareBoard, line: int, outputs: Outputs) -> bool:
    """Apply outputs, and let the lease end just before a line of it; whether that line was come to."""
    apply = type(board).apply
    came = False

    def at_line(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal came
        if event == "line" and frame.f_lineno == line and not came:
            came = True
            for _look in range(20):
                board._look_at_lease(None)
        return at_line

    sys.settrace(lambda frame, *_: at_line if frame.f_code is apply.__code__ else None)
    try:
        board.apply(outputs)
    finally:
        sys.settrace(None)
    return came


@pytest.mark.parametrize("port", ["rp2", "esp32"])
@pytest.mark.parametrize("key", ["duty", "step_rate"])
def test_a_lease_that_ends_within_the_drive_leaves_a_motor_that_turns_in_the_next_motion(
    port: str, key: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    board = bench.switch_on(port)
    source, first = inspect.getsourcelines(type(board).apply)
    still, driven = Outputs(), Outputs()
    setattr(driven, key, 500)
    tried = 0
    for line in range(first, first + len(source)):
        for outputs in [driven] * 5:
            WORLD.advance(10000)
            board.apply(outputs)
        assert bench.turns()
        tried += lapse_at(board, line, driven)
        for outputs in [still] * 5 + [driven] * 5:
            WORLD.advance(10000)
            board.apply(outputs)
        assert bench.turns(), source[line - first]
    assert tried > 5

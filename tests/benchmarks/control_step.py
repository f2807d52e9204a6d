"""The control step and the link service, on both interpreters side by side."""

from __future__ import annotations

import json
from pathlib import Path

from interpreters import CPYTHON, MICROPYTHON, has_micropython, run_script

HERE = Path(__file__).parent
CONTRACT = HERE.parent / "contract"


def measured(interpreter: tuple[str, ...]) -> dict[str, float]:
    """Median of five runs of timed_steps.py."""
    runs = [json.loads(run_script(interpreter, HERE / "timed_steps.py", beside=CONTRACT)) for _ in range(5)]
    return {name: sorted(run[name] for run in runs)[2] for name in runs[0]}


def rows() -> list[tuple[str, str]]:
    """Microseconds a step and a frame, and their ratio between the interpreters."""
    cpython = measured(CPYTHON)
    if not has_micropython:
        return [("control step, MicroPython", "not measured: no MicroPython wheel here")]
    micropython = measured(MICROPYTHON)
    return [
        (
            f"{what}, MicroPython unix port / CPython",
            f"{micropython[key]:.1f} / {cpython[key]:.1f} us = {micropython[key] / cpython[key]:.2f}",
        )
        for what, key in (
            ("control step", "step_us"),
            ("request taken and answered", "answer_us"),
            ("progress encoded", "encode_us"),
            ("progress decoded", "decode_us"),
        )
    ]

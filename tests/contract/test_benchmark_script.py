"""The script that the benchmarks time is itself sound. How fast it is, no test says."""

from __future__ import annotations

import json
from pathlib import Path

from interpreters import both, run_script

HERE = Path(__file__).parent


@both
def test_the_timed_steps_run_to_their_end(interpreter: tuple[str, ...]) -> None:
    told = json.loads(run_script(interpreter, HERE.parent / "benchmarks" / "timed_steps.py", beside=HERE))
    assert set(told) == {"step_us", "answer_us", "encode_us", "decode_us"}

"""One seed, one run: the simulated machine gives the same bits on CPython and on MicroPython.

It uses sums, products, quotients and square roots alone, which IEEE 754 rounds in one way, so nothing
need be bounded: the states are compared as bits.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

from interpreters import CPYTHON, MICROPYTHON, needs_micropython, run_script
from reelwright.simulator.spec import SimulatorOptions
from simulated.machines import machine_spec
from simulated.random_jobs import random_job, task
from windlink.codes import DC, HAND, STEPPER

TRACE = Path(__file__).with_name("plant_trace.py")
WINDS = Path(__file__).parents[1] / "simulated" / "winds.py"


@needs_micropython
def test_the_machine_gives_the_same_bits_on_both(tmp_path: Path) -> None:
    spec_file = tmp_path / "specs.json"
    specs = [
        machine_spec(drive=drive, channels=channels, ratchet=ratchet, seed=seed, faults=[["snag", 20.0]])
        for seed, drive in enumerate((DC, HAND, STEPPER))
        for channels, ratchet in ((1, True), (2, False))
    ]
    spec_file.write_text(json.dumps(specs), encoding="utf-8")
    lines = run_script(CPYTHON, TRACE, spec_file)
    assert lines.count("\n") == 60 * len(specs)
    assert len(set(lines.splitlines())) > 200  # some of them stand for a while, caught on their snag
    assert run_script(MICROPYTHON, TRACE, spec_file) == lines


@needs_micropython
def test_whole_winds_come_to_the_same_pulses_in_the_same_steps_on_both(tmp_path: Path) -> None:
    draw = random.Random(21)
    jobs = [
        task(random_job(draw, drive, sensor), SimulatorOptions(seed=draw.randrange(1 << 30)))
        for drive in ("dc", "hand")
        for sensor in ("single", "quadrature")
    ]
    job_file = tmp_path / "jobs.json"
    job_file.write_text(json.dumps(jobs), encoding="utf-8")
    truths = [
        [json.loads(line) for line in run_script(interpreter, WINDS, job_file).splitlines()]
        for interpreter in (CPYTHON, MICROPYTHON)
    ]
    assert len(truths[0]) == len(jobs)
    for one, other in zip(*truths, strict=True):
        for rest, twin in zip(one.pop("rests"), other.pop("rests"), strict=True):
            # MicroPython prints a float with one digit more than it needs, which reads back within a bit
            for name in ("turns", "length_mm"):
                assert abs(rest.pop(name) - twin.pop(name)) < 1e-9
            assert rest == twin
        assert one == other

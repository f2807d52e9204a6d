"""Hours of winding: no memory is lost, no pulse, and no wrap of the clock is noticed.

One virtual hour in the suite; REELWRIGHT_SOAK_HOURS=24 winds a day of them.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

from interpreters import CPYTHON, MICROPYTHON, has_micropython, run_script
from reelwright.profiles import build_job
from reelwright.simulator.spec import SimulatorOptions
from simulated.random_jobs import task

HOURS = int(os.environ.get("REELWRIGHT_SOAK_HOURS", "1"))
PULSES_PER_TURN = 600


def test_hours_of_winding_lose_no_pulse_and_no_byte(tmp_path: Path) -> None:
    job = build_job(
        {
            "take_up": {"barrel_diameter_mm": 50, "flange_diameter_mm": 160, "inside_width_mm": 40},
            "strand": {"diameter_mm": 1.75},
            "machine": {
                "turns_per_layer": "21",
                "pulses_per_turn": PULSES_PER_TURN,
                "sensor": "quadrature",
                "fitted": ["stop_button", "measuring_wheel"],
                "measuring_wheel_mm_per_pulse": 2.5,
            },
            "target": {"turns": 200, "pause_every_layer": True},
        }
    )
    path = tmp_path / "task.json"
    path.write_text(json.dumps(task(job, SimulatorOptions(seed=7))), encoding="utf-8")
    interpreter = MICROPYTHON if has_micropython else CPYTHON
    script = Path(__file__).with_name("soak.py")
    hours = [
        json.loads(line)
        for line in run_script(interpreter, script, path, HOURS, timeout_s=300 + 600 * HOURS).splitlines()
    ]
    for hour in hours:
        print(hour)
    last = hours[-1]
    assert len(hours) == HOURS
    assert last["jobs"] >= 10 * HOURS
    assert last["counted_pulses"] > 0.5 * HOURS * 3600 * 2 * PULSES_PER_TURN
    assert abs(last["counted_pulses"] - last["true_pulses"]) <= 1
    assert last["wraps"] == 1
    assert last["lines"] > HOURS * 3600 * 5
    # the events' numbers grow by digits; nothing else may
    assert max(hour["heap_bytes"] for hour in hours) - hours[0]["heap_bytes"] <= 64

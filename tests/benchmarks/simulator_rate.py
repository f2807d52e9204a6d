"""The simulated winder, firmware, plant and port together, against real time."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from reelwright.device.client import Client
from reelwright.device.job_values import job_values
from reelwright.device.port import Port
from reelwright.profiles import build_job
from reelwright.simulator import PACE_MAX, Simulator, SimulatorOptions
from reelwright.winding.plan import make_plan
from windlink import codes

JOB = {
    "take_up": {"barrel_diameter_mm": 64, "flange_diameter_mm": 200, "inside_width_mm": 39.5},
    "strand": {"diameter_mm": 1.75},
    "machine": {"turns_per_layer": "21", "pulses_per_turn": 20, "on_link_loss": "wind_on"},
    "target": {"layers": 30},
}


def measured(interpreter: str) -> tuple[float, float]:
    """Virtual and real seconds of one wind of ten minutes."""
    job = build_job(JOB)
    plan = make_plan(job)
    with (
        tempfile.TemporaryDirectory() as folder,
        Simulator(
            job,
            plan,
            SimulatorOptions(
                seed=1, pace=PACE_MAX, interpreter=interpreter, truth_path=str(Path(folder) / "truth.jsonl")
            ),
        ) as simulator,
    ):
        port = Port(simulator.port)
        client = Client(port)
        client.hello()
        client.load(1, job_values(job, plan))
        before_s = float(simulator.truth().get("virtual_s", 0.0))
        client.request("start", 1)
        begun = time.perf_counter()
        while client.request("status")["state"] != codes.FINISHED:
            client.listen(0.005)
        real_s = time.perf_counter() - begun
        virtual_s = float(simulator.truth()["virtual_s"]) - before_s
        port.close()
    return virtual_s, real_s


def rows() -> list[tuple[str, str]]:
    """One row an interpreter."""
    out = []
    for interpreter in ("micropython", "cpython"):
        virtual_s, real_s = measured(interpreter)
        out.append(
            (
                f"simulated wind on {interpreter}, virtual / real",
                f"{virtual_s:.0f} s / {real_s:.2f} s = {virtual_s / real_s:.0f}",
            )
        )
    return out

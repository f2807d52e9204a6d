"""Whatever goes wrong on a machine, its simulated winder lives on: the firmware keeps to what its board forbids."""

from __future__ import annotations

from contextlib import suppress

import pytest
from attrs import evolve

from reelwright.device.client import Client
from reelwright.device.job_values import job_values
from reelwright.errors import DeviceError
from reelwright.profiles import build_job
from reelwright.simulator.spec import FAULTS, SimulatorOptions, machine_spec
from reelwright.winding.plan import make_plan
from simulated.lockstep import RESTART_PERIODS, LockstepWinder

JOB = {
    "take_up": {"barrel_diameter_mm": 50, "flange_diameter_mm": 90, "inside_width_mm": 40},
    "strand": {"diameter_mm": 1.75, "material": "PLA"},
    "machine": {
        "turns_per_layer": "21",
        "pulses_per_turn": 20,
        "fitted": ["stop_button"],
        "steps_per_spool_turn": 3200,
        "on_link_loss": "wind_on",
        "max_spool_rpm": 60,
    },
    "target": {"turns": 40},
}


@pytest.mark.parametrize("drive", ["hand", "dc", "stepper"])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_in_mid_wind_and_a_pause_after_it_leave_the_winder_alive_and_at_rest(fault: str, drive: str) -> None:
    job = build_job(JOB)
    job = evolve(job, machine=evolve(job.machine, drive=drive))
    plan = make_plan(job)
    with LockstepWinder(machine_spec(job, plan, SimulatorOptions(seed=5, faults=((fault, 2.0),)))) as winder:
        client = Client(winder.port)
        client.hello()
        client.load(1, job_values(job, plan))
        client.request("start", 1)
        winder.pass_periods(400)
        assert winder.board.plant.turns > 2.0
        if fault == "link_silent":
            winder.pass_periods(RESTART_PERIODS)
            return
        with suppress(DeviceError):
            client.request("pause", 1)
        winder.pass_periods(RESTART_PERIODS)
        assert winder.board.motor() == "off"

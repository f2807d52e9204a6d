"""A spool that its brake can hardly slow down rests at its first stop as well as at its last. The machine judges.

The seed is printed; REELWRIGHT_SEED repeats a run, REELWRIGHT_HEAVY_WINDS (else 40, run with 800) makes it longer.
"""

from __future__ import annotations

import math
import os
import random
from typing import TYPE_CHECKING

from reelwright.simulator.spec import SimulatorOptions
from simulated.heavy_spools import heavy_job
from simulated.random_jobs import task, wound
from simulated.winds import Bench
from windcore.transitions import DRIVEN
from windlink.codes import FINISHED
from windlink.job import POSITION

if TYPE_CHECKING:
    from pathlib import Path

SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
WINDS = int(os.environ.get("REELWRIGHT_HEAVY_WINDS", "40"))


def test_a_heavy_spool_rests_within_a_pulse_of_each_stop_from_the_first_on(tmp_path: Path) -> None:
    """All but a rare one: a spool that stuck on its way in and breaks loose at the stop may go two pulses past it.

    That was one of 6,720 stops in 42 series of 40 winds.
    """
    print(f"seed {SEED}")
    stops, two_past = 0, 0
    draw = random.Random(f"{SEED} heavy")
    jobs = [heavy_job(draw) for _ in range(WINDS)]
    tasks = [task(job, SimulatorOptions(seed=draw.randrange(1 << 30))) for job in jobs]
    for number, (job, given, truth) in enumerate(zip(jobs, tasks, wound(tmp_path, tasks), strict=True)):
        told = f"wind {number}, seed {SEED}: {job.machine.pulses_per_turn} ppr, {job.machine.max_spool_rpm} rpm"
        assert truth["state"] == FINISHED, told
        assert [rest["stop"] for rest in truth["rests"]] == given["spec"]["stops"], told
        late = [rest["passed"] - rest["stop"] for rest in truth["rests"]]
        assert all(-1 <= each <= 2 for each in late), (told, late)
        stops += len(late)
        two_past += late.count(2)
    print(f"{two_past} of {stops} stops were passed by two pulses")
    assert two_past <= 1 + stops // 200, SEED


def test_the_lag_that_is_learned_on_the_way_up_is_that_of_the_machine() -> None:
    print(f"seed {SEED}")
    draw = random.Random(f"{SEED} lag")
    for _ in range(5):
        job = heavy_job(draw)
        given = task(job, SimulatorOptions(seed=draw.randrange(1 << 30)))
        bench = Bench(given["spec"], given["values"])
        while bench.session.state in DRIVEN and not bench.session.motion.slows():
            bench.step()
        shaft = bench.plant._shaft
        motor = shaft.motor
        # a motor's mechanical time constant, J R / k^2, and its loss of speed under a load, T R / k^2: textbooks
        truth_s = motor.inertia_kg_m2 * motor.resistance_ohm / motor.constant**2
        load_nm = shaft.friction.breakaway_nm + bench.plant.tension_n * job.take_up.barrel_diameter_mm / 2000
        lost_rpm = load_nm * motor.resistance_ohm / motor.constant**2 / (2 * math.pi) * 60
        planned_s = bench.session.motion.brake.lag_ms / 1000
        # never too short; longer by the load, which is taken for inertia, by a rate that is a window old, by the margin
        longer_s = lost_rpm / job.machine.acceleration_rpm_s + 0.1
        assert truth_s < planned_s < 1.5 * (truth_s + longer_s), (SEED, job.machine)


class WeakBridge:
    """A bridge that shorts its motor in one step of `period` and lets it coast in the others."""

    def __init__(self, bench: Bench, period: int) -> None:
        self._drive = bench.plant._shaft.step
        self._period = period
        self._steps = 0
        bench.plant._shaft.step = self.step

    def step(self, duty: int, brake: int, pull_nm: float) -> float:
        """One step of the shaft."""
        self._steps += 1
        coasts = duty <= 1 and self._steps % self._period
        return self._drive(0 if coasts else duty, 0 if coasts else brake, pull_nm)


def test_a_brake_that_is_weaker_than_the_drive_is_given_more_time_after_a_stop_that_it_ran_over() -> None:
    print(f"seed {SEED}")
    draw = random.Random(f"{SEED} weak bridge")
    first, last = 0, 0
    for _ in range(8):
        job = heavy_job(draw)
        given = task(job, SimulatorOptions(seed=draw.randrange(1 << 30)))
        given["values"][POSITION["overrun_pulses"]] = 100000  # this is not about the trip
        bench = Bench(given["spec"], given["values"])
        WeakBridge(bench, 3)
        truth = bench.wind()
        assert truth["state"] == FINISHED, (SEED, truth)
        late = [rest["passed"] - rest["stop"] for rest in truth["rests"]]
        print(late)
        first += late[0]
        last += late[-1]
    print(f"{first} pulses past the first stops, {last} past the last ones")
    # two stops teach enough; a pulse at each is what a sound brake may miss too
    assert last <= 8 + first / 4, SEED

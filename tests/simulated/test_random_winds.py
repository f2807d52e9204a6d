"""Two hundred random winds of the firmware on the simulated machine. The machine's truth is the judge.

The seed is printed; REELWRIGHT_SEED repeats a run.
"""

from __future__ import annotations

import os
import random
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.simulator.spec import SimulatorOptions
from simulated.random_jobs import random_job, task, wound
from simulated.winds import MOST_STEPS, Bench
from windcore.transitions import DRIVEN
from windlink.codes import FINISHED, TRIPPED, WAITING

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.job import Job

WINDS = {"dc": 120, "hand": 60, "stepper": 20}
SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)


def wind_all(folder: Path, drive: str) -> list[tuple[Job, dict[str, Any], dict[str, Any]]]:
    """Every wind of a drive: its job, what the winder was given, what truly happened."""
    print(f"seed {SEED}")
    draw = random.Random(f"{SEED} {drive}")
    jobs = [random_job(draw, drive, draw.choice(("single", "quadrature"))) for _ in range(WINDS[drive])]
    tasks = [task(job, SimulatorOptions(seed=draw.randrange(1 << 30))) for job in jobs]
    return list(zip(jobs, tasks, wound(folder, tasks), strict=True))


@pytest.mark.parametrize("drive", ["dc", "stepper"])
def test_a_driven_wind_rests_within_a_pulse_of_every_stop_and_of_its_target(tmp_path: Path, drive: str) -> None:
    for number, (job, given, truth) in enumerate(wind_all(tmp_path, drive)):
        told = (
            f"wind {number}, seed {SEED}: {job.machine.pulses_per_turn} ppr, {job.machine.max_spool_rpm} rpm: {truth}"
        )
        assert truth["state"] == FINISHED, told
        assert [rest["stop"] for rest in truth["rests"]] == given["spec"]["stops"], told
        for rest in truth["rests"]:
            assert abs(rest["passed"] - rest["stop"]) <= 1, told
            assert rest["count"] == rest["passed"], told
        assert truth["rests"][-1]["peak"] <= 1, told


def test_a_hand_wind_passes_its_stops_and_counts_every_pulse_of_it(tmp_path: Path) -> None:
    overshoots = []
    for number, (job, given, truth) in enumerate(wind_all(tmp_path, "hand")):
        told = (
            f"wind {number}, seed {SEED}: {job.machine.pulses_per_turn} ppr, {job.machine.max_spool_rpm} rpm: {truth}"
        )
        assert truth["state"] == FINISHED, told
        rested = [rest["stop"] for rest in truth["rests"]]
        # a hand that overshoots may pass the next stop too, and then rests once for both
        passed = [stop for stop in given["spec"]["stops"] if stop not in rested]
        assert sorted(rested + passed) == given["spec"]["stops"], told
        assert all(any(rest["stop"] < stop <= rest["count"] for rest in truth["rests"]) for stop in passed), told
        for rest in truth["rests"]:
            assert rest["count"] == rest["passed"] >= rest["stop"], told
            overshoots.append(rest["count"] - rest["stop"])
        # a person who sees the lamp stops within half a turn
        assert truth["rests"][-1]["peak"] <= 1 + job.machine.pulses_per_turn / 2, told
    assert max(overshoots) > 1, "no person stops on the pulse: the hand is too good to be true"


@pytest.mark.parametrize("drive", ["dc", "stepper", "hand"])
def test_a_winder_that_says_that_it_waits_or_has_finished_truly_stands(drive: str) -> None:
    print(f"seed {SEED}")
    draw = random.Random(f"{SEED} standing {drive}")
    rests = 0
    for _ in range(8):
        job = random_job(draw, drive, draw.choice(("single", "quadrature")))
        given = task(job, SimulatorOptions(seed=draw.randrange(1 << 30)))
        bench = Bench(given["spec"], given["values"])
        session = bench.session
        while session.state not in (FINISHED, TRIPPED):
            turning = session.state in DRIVEN
            bench.step()
            if turning and session.state in (WAITING, FINISHED):
                rests += 1
                assert bench.plant.speed == 0.0, (SEED, job.machine)
            if session.state == WAITING:
                session.go_on(session.wait)
            assert bench.steps < MOST_STEPS
    print(f"{rests} rests, each a true one")
    assert rests >= 8

"""Jobs drawn at random for the simulated machine, with the values that the firmware takes."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from interpreters import CPYTHON, MICROPYTHON, has_micropython, run_script
from reelwright.device.job_values import job_values
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.winding.job import Job, Machine, Strand, TakeUp, Target
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    import random
    from typing import Any

WINDS_SCRIPT = Path(__file__).with_name("winds.py")
PROCESSES = 2
PULSES_PER_TURN = (1, 2, 3, 4, 6, 10, 20, 36, 60, 100, 180, 360, 500, 600)


def random_job(draw: random.Random, drive: str, sensor: str) -> Job:
    """Any spool, strand, sensor and speed of a small workshop; short, so that many can be wound."""
    diameter = draw.choice((1.75, 2.85))
    barrel = draw.uniform(30, 120)
    layer_turns = draw.choice((Fraction(174, 5), Fraction(draw.randint(41, 230), 7)))
    max_rpm = round(math.exp(draw.uniform(math.log(30), math.log(120 if drive == "hand" else 300))), 1)
    turns = Fraction(draw.randint(20, 400), 10)
    return Job(
        take_up=TakeUp(
            barrel_diameter_mm=round(barrel, 1),
            flange_diameter_mm=round(barrel + draw.uniform(60, 150), 1),
            inside_width_mm=round(float(layer_turns) * diameter * 1.02 + diameter, 2),
            empty_mass_g=round(draw.uniform(80, 400), 0),
        ),
        strand=Strand(diameter_mm=diameter, density_g_cm3=1.24),
        machine=Machine(
            pulses_per_turn=draw.choice((draw.choice(PULSES_PER_TURN), draw.randint(1, 600))),
            turns_per_layer=layer_turns,
            phase_turns=draw.choice((None, Fraction(draw.randint(2, 30), 10))),
            sensor=sensor,
            drive=drive,
            steps_per_spool_turn=Fraction(3200) if drive == "stepper" else None,
            max_spool_rpm=max_rpm,
            acceleration_rpm_s=round(draw.uniform(30, 120), 1),
            back_tension_n=round(draw.uniform(0.5, 3.0), 2),
            on_link_loss="wind_on",
        ),
        target=Target(turns=turns, pause_every_layer=True),
    )


def task(job: Job, options: SimulatorOptions) -> dict[str, Any]:
    """What `winds.py` takes."""
    plan = make_plan(job)
    return {"spec": machine_spec(job, plan, options), "values": job_values(job, plan)}


def wound(folder: Path, tasks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What truly happened in each task, wound by the firmware in the folder."""
    interpreter = MICROPYTHON if has_micropython else CPYTHON

    def wind_share(share: int) -> list[dict[str, Any]]:
        path = folder / f"{share}.json"
        path.write_text(json.dumps(tasks[share::PROCESSES]), encoding="utf-8")
        printed = run_script(interpreter, WINDS_SCRIPT, path, timeout_s=120 + 2 * len(tasks))
        return [json.loads(line) for line in printed.splitlines()]

    with ThreadPoolExecutor(PROCESSES) as pool:
        shares = list(pool.map(wind_share, range(PROCESSES)))
    return [shares[number % PROCESSES][number // PROCESSES] for number in range(len(tasks))]

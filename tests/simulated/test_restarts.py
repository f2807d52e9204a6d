"""Winds with a restart at a random moment: once resumed, they are off by no more than was declared uncertain.

The machine's truth is the judge. The suite takes a sample; REELWRIGHT_RESTARTS=200 takes as many. The seed is
printed; REELWRIGHT_SEED repeats a run.
"""

from __future__ import annotations

import math
import os
import random
from itertools import pairwise
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.errors import EXIT_DONE, EXIT_PAUSED, EXIT_TRIPPED
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.winding.plan import make_plan
from simulated.lockstep import RESTART_PERIODS, HostBench, LockstepWinder
from simulated.random_jobs import random_job
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path


SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
WINDS = int(os.environ.get("REELWRIGHT_RESTARTS", "24"))
KINDS = ("hang", "soft_reset", "power_dip", "power_cut")
OVERSHOOT_TURNS = 2  # more than a hand goes beyond a stop
DRIVES = ("dc", "dc", "stepper", "hand")


@frozen
class Told:
    """One restart: what was declared of it, and what is true."""

    kind: str
    drive: str
    at_rest: bool
    source: int
    uncertain_turns: float
    error_turns: float
    end_error_turns: float


def wound_with_a_restart(folder: Path, draw: random.Random, number: int) -> Told:
    """One whole wind with one restart, while it turns or while it waits."""
    drive = draw.choice(DRIVES)
    kind = KINDS[number % len(KINDS)]
    job = random_job(draw, drive, draw.choice(("single", "quadrature")))
    plan = make_plan(job)
    # a spool that comes to rest beyond the next stop does not wait at it
    ends = [*(pulses for pulses, _ in plan.stops), plan.target_pulses]
    apart = [stop for stop, following in pairwise(ends) if plan.turns_at(following - stop) > OVERSHOOT_TURNS]
    waits = bool(apart) and draw.random() < 0.4
    # the first slot may stand anywhere, so the target may be reached almost a pulse early
    strikes_at = plan.turns_at(plan.target_pulses - 1) * draw.uniform(0.0, 0.98)
    faults = () if waits else ((kind, strikes_at),)
    spec = machine_spec(job, plan, SimulatorOptions(seed=draw.randrange(1 << 30), faults=faults))
    with LockstepWinder(spec) as winder, SqliteLedger(folder / f"{number}.sqlite3", now=winder.now) as ledger:
        bench = HostBench(winder, job, plan, ledger)
        # the first slot may stand anywhere
        at_stop = draw.choice(apart) - 1 if waits else math.inf
        while (code := bench.wind()) == EXIT_PAUSED:
            if bench.true_pulses >= at_stop:
                winder.pass_periods(draw.randrange(200))
                winder.strike(kind)
                winder.pass_periods(RESTART_PERIODS)
                break
        else:
            assert code == EXIT_TRIPPED, (number, code)
        rejoin, error, code = bench.resume()
        while code == EXIT_PAUSED:
            code = bench.wind()
        assert code == EXIT_DONE, (number, code)
        result = bench.view.results[-1]
        source = rejoin.memory.source if rejoin.memory else codes.FROM_NOWHERE
        turns = plan.turns_at
        assert result.uncertain_turns == rejoin.uncertain_turns
        end_error = bench.true_pulses - result.counted_pulses
        return Told(kind, drive, waits, source, rejoin.uncertain_turns, turns(error), turns(end_error))


def test_after_a_restart_the_total_is_off_by_no_more_than_was_declared(tmp_path: Path) -> None:
    print(f"seed {SEED}")
    draw = random.Random(f"{SEED} restarts")
    told = [wound_with_a_restart(tmp_path, draw, number) for number in range(WINDS)]
    for number, each in enumerate(told):
        assert abs(each.error_turns) <= each.uncertain_turns + 1e-9, (number, SEED, each)
        assert abs(each.end_error_turns) <= each.uncertain_turns + 1e-9, (number, SEED, each)
        if each.at_rest:
            assert each.uncertain_turns == each.error_turns == each.end_error_turns == 0, (number, SEED, each)
    for kind in KINDS:
        of_kind = [each for each in told if each.kind == kind and not each.at_rest]
        if of_kind:
            print(
                f"{kind}: {len(of_kind)} while turning, declared up to {max(e.uncertain_turns for e in of_kind):.2f}"
                f" turns either way, truly off by up to {max(abs(e.end_error_turns) for e in of_kind):.2f}"
            )
    print(f"{sum(each.at_rest for each in told)} at rest: declared 0, truly off by 0")

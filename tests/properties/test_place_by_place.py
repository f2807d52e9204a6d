"""Random winds, planned and reckoned place by place at 50 digits.

The seed is printed; REELWRIGHT_SEED repeats a run, REELWRIGHT_CASES says how many winds: the suite takes 2,000, and ten
thousand take half a minute of one core.
"""

from __future__ import annotations

import os
import random
from fractions import Fraction
from math import pi
from typing import TYPE_CHECKING, Any

import pytest
from attrs import evolve

from properties.place_by_place import Winder, laid, mass_g, number, turns_of_layers, turns_to_fill, winder_of
from reelwright.winding.job import ImpossibleJobError, Job, Lay, Machine, Strand, TakeUp, Target
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from mpmath import mpf

    from reelwright.winding.planned import Plan

CASES = int(os.environ.get("REELWRIGHT_CASES", "2000"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
SHARES = 4  # for as many processes as there may be
RELATIVE = 1e-12
BACK_TURNS = 1e-9


def random_machine(draw: random.Random) -> Machine:
    layer = Fraction(draw.randint(50, 4000), draw.randint(7, 40))
    dwell = draw.choice((Fraction(0), layer * Fraction(draw.randint(0, 99), 100), Fraction(draw.randint(1, 200), 100)))
    phase = draw.choice((None, layer * Fraction(draw.randint(1, 1000), 1000), Fraction(draw.randint(1, 99), 100)))
    return Machine(
        pulses_per_turn=60,
        turns_per_layer=layer,
        dwell_turns=dwell if dwell < layer else Fraction(0),
        phase_turns=phase if phase is None or phase <= layer else None,
    )


def random_target(draw: random.Random, spool: TakeUp, turns: Fraction, machine: Machine) -> Target:
    """So many turns, said in one of the ways that a job has."""
    about_m = pi * spool.barrel_diameter_mm * float(turns) / 1000
    ends = {name: draw.choice((0.0, draw.uniform(0, 0.3) * about_m)) for name in ("leader_m", "tail_m")}
    asked: dict[str, Any] = draw.choice(
        (
            {"turns": turns},
            {"layers": turns / machine.layer_turns + draw.randint(0, 3)},
            {"length_m": about_m},
            {"mass_g": draw.uniform(1, 5) * about_m},
            {"flange_margin_mm": draw.uniform(0, 5)},
        )
    )
    if "layers" in asked or "flange_margin_mm" in asked:
        ends = dict.fromkeys(ends, 0.0)  # which may be all that a short first pass lays
    return Target(**asked, **ends)


def random_wind(draw: random.Random) -> Job:
    """Any spool, strand, lay and start, up to forty layers."""
    machine = random_machine(draw)
    first = draw.uniform(0.3, 4)
    second = draw.choice((None, first * draw.uniform(0.8, 1.25)))
    mean = first if second is None else (first + second) / 2
    barrel = draw.uniform(10, 200)
    spool = TakeUp(barrel, barrel + 2 * mean * draw.uniform(8, 40), 1000.0)
    travel = float(machine.layer_turns - machine.dwell_turns)
    turns = machine.layer_turns * Fraction(draw.randint(1, 40_000), 1000)
    rise: Any = draw.choice(("crossing", "nested", "stacked", draw.uniform(0.5, 1.2)))
    stroke = mean * draw.uniform(0.5, 1.73 if rise == "nested" else 2) * travel
    return Job(
        take_up=spool,
        strand=Strand(first, density_g_cm3=draw.uniform(0.9, 1.5), second_diameter_mm=second),
        machine=evolve(machine, stroke_mm=stroke),
        target=random_target(draw, spool, turns, machine),
        lay=Lay(rise),
    )


def off(planned: float | None, true: mpf) -> float:
    """Relative difference."""
    assert planned is not None
    return float(abs(planned - true) / true)


def check_turns(plan: Plan, winder: Winder) -> None:
    """Where the target says turns in any way, the turns are exactly those."""
    target = plan.job.target
    if target.turns is not None:
        assert plan.exact_turns == target.turns
    if target.layers is not None:
        assert plan.exact_turns == turns_of_layers(winder, target.layers)
    if target.flange_margin_mm is not None:
        assert plan.exact_turns == turns_to_fill(winder, Fraction(target.flange_margin_mm))


def check_layers(plan: Plan, winder: Winder) -> None:
    """Some layer's end, told in the plan's table."""
    row = plan.layers[plan.target_pulses % len(plan.layers)]
    end = min(turns_of_layers(winder, Fraction(row.layer)), plan.exact_turns)
    length_mm, outer_mm = laid(winder, end)
    assert off(row.cumulative_length_m, length_mm / 1000) < RELATIVE
    assert off(row.diameter_mm, outer_mm) < RELATIVE


def check_wind(job: Job) -> None:
    winder, target = winder_of(job), job.target
    if target.flange_margin_mm is not None and not turns_to_fill(winder, Fraction(target.flange_margin_mm)):
        with pytest.raises(ImpossibleJobError, match="no room"):
            make_plan(job)
        return
    plan = make_plan(job)
    check_turns(plan, winder)
    wound_mm, outer_mm = laid(winder, plan.exact_turns)
    counted_mm = wound_mm - 1000 * (number(Fraction(target.leader_m)) + number(Fraction(target.tail_m)))
    check_layers(plan, winder)
    density = Fraction(job.strand.density_g_cm3 or 0)
    assert off(plan.wound_length_m, wound_mm / 1000) < RELATIVE
    assert off(plan.length_m, counted_mm / 1000) < RELATIVE
    assert off(plan.fit.outer_diameter_mm, outer_mm) < RELATIVE
    assert off(plan.mass_g, mass_g(winder, density, counted_mm)) < RELATIVE
    assert off(plan.wound_mass_g, mass_g(winder, density, wound_mm)) < RELATIVE
    if target.length_m is not None:
        assert off(target.length_m, counted_mm / 1000) < RELATIVE
    if target.mass_g is not None:
        assert off(target.mass_g, mass_g(winder, density, counted_mm)) < RELATIVE
    back = make_plan(
        Job(
            job.take_up,
            job.strand,
            job.machine,
            Target(length_m=plan.length_m, leader_m=target.leader_m, tail_m=target.tail_m),
            job.lay,
        )
    )
    assert abs(back.exact_turns - plan.exact_turns) < BACK_TURNS


@pytest.mark.parametrize("share", range(SHARES))
def test_every_plan_is_what_lies_on_the_spool_place_by_place(share: int) -> None:
    print(f"seed {SEED}, share {share} of {SHARES}, {CASES} winds in all")
    draw = random.Random(f"{SEED} {share}")
    for number_of_case in range(CASES // SHARES):
        job = random_wind(draw)
        try:
            check_wind(job)
        except Exception as failure:
            failure.add_note(f"wind {number_of_case} of share {share}, seed {SEED}: {job}")
            raise

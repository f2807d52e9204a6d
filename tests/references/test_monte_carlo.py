"""The error bars against a Monte Carlo of JCGM 101, which propagates distributions and knows no derivatives.

JCGM 101:2008, clause 8: the ends of both intervals of the same coverage must agree within the numerical tolerance
delta, half a unit in the last of the digits that the standard uncertainty is stated with (7.9.2), one or two of them.
The trials follow 7.2: at least 10^4 / (1 - p). (Clause numbers from memory.) REELWRIGHT_TRIALS raises their number.
With 250,000 an end of an interval scatters by 0.006 u by itself, so the seed is fixed, and the lengths are such that
u begins with a low digit, which makes delta several times that.
"""

from __future__ import annotations

import os
import random
from fractions import Fraction
from math import erf, floor, log10, pi, sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from properties.place_by_place import turns_by_height, winder_of
from reelwright.winding.lay import default_rise_u
from winding_jobs import plan_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.winding.planned import Plan
    from reelwright.winding.uncertainty import Estimate

TRIALS = int(os.environ.get("REELWRIGHT_TRIALS", "250000"))
COVERAGE_FACTOR = 2
COVERED = erf(COVERAGE_FACTOR / sqrt(2))  # 95.45 % of a normal distribution
assert TRIALS >= 1e4 / (1 - COVERED)


class Draws(NamedTuple):
    """What one trial draws."""

    barrel_mm: float
    strand_mm: float
    rise: float
    count_turns: float
    ends_mm: float
    density_g_cm3: float


def trials(plan: Plan, draw: random.Random) -> Iterator[Draws]:
    """Every input from the distribution that its uncertainty stands for; a count and an end mark are even spreads."""
    job = plan.job
    pulse = 1 / float(job.machine.pulses_per_spool_turn)
    ends = [17.3 for length_m in (job.target.leader_m, job.target.tail_m) if length_m]  # a mark within 17 mm
    rise_u = job.lay.rise_u or default_rise_u(job.lay.rise, plan.coil.pitch_mm, job.strand.mean_diameter_mm)
    for _ in range(TRIALS):
        yield Draws(
            draw.gauss(job.take_up.barrel_diameter_mm, job.take_up.barrel_diameter_u_mm),
            draw.gauss(job.strand.mean_diameter_mm, job.strand.diameter_u_mm),
            draw.gauss(plan.rise_factor, rise_u),
            (draw.random() + draw.random() + draw.random() - 1.5) * pulse,
            sum(draw.uniform(-end, end) for end in ends),
            draw.gauss(job.strand.density_g_cm3 or 0, job.strand.known_density_u_g_cm3),
        )


def simulated(plan: Plan, seed: int) -> tuple[list[float], list[float]]:
    """Lengths in mm and masses in g of all trials, sorted."""
    job, winder = plan.job, winder_of(plan.job)
    heaps = [(*key, float(turns)) for key, turns in turns_by_height(winder, plan.exact_turns).items()]
    (at_the_end,) = growing(plan)
    square = plan.coil.pitch_mm**2
    ends_mm = 1000 * (job.target.leader_m + job.target.tail_m)
    apart = job.strand.diameter_mm - job.strand.mean_diameter_mm
    lengths, masses = [], []
    for each in trials(plan, random.Random(seed)):
        inner, rise = pi * (each.barrel_mm + each.strand_mm), 2 * pi * each.rise * each.strand_mm
        length = each.ends_mm - ends_mm + each.count_turns * (inner + at_the_end * rise)
        for height, standing, turns in heaps:
            around = inner + height * rise
            length += turns * (around if standing else sqrt(around * around + square))
        lengths.append(length)
        masses.append(each.density_g_cm3 * 1e-3 * pi / 4 * (each.strand_mm**2 - apart**2) * length)
    return sorted(lengths), sorted(masses)


def growing(plan: Plan) -> set[int]:
    """The height on which the next bit of strand comes to lie."""
    now, soon = (
        turns_by_height(winder_of(plan.job), plan.exact_turns + more) for more in (Fraction(0), Fraction(1, 10**6))
    )
    return {height for (height, standing), turns in soon.items() if turns > now.get((height, standing), 0)}


def tolerance(u: float, digits: int) -> float:
    """Delta: half a unit in the last digit of u stated with so many digits (7.9.2)."""
    return 0.5 * 10.0 ** (floor(log10(u)) - digits + 1)


def interval(values: list[float]) -> tuple[float, float]:
    """The probabilistically symmetric coverage interval (7.7)."""
    tail = (1 - COVERED) / 2
    return values[round(tail * len(values))], values[round((1 - tail) * len(values)) - 1]


def differences(estimate: Estimate, values: list[float]) -> tuple[float, float]:
    """Between the ends of both intervals (8.1)."""
    low, high = interval(values)
    return abs(estimate.value - COVERAGE_FACTOR * estimate.u - low), abs(
        estimate.value + COVERAGE_FACTOR * estimate.u - high
    )


MEASURED = {"strand": {"diameter_u_mm": 0.005, "density_u_g_cm3": 0.01}, "lay": {"rise": 0.94, "rise_u": 0.01}}
JOBS: dict[str, dict[str, Any]] = {
    "everything by default": {},
    "a measured strand and rise": MEASURED | {"target": {"length_m": 80}},
    "many layers of oval strand": MEASURED
    | {"target": {"layers": "49/2"}, "strand": {"second_diameter_mm": 1.85, "diameter_u_mm": 0.005}},
    "a coarse sensor, a dwell and a start between the flanges": {
        "machine": {"pulses_per_turn": 1, "dwell_turns": 1, "phase_turns": "83/10"},
        "target": {"length_m": 6},
    },
    # of a metre the two marks are all, and two even spreads make a triangle and no normal distribution
    "a length with leader and tail": MEASURED | {"target": {"length_m": 70, "leader_m": 0.3, "tail_m": 0.3}},
}
# digits to which the law of propagation holds for the mass, whose square of the diameter is not straight over 2 %
MASS_DIGITS = {"everything by default": 1, "a coarse sensor, a dwell and a start between the flanges": 1}


@pytest.mark.parametrize("name", JOBS)
def test_the_interval_of_a_plan_is_that_of_a_monte_carlo(name: str) -> None:
    plan = plan_of(**JOBS[name])
    assert plan.mass is not None
    lengths, masses = simulated(plan, seed=101)
    for estimate, values, digits in ((plan.length, lengths, 2), (plan.mass, masses, MASS_DIGITS.get(name, 2))):
        delta = tolerance(estimate.u, digits)
        told = f"{name}: {[off / estimate.u for off in differences(estimate, values)]} u, delta {delta / estimate.u} u"
        print(told)
        assert max(differences(estimate, values)) <= delta, told

"""A thousand winds whose strand, spool and end marks are truly other than planned: does the error bar hold the truth?

The truth is the simulated machine's own spool and sensor, taken to the planned count. What is true is drawn from what
the job states: from the bell that a standard uncertainty stands for, from the triangle of a lay model, evenly within
a pulse or a hand's mark. An error bar that holds 100 % would be as wrong as one that holds 90 %.

REELWRIGHT_WINDS says how many are wound by the whole firmware, drive and all.
"""

from __future__ import annotations

import os
import random
from fractions import Fraction
from math import pi
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import evolve

from plant.chance import Chance
from plant.sensor import SlotSensor
from plant.spools import TakeUp
from reelwright.simulator.spec import SimulatorOptions
from reelwright.winding.cut_list import CutRules
from reelwright.winding.cut_plan import CutList, PayOffSpool, WantedLength
from reelwright.winding.job import Job, Lay, Machine, PayOff, Strand, Target
from reelwright.winding.job import TakeUp as EmptySpool
from reelwright.winding.lay import NESTED, STACKED, rise_factor
from reelwright.winding.plan import make_plan
from reelwright.winding.source import check_source
from simulated.random_jobs import task, wound
from windlink.codes import FINISHED

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.planned import Plan

# fixed unless it is asked for: by chance alone one seed in twenty falls out of the range
SEED = int(os.environ.get("REELWRIGHT_SEED", "1000"))
WINDS = 1000
FIRMWARE_WINDS = int(os.environ.get("REELWRIGHT_WINDS", "12"))
TARE_G = 200.0
MARK_MM = 17.3  # to which a hand marks the end of a leader or tail


class Truth(NamedTuple):
    """What a job's inputs truly are."""

    barrel_mm: float
    strand_mm: float
    rise: float
    density_g_cm3: float
    marks_mm: float


def random_job(draw: random.Random) -> Job:
    """A spool, strand and winder of a small workshop; the strand measured or of the common kind, the rise likewise."""
    diameter = draw.choice((1.75, 2.85))
    second = draw.choice((None, diameter * draw.uniform(0.97, 1.03)))
    layer = Fraction(draw.randint(100, 250), 7)
    dwell = draw.choice((Fraction(0), Fraction(draw.randint(1, 20), 10)))
    pitch = diameter * draw.uniform(1.0, 1.2)
    barrel = draw.uniform(40, 120)
    rise, rise_u = draw.choice(
        (("crossing", None), ("crossing", None), ("nested", None), ("stacked", None), (0.93, None), (0.96, 0.004))
    )
    return Job(
        take_up=EmptySpool(barrel, barrel + 160, 1000.0, barrel_diameter_u_mm=draw.choice((0.05, 0.1, 0.3))),
        strand=Strand(
            diameter,
            draw.choice((0.005, 0.02, 0.03)),
            1.24,
            draw.choice((None, 0.005)),
            second_diameter_mm=second,
        ),
        machine=Machine(
            pulses_per_turn=draw.choice((1, 2, 10, 60)),
            turns_per_layer=layer,
            stroke_mm=pitch * float(layer - dwell),
            dwell_turns=dwell,
            phase_turns=draw.choice((None, layer * Fraction(draw.randint(1, 99), 100))),
            max_spool_rpm=300.0,
            on_link_loss="wind_on",
        ),
        target=Target(
            turns=layer * Fraction(draw.randint(10, 300), 20),
            leader_m=draw.choice((0.0, 0.5)),
            tail_m=draw.choice((0.0, 0.5)),
        ),
        lay=Lay(rise, rise_u),
    )


def random_truth(draw: random.Random, plan: Plan) -> Truth:
    """What the job's statements leave open."""
    job, pitch_mm = plan.job, plan.coil.pitch_mm
    strand_mm = job.strand.mean_diameter_mm
    ends = [rise_factor(model, pitch_mm, strand_mm) for model in (NESTED, STACKED)]
    if isinstance(job.lay.rise, str):
        rise = draw.triangular(*ends, plan.rise_factor)
    else:
        rise = draw.gauss(plan.rise_factor, job.lay.rise_u or 0.01)
    marks = sum(length_m > 0 for length_m in (job.target.leader_m, job.target.tail_m))
    return Truth(
        draw.gauss(job.take_up.barrel_diameter_mm, job.take_up.barrel_diameter_u_mm),
        draw.gauss(strand_mm, job.strand.diameter_u_mm),
        rise,
        draw.gauss(1.24, job.strand.known_density_u_g_cm3),
        sum(draw.uniform(-MARK_MM, MARK_MM) for _ in range(marks)),
    )


def spool_of(plan: Plan, truth: Truth) -> TakeUp:
    """The simulated machine's spool."""
    machine = plan.job.machine
    return TakeUp(
        truth.barrel_mm,
        plan.job.stroke_mm,
        float(plan.layer_turns),
        float(plan.first_pass_turns),
        truth.strand_mm,
        truth.rise,
        float(machine.dwell_turns),
    )


def turns_at_rest(plan: Plan, draw: random.Random) -> float:
    """Where the spool stands when the simulated sensor has counted the target: anywhere before the next pulse."""
    slots = float(plan.pulses_per_spool_turn)
    sensor = SlotSensor(slots, 1, Chance(draw.randrange(1, 1 << 30)))
    turns = (plan.target_pulses - 2) / slots
    sensor.turn_to(turns)
    while sensor.count < plan.target_pulses:
        turns += 0.01 / slots
        sensor.turn_to(turns)
    return turns + draw.random() / slots


def held(plan: Plan, truth: Truth, wound_mm: float) -> tuple[bool, bool]:
    """Whether length and mass of the counted strand truly lie in the plan's intervals."""
    job = plan.job
    length_mm = wound_mm - 1000 * (job.target.leader_m + job.target.tail_m) - truth.marks_mm
    apart_mm = job.strand.diameter_mm - job.strand.mean_diameter_mm
    section_mm2 = pi / 4 * (truth.strand_mm**2 - apart_mm**2)
    mass_g = length_mm * section_mm2 * truth.density_g_cm3 / 1000
    assert plan.mass is not None
    return (
        abs(length_mm - plan.length.value) <= plan.length.expanded_u,
        abs(mass_g - plan.mass.value) <= plan.mass.expanded_u,
    )


def shares(found: list[tuple[bool, bool]]) -> tuple[float, float]:
    lengths, masses = zip(*found, strict=True)
    return sum(lengths) / len(found), sum(masses) / len(found)


def test_the_true_length_and_mass_lie_in_the_interval_in_94_to_97_of_100_winds() -> None:
    # 1,000 draws of 95.4 % scatter by 0.7 %, so the seed is fixed
    draw = random.Random(SEED)
    found = []
    for _ in range(WINDS):
        plan = make_plan(random_job(draw))
        truth = random_truth(draw, plan)
        spool = spool_of(plan, truth)
        spool.turn_to(turns_at_rest(plan, draw))
        found.append(held(plan, truth, spool.length_mm))
    print(f"seed {SEED}: {shares(found)}")
    for share in shares(found):
        assert 0.94 <= share <= 0.97


def cut_to_the_end(plan: Plan) -> tuple[Plan, float]:
    """The wind of a cut list that takes all that a weighed pay-off spool surely gives, and the mass on the scale."""
    job, ends_m = plan.job, plan.job.target.ends_m
    net_g = max(plan.wound_mass_g or 0.0, 30.0)
    pay_off = PayOff(gross_mass_g=TARE_G + net_g, empty_mass_g=TARE_G)
    check = check_source(pay_off, job.strand, 0.0)
    assert check is not None
    length_m = check.held_m - ends_m
    for _ in range(2):  # a shorter wind is less sure by its share
        target = Target(length_m=length_m, leader_m=job.target.leader_m, tail_m=job.target.tail_m)
        wanted = WantedLength("", evolve(job, target=target), 0)
        cut_list = CutList(CutRules(), (PayOffSpool("", pay_off, job.strand, check),), (wanted,))
        length_m = cut_list.sure_mm(0) / 1000 - ends_m
    return make_plan(evolve(job, target=evolve(target, length_m=length_m))), net_g


def test_a_spool_that_a_cut_list_takes_to_its_end_runs_out_in_one_to_four_of_100_winds() -> None:
    # k = 2 on one side leaves 2.3 %, and 1,000 draws of it scatter by 0.5 %, so the seed is fixed
    draw = random.Random(SEED + 2)
    short = 0
    for _ in range(WINDS):
        plan, net_g = cut_to_the_end(make_plan(random_job(draw)))
        truth = random_truth(draw, plan)
        spool = spool_of(plan, truth)
        spool.turn_to(turns_at_rest(plan, draw))
        apart_mm = plan.job.strand.diameter_mm - plan.job.strand.mean_diameter_mm
        section_mm2 = pi / 4 * (truth.strand_mm**2 - apart_mm**2)
        # two weighings, each to a gram
        held_mm = 1000 * (net_g + draw.gauss(0, 1) - draw.gauss(0, 1)) / (section_mm2 * truth.density_g_cm3)
        short += spool.length_mm > held_mm
    print(f"seed {SEED + 2}: {short} of {WINDS} ran out")
    assert 0.01 <= short / WINDS <= 0.04


def task_of(plan: Plan, truth: Truth, seed: int) -> dict[str, Any]:
    """The wind for the whole firmware, on a machine that is what the truth says."""
    options = SimulatorOptions(seed=seed, true_diameter_mm=truth.strand_mm, true_rise=truth.rise)
    given = task(plan.job, options)
    given["spec"]["take_up"]["barrel_diameter_mm"] = truth.barrel_mm
    return given


def test_so_it_is_when_the_firmware_drives_and_stops(tmp_path: Path) -> None:
    draw = random.Random(SEED + 1)
    plans = [make_plan(random_job(draw)) for _ in range(FIRMWARE_WINDS)]
    truths = [random_truth(draw, plan) for plan in plans]
    tasks = [task_of(plan, truth, number) for number, (plan, truth) in enumerate(zip(plans, truths, strict=True))]
    found = []
    for plan, truth, happened in zip(plans, truths, wound(tmp_path, tasks), strict=True):
        assert happened["state"] == FINISHED
        rest, spool = happened["rests"][-1], spool_of(plan, truth)
        spool.turn_to(plan.turns)
        # what the other test takes for granted: the firmware stops within a pulse or two of the planned turns
        pulse_mm = 2 * pi * (spool.radius_mm + 2 * truth.strand_mm) / float(plan.pulses_per_spool_turn)
        assert abs(rest["length_mm"] - spool.length_mm) <= 2 * pulse_mm
        found.append(held(plan, truth, rest["length_mm"]))
    print(f"seed {SEED}, {FIRMWARE_WINDS} winds: {shares(found)}")
    # 12 are a sample of the way, and 1,000 of the share
    least, most = (0.94, 0.97) if FIRMWARE_WINDS >= WINDS else (0.5, 1.0)
    for share in shares(found):
        assert least <= share <= most

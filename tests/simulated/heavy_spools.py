"""Spools whose brake cannot keep the job's deceleration, for the simulated machine."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from reelwright.winding.job import Job, Machine, Strand, TakeUp, Target

if TYPE_CHECKING:
    import random


def heavy_job(draw: random.Random) -> Job:
    """A heavy empty spool with a wide flange on a thin barrel, a fine sensor, and three stops before the target."""
    turns = Fraction(draw.randint(100, 400), 10)
    layer_turns = Fraction(174, 5)
    return Job(
        take_up=TakeUp(
            barrel_diameter_mm=20.0,
            flange_diameter_mm=float(draw.randint(160, 220)),
            inside_width_mm=round(float(layer_turns) * 1.75 * 1.02 + 1.75, 2),
            empty_mass_g=float(draw.randint(1000, 1500)),
        ),
        strand=Strand(diameter_mm=1.75, density_g_cm3=1.24),
        machine=Machine(
            pulses_per_turn=draw.choice((360, 480, 600)),
            turns_per_layer=layer_turns,
            sensor=draw.choice(("single", "quadrature")),
            drive="dc",
            max_spool_rpm=float(draw.randint(100, 300)),
            acceleration_rpm_s=float(draw.randint(60, 240)),
            back_tension_n=round(draw.uniform(0.5, 3.0), 2),
            on_link_loss="wind_on",
        ),
        target=Target(turns=turns, marks_m=tuple(float(0.0628 * turns * share / 4) for share in (1, 2, 3))),
    )

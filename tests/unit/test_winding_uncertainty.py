"""The error bar: right by an outside library, and honest by simulated winds."""

from __future__ import annotations

import math
import random
from fractions import Fraction
from math import pi
from typing import TYPE_CHECKING, Any

import pytest
from uncertainties import ufloat
from uncertainties.umath import sqrt

from reelwright.winding.coil import Coil
from reelwright.winding.lay import default_rise_u, rise_factor
from reelwright.winding.uncertainty import MENDS, half_pulse_u
from winding_jobs import plan_of

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan


RISE_U = default_rise_u("crossing", 61.25 / 34.8, 1.75)


def turn_by_turn(plan: Plan) -> tuple[Any, Any]:
    """Length in mm and mass in g of the plan with every input a variable of `uncertainties`."""
    job = plan.job
    barrel = ufloat(job.take_up.barrel_diameter_mm, 0.1)
    diameter = ufloat(job.strand.diameter_mm, 0.02)
    rise = ufloat(plan.rise_factor, RISE_U)
    counted = ufloat(0, half_pulse_u(60))
    density = ufloat(job.strand.density_g_cm3, 0.02)
    length: Any = 0.0
    for laid, level in plan.coil.stretches(plan.turns):
        around = 2 * pi * ((barrel + diameter) / 2 + level * rise * diameter)
        length += laid * sqrt(around**2 + plan.coil.pitch_mm**2)
    length += counted * plan.coil.turn_length_at_mm(plan.turns)
    return length, density * 1e-3 * pi / 4 * diameter**2 * length


@pytest.mark.parametrize("phase", [None, "37/5"])
def test_the_error_bar_is_that_of_the_uncertainties_library(phase: str | None) -> None:
    plan = plan_of(machine={"phase_turns": phase})
    length, mass = turn_by_turn(plan)
    assert plan.length_u_m * 1000 == pytest.approx(length.std_dev, rel=1e-9)
    assert plan.mass_u_g == pytest.approx(mass.std_dev, rel=1e-9)


def test_the_shares_of_the_inputs_add_up_and_name_what_dominates() -> None:
    plan = plan_of()
    assert plan.mass is not None
    for estimate in (plan.length, plan.mass):
        assert sum(estimate.shares.values()) == pytest.approx(1)
        assert estimate.shares[estimate.dominant] == max(estimate.shares.values())
    assert plan.length.dominant == "rise factor"
    assert plan.mass.dominant == "strand diameter"


def test_a_leader_marked_by_hand_adds_its_own_doubt() -> None:
    assert "leader and tail" in plan_of(target={"leader_m": 1}).length.shares
    assert "leader and tail" not in plan_of().length.shares


def test_a_measured_rise_makes_a_narrower_bar_than_a_modelled_one() -> None:
    assert plan_of(lay={"rise": 0.9566}).length_u_m < plan_of().length_u_m


@pytest.mark.parametrize("pulses_per_turn", [1, 60])
def test_true_winds_lie_inside_the_interval_in_about_95_of_100_cases(pulses_per_turn: int) -> None:
    plan = plan_of(machine={"pulses_per_turn": pulses_per_turn, "phase_turns": "123/10"}, target={"layers": 12})
    draw = random.Random(20)
    inside = 0
    winds = 1500
    for _ in range(winds):
        barrel = draw.gauss(80, 0.1)
        diameter = draw.gauss(1.75, 0.02)
        rise = draw.gauss(plan.rise_factor, RISE_U)
        stopped = plan.turns + draw.uniform(-0.5, 0.5) / pulses_per_turn
        coil = Coil((barrel + diameter) / 2, rise * diameter, plan.coil.pitch_mm, Fraction(174, 5), Fraction(123, 10))
        inside += abs(coil.length_mm(stopped) / 1000 - plan.length_m) <= 2 * plan.length_u_m
    # 95.4 % for a normal distribution; 1,500 draws scatter by 0.55 %
    assert 0.935 < inside / winds < 0.975


def test_what_dominates_is_told_with_its_share_and_its_mend() -> None:
    plan = plan_of()
    assert plan.mass is not None
    share = plan.length.shares["rise factor"]
    assert plan.length.reason("length").startswith(f"The rise factor gives {share:.0%} of the length's uncertainty")
    assert "set lay.rise and lay.rise_u" in plan.length.reason("length")
    assert "measure the strand with a micrometer" in plan.mass.reason("mass")
    assert plan.to_dict()["length_u_reason"] == plan.length.reason("length")


def test_every_input_of_a_length_and_of_a_mass_has_its_mend() -> None:
    plan = plan_of(target={"leader_m": 1})
    assert plan.mass is not None
    assert set(plan.mass.shares) == set(MENDS)
    assert set(plan.length.shares) == set(MENDS) - {"density"}


def test_a_modelled_rise_is_less_sure_the_wider_the_pitch_lets_it_vary() -> None:
    touching, wide = default_rise_u("crossing", 1.75, 1.75), default_rise_u("crossing", 2.1, 1.75)
    assert touching == pytest.approx(0.0320, abs=5e-5)
    assert wide > touching
    assert default_rise_u(0.95, 1.75, 1.75) < touching


@pytest.mark.parametrize("model", ["crossing", "nested", "stacked"])
@pytest.mark.parametrize("pitch", [0.7, 1.0, 1.3])
def test_a_modelled_rise_is_as_unsure_as_draws_from_its_triangle(model: str, pitch: float) -> None:
    draw = random.Random(11)
    peak = rise_factor(model, pitch, 1.0)
    ends = rise_factor("nested", pitch, 1.0), rise_factor("stacked", pitch, 1.0)
    squares = [(draw.triangular(*ends, peak) - peak) ** 2 for _ in range(40_000)]
    # the scatter of the mean square over 40,000 draws is below 1 %
    assert default_rise_u(model, pitch, 1.0) == pytest.approx(math.sqrt(sum(squares) / len(squares)), rel=0.01)


def test_oval_strand_has_the_lay_of_its_mean_and_the_mass_of_its_ellipse() -> None:
    oval = plan_of(strand={"diameter_mm": 1.65, "second_diameter_mm": 1.85}, machine={"stroke_mm": 61.25})
    round_ = plan_of(machine={"stroke_mm": 61.25})
    assert oval.turns == round_.turns
    assert oval.length_u_m == pytest.approx(round_.length_u_m, rel=1e-12)
    assert oval.mass_g is not None
    assert round_.mass_g is not None
    assert oval.mass_g / round_.mass_g == pytest.approx(1.65 * 1.85 / 1.75**2, rel=1e-12)
    assert oval.mass_u_g is not None
    assert round_.mass_u_g is not None
    # a common error e of both diameters changes the section by e (1/d1 + 1/d2), a shade more than by 2 e / d
    assert 1 < oval.mass_u_g / oval.mass_g / (round_.mass_u_g / round_.mass_g) < 1.005


def test_a_source_of_oval_strand_is_weighed_by_its_ellipse() -> None:
    pay_off = {"gross_mass_g": 400, "empty_mass_g": 150}
    oval = plan_of(strand={"diameter_mm": 1.65, "second_diameter_mm": 1.85}, pay_off=pay_off).source
    round_ = plan_of(pay_off=pay_off).source
    assert oval is not None
    assert round_ is not None
    assert oval.held_m / round_.held_m == pytest.approx(1.75**2 / (1.65 * 1.85), rel=1e-12)

"""The error bar: right by an outside library, and in words."""

from __future__ import annotations

import math
import random
from math import pi
from typing import TYPE_CHECKING, Any

import pytest
from uncertainties import correlated_values_norm, ufloat
from uncertainties.umath import sqrt

from properties.place_by_place import turns_by_height, winder_of
from reelwright.winding.calibration_figures import correlation_matrix
from reelwright.winding.job import Calibration
from reelwright.winding.lay import default_rise_u, rise_factor
from reelwright.winding.uncertainty import MENDS, Estimate, estimate_of, half_pulse_u, uncertain
from winding_jobs import plan_of

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan


def place_by_place(plan: Plan) -> tuple[Any, Any]:
    """Length in mm and mass in g of the counted strand with every input a variable of `uncertainties`."""
    job, winder = plan.job, winder_of(plan.job)
    barrel = ufloat(job.take_up.barrel_diameter_mm, 0.1)
    rise_u = default_rise_u("crossing", plan.coil.pitch_mm, job.strand.mean_diameter_mm)
    known = [(0, 0.02), (plan.rise_factor, rise_u), (job.strand.density_g_cm3, 0.02)]
    together = (0.0, 0.0, 0.0) if job.calibration is None else job.calibration.correlations
    strand_error, rise, density = correlated_values_norm(known, correlation_matrix(together))
    diameter = job.strand.mean_diameter_mm + strand_error
    counted = ufloat(0, half_pulse_u(60))
    length: Any = 0.0
    for (height, standing), turns in turns_by_height(winder, plan.exact_turns).items():
        around = 2 * pi * ((barrel + diameter) / 2 + height * rise * diameter)
        length += float(turns) * (around if standing else sqrt(around**2 + plan.coil.pitch_mm**2))
    length += counted * plan.coil.turn_length_at_mm(plan.turns)
    for end_m in (job.target.leader_m, job.target.tail_m):
        length -= ufloat(1000 * end_m, 10) if end_m else 0
    second = job.strand.second_diameter_mm or job.strand.diameter_mm
    section = pi / 4 * (job.strand.diameter_mm + strand_error) * (second + strand_error)
    return length, density * 1e-3 * section * length


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"machine": {"phase_turns": "37/5"}},
        {"machine": {"phase_turns": "37/5", "dwell_turns": "19/10"}},
        {"strand": {"second_diameter_mm": 1.85}},
        {"target": {"length_m": 30, "leader_m": 1, "tail_m": 2}},
        {"target": {"layers": "37/3"}, "machine": {"turns_per_layer": 36}},
        {
            "calibration": {
                "strand": "a", "figures": ["diameter", "rise", "density"],
                "diameter_rise_r": -0.6, "diameter_density_r": 0.5, "rise_density_r": 0.2,
            },
            "strand": {"second_diameter_mm": 1.85},
        },
    ],
)  # fmt: skip
def test_the_error_bar_is_that_of_the_uncertainties_library(changes: dict[str, Any]) -> None:
    plan = plan_of(**changes)
    length, mass = place_by_place(plan)
    assert plan.length_m * 1000 == pytest.approx(length.nominal_value, rel=1e-12)
    assert plan.length_u_m * 1000 == pytest.approx(length.std_dev, rel=1e-9)
    assert plan.mass_u_g == pytest.approx(mass.std_dev, rel=1e-9)


@pytest.mark.parametrize("layers", ["1/2", "17/2"])
def test_an_outer_diameter_is_as_unsure_as_barrel_strand_and_rise_make_it(layers: str) -> None:
    plan = plan_of(target={"layers": layers})
    barrel, diameter = ufloat(80, 0.1), ufloat(1.75, 0.02)
    rise = ufloat(plan.rise_factor, default_rise_u("crossing", plan.coil.pitch_mm, 1.75))
    outer = barrel + 2 * diameter + 2 * (len(plan.layers) - 1) * rise * diameter
    assert plan.outer_diameter.value == pytest.approx(plan.fit.outer_diameter_mm, rel=1e-12)
    assert plan.outer_diameter.u == pytest.approx(outer.std_dev, rel=1e-12)


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


def test_what_dominates_is_told_with_its_share_and_its_mend() -> None:
    plan = plan_of()
    assert plan.mass is not None
    share = plan.length.shares["rise factor"]
    assert plan.length.reason("length").startswith(f"The rise factor gives {share:.0%} of the length's uncertainty")
    assert "`reelwright calibrate layers`" in plan.length.reason("length")
    assert "measure the strand with a micrometer" in plan.mass.reason("mass")
    assert plan.to_dict()["length_u_reason"] == plan.length.reason("length")


def test_who_has_measured_an_input_is_not_told_to_measure_it_for_the_first_time() -> None:
    weighed = Calibration(strand="a", figures=("density",), found=("density",))
    mass = Estimate(40.0, 1.0, {"density": 1.0})
    assert "weigh a wound spool" in mass.reason("mass")
    assert mass.reason("mass", weighed).endswith("measure it better than its calibration did, or more often.")
    assert "micrometer" in Estimate(40.0, 1.0, {"strand diameter": 1.0}).reason("mass", weighed)
    plan = plan_of(calibration={"strand": "a", "figures": ["rise"], "found": ["rise"]})
    assert "than its calibration did" in plan.to_dict()["length_u_reason"]


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


def test_a_count_that_restarts_left_uncertain_widens_the_error_bar_as_an_even_spread() -> None:
    plan = plan_of()
    count = plan.target_pulses // 2
    plain, widened = plan.at_pulses(count), plan.at_pulses(count, uncertain_turns=2.0)
    assert widened.length_m == plain.length_m
    # JCGM 100, 4.3.7: half a width a spread evenly has a / sqrt(3); the parts add in squares
    turn_m = plan.coil.turn_length_at_mm(plan.turns_at(count)) / 1000
    assert widened.length_u_m == pytest.approx(math.hypot(plain.length_u_m, turn_m * 2 / math.sqrt(3)), rel=1e-9)
    length, _ = plan.inputs.length_and_mass(plan.coil, plan.turns_at(count), 0.0, uncertain_turns=100.0)
    assert length.reason("length").startswith("The restarts give")


def test_an_interval_of_95_percent_reaches_two_standard_uncertainties_either_way() -> None:
    assert Estimate(40.0, 0.25).expanded_u == 0.5


def test_nothing_uncertain_needs_no_reason_and_an_input_without_a_mend_gets_none() -> None:
    assert Estimate(40.0, 0.0).reason("length") == ""
    reason = Estimate(40.0, 1.0, {"packing": 0.75, "scale": 0.25}).reason("length")
    assert reason == "The packing gives 75% of the length's uncertainty (of its variance)."


def test_an_input_that_does_not_move_the_result_has_no_share() -> None:
    moves, idle = uncertain(2.0, 0.1, "moves"), uncertain(3.0, 0.1, "idle")
    assert estimate_of(moves + 0 * idle).shares == {"moves": 1.0}


def test_a_tail_shorter_than_a_metre_is_marked_by_hand_too() -> None:
    marked = plan_of(target={"length_m": 40, "tail_m": 0.5})
    assert marked.length.shares["leader and tail"] * marked.length.u**2 == pytest.approx(10.0**2, rel=1e-9)


@pytest.mark.parametrize("r", [-0.6, 0.6])
def test_an_outer_diameter_knows_what_strand_and_rise_have_in_common(r: float) -> None:
    # JCGM 100, 5.2.2, formula (16): D = B + 2 d (1 + k f), u(B) = 0; only this one correlation is not zero
    calibration = {"strand": "a", "figures": ["diameter", "rise"], "diameter_rise_r": r}
    plan = plan_of(
        take_up={"barrel_diameter_u_mm": 0},
        strand={"diameter_u_mm": 0.02},
        lay={"rise": 0.95, "rise_u": 0.01},
        target={"layers": 6},
        calibration=calibration,
    )
    of_strand, of_rise = 2 * (1 + 5 * 0.95) * 0.02, 2 * 1.75 * 5 * 0.01
    assert plan.outer_diameter.u == pytest.approx(math.sqrt(of_strand**2 + of_rise**2 + 2 * r * of_strand * of_rise))

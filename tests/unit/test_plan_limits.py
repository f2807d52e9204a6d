"""Where a job stops being possible, and what it is then refused by: the key, and the last value that would do."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from attrs import evolve

from reelwright.winding.coil import MOST_LAYERS
from reelwright.winding.job import ImpossibleJobError, Target
from reelwright.winding.mass import strand_mass_g
from reelwright.winding.plan import make_plan
from winding_jobs import job_of, plan_of

if TYPE_CHECKING:
    from reelwright.winding.job import Job

N = Fraction(174, 5)


def job_past_the_checks(**changes: dict[str, Any]) -> Job:
    """A sound job with these values put in its place, as no job file could. A target is that and nothing more."""
    job = job_of()
    tables = {name: evolve(getattr(job, name), **table) for name, table in changes.items() if name != "target"}
    return evolve(job, **tables, **({"target": Target(**changes["target"])} if "target" in changes else {}))


def key_of_refusal(**changes: dict[str, Any]) -> str:
    """The key by which the plan of this job is refused."""
    with pytest.raises(ImpossibleJobError) as refused:
        make_plan(job_past_the_checks(**changes))
    return refused.value.key


def test_a_spool_no_wider_than_the_strand_is_refused() -> None:
    for width_mm in (1.75, 1.2):
        assert key_of_refusal(take_up={"inside_width_mm": width_mm}) == "take_up.inside_width_mm"


@pytest.mark.parametrize("dwell", [N, Fraction(40)])
def test_a_guide_that_stands_for_a_whole_layer_is_refused(dwell: Fraction) -> None:
    assert key_of_refusal(machine={"dwell_turns": dwell, "stroke_mm": 57.5}) == "machine.dwell_turns"


def test_the_pitch_is_that_of_the_turns_in_which_the_guide_travels() -> None:
    plan = plan_of(machine={"dwell_turns": 2, "stroke_mm": 57.4})
    assert plan.coil.pitch_mm == pytest.approx(57.4 / 32.8, rel=1e-14)


@pytest.mark.parametrize(
    ("target", "key"),
    [
        ({"turns": N * MOST_LAYERS}, "target.turns"),
        ({"layers": Fraction(MOST_LAYERS)}, "target.layers"),
        ({"length_m": 250_000}, "target.length_m"),
        ({"mass_g": 800_000}, "target.mass_g"),
    ],
    ids=str,
)
def test_a_thousand_layers_are_refused_by_what_asked_for_them(target: dict[str, Any], key: str) -> None:
    assert key_of_refusal(target=target) == key


def test_a_turn_less_than_a_thousand_layers_is_planned() -> None:
    assert plan_of(target={"turns": str(N * MOST_LAYERS - 1)}).full_layers == MOST_LAYERS - 1


def test_a_spool_without_end_holds_what_can_be_reckoned() -> None:
    plan = plan_of(take_up={"flange_diameter_mm": 5000})
    assert plan.fits_length_m == pytest.approx(plan.coil.length_mm(float(N * (MOST_LAYERS - 1))) / 1000)


@pytest.mark.parametrize(
    "target",
    [{"turns": Fraction(2)}, {"layers": Fraction(2)}, {"flange_margin_mm": 2}],
    ids=lambda target: next(iter(target)),
)
def test_ends_that_take_all_that_is_wound_are_refused_by_what_was_asked_for(target: dict[str, Any]) -> None:
    (key,) = target
    assert key_of_refusal(target=target | {"leader_m": 500, "tail_m": 900}) == f"target.{key}"


def test_half_a_millimetre_beside_the_ends_is_still_a_length() -> None:
    one_turn_m = plan_of(target={"turns": 1}).length_m
    plan = plan_of(target={"turns": 1, "leader_m": one_turn_m - 0.0005})
    assert plan.length_m == pytest.approx(0.0005)


def test_a_mass_of_strand_whose_density_nobody_knows_is_refused() -> None:
    assert key_of_refusal(strand={"density_g_cm3": None}, target={"mass_g": 100}) == "strand.density_g_cm3"


def test_a_margin_that_leaves_no_room_for_a_layer_is_refused() -> None:
    small = {"flange_diameter_mm": 90}
    assert key_of_refusal(take_up=small, target={"flange_margin_mm": 4}) == "target.flange_margin_mm"
    with pytest.raises(ImpossibleJobError, match="no room for a layer and a margin of 4 mm"):
        make_plan(job_past_the_checks(take_up=small, target={"flange_margin_mm": 4}))


def test_a_pitch_at_which_strand_sinks_through_the_layer_below_is_refused_by_the_rise_model() -> None:
    assert key_of_refusal(machine={"stroke_mm": 61.25, "turns_per_layer": Fraction(12)}) == "lay.rise"


def test_a_length_of_next_to_nothing_is_planned_as_such() -> None:
    assert 0 < plan_of(target={"length_m": 1e-10}).turns < 1e-9


def test_a_target_that_asks_for_nothing_is_refused() -> None:
    with pytest.raises(ImpossibleJobError, match="give one of length_m"):
        make_plan(job_past_the_checks(target={}))


def test_a_mass_of_oval_strand_is_planned_by_its_ellipse() -> None:
    plan = plan_of(strand={"second_diameter_mm": 1.65}, target={"mass_g": 100})
    assert plan.mass_g == pytest.approx(100, rel=1e-9)
    assert strand_mass_g(1000 * plan.length_m, 1.24, 1.75, 1.65) == pytest.approx(100, rel=1e-9)


def test_all_that_is_wound_of_oval_strand_weighs_what_its_ellipse_does() -> None:
    plan = plan_of(strand={"second_diameter_mm": 1.65}, target={"leader_m": 2})
    assert plan.wound_mass_g == pytest.approx(strand_mass_g(42_000, 1.24, 1.75, 1.65), rel=1e-9)


@pytest.mark.parametrize("phase", ["174/5", "7/3"])
def test_a_length_that_fills_its_layers_ends_on_their_boundary(phase: str) -> None:
    coil = plan_of(machine={"phase_turns": phase}).coil
    for layers in range(1, 60):
        end = coil.pass_end(layers)
        for crumb in (1 - 1e-15, 1, 1 + 1e-15):
            plan = plan_of(
                machine={"phase_turns": phase}, target={"length_m": coil.length_mm(float(end)) * crumb / 1e3}
            )
            assert (plan.exact_turns, plan.full_layers, plan.last_layer_turns) == (end, layers, 0)

"""Does it fit, does it lie well, and does the pay-off spool hold enough?"""

from __future__ import annotations

import re
from math import hypot, pi, sqrt
from typing import Any

import pytest

from reelwright.winding.fit import layer_share
from reelwright.winding.job import PayOff, Strand
from reelwright.winding.source import check_source
from winding_jobs import plan_of


def codes(**changes: dict[str, Any]) -> set[str]:
    return {finding.code for finding in plan_of(**changes).findings}


def test_a_well_chosen_spool_gives_nothing_to_warn_of() -> None:
    assert codes() == set()


def test_more_than_the_flange_holds_is_planned_and_forbidden_and_says_what_would_fit() -> None:
    plan = plan_of(take_up={"flange_diameter_mm": 90})
    assert plan.blocking == ("over_flange",)
    assert plan.fit.flange_margin_mm < 0
    # (90 - 83.5) / 2 = 3.25 mm above the first layer, at 1.673 mm each: two layers
    assert "holds 2 whole layers, 18.24 m" in plan.findings[0].message
    assert plan_of(take_up={"flange_diameter_mm": 90}, target={"layers": 2}).blocking == ()


@pytest.mark.parametrize(
    ("target", "mend"),
    [
        # turns of 256.8 and 267.3 mm, 34.8 of each: 18.24 m, by hand, and so much less of leader and tail
        ({"length_m": 40}, {"target.length_m": 18.24}),
        ({"length_m": 40, "leader_m": 10, "tail_m": 5}, {"target.length_m": 3.241}),
        # 1.24 g/cm3 x pi/4 x (1.75 mm)^2 = 2.9826 g a metre
        ({"mass_g": 150}, {"target.mass_g": 54.40}),
        ({"turns": 200}, {"target.turns": 69.6}),
        ({"layers": 4}, {"target.layers": 2}),
    ],
)
def test_what_fits_is_said_as_the_target_says_how_much(target: dict[str, Any], mend: dict[str, float]) -> None:
    finding = plan_of(take_up={"flange_diameter_mm": 90}, target=target).findings[0]
    assert finding.code == "over_flange"
    ((change,), _flange) = finding.mends
    ((key, value),) = mend.items()
    assert (change.key, change.bound) == (key, "at most")
    assert change.value == pytest.approx(value, rel=1e-4)
    assert f"Wind at most {change.value:g} " in finding.remedy


@pytest.mark.parametrize("pitch_in_diameters", [0.8, 1, 1.3, 3])
def test_no_wind_is_allowed_that_holds_more_than_its_spool_has_space(pitch_in_diameters: float) -> None:
    # the volumes of a hollow cylinder and of a straight one
    space_mm3, section_mm2 = pi / 4 * (200**2 - 80**2) * 63, pi / 4 * 1.75**2
    forbidden = 0
    for thousandths in range(10, 1500, 10):
        plan = plan_of(
            machine={"turns_per_layer": str(round(61.25 / 1.75 / pitch_in_diameters, 3))},
            lay={"rise": thousandths / 1000},
        )
        held_mm3 = 1000 * plan.fits_length_m * section_mm2
        forbidden += "overfull_layers" in plan.blocking
        assert held_mm3 <= space_mm3 or "overfull_layers" in plan.blocking
        # by hand: it is forbidden below a rise of pi / 4 strand on strand
        assert ("overfull_layers" in plan.blocking) == (thousandths / 1000 < pi / 4 / pitch_in_diameters)
    assert forbidden


def test_oval_strand_takes_the_room_of_its_oval_section() -> None:
    # by hand: a rise of one mean diameter, 1.75 mm
    plan = plan_of(strand={"diameter_mm": 1.8, "second_diameter_mm": 1.7}, lay={"rise": 1.0})
    share = pi / 4 * 1.7 * 1.8 / (plan.coil.pitch_mm * 1.75)
    assert layer_share(plan.job, plan.coil) == pytest.approx(share, rel=1e-9)


def test_what_one_layer_fills_is_said_of_one_layer() -> None:
    finding = plan_of(take_up={"flange_diameter_mm": 86}, target={"layers": 3}).findings[0]
    assert "This spool holds 1 whole layer, 8.93 m." in finding.message
    assert finding.remedy.startswith("Wind at most 1 layer, or take a spool")


def test_the_mass_that_fits_is_that_of_oval_strand_where_it_is_oval() -> None:
    oval = {"diameter_mm": 1.65, "second_diameter_mm": 1.85}
    finding = plan_of(take_up={"flange_diameter_mm": 90}, strand=oval, target={"mass_g": 150}).findings[0]
    # as round strand of 1.75 mm, but for its section: pi/4 x 1.65 mm x 1.85 mm
    assert finding.mends[0][0].value == pytest.approx(54.40 * 1.65 * 1.85 / 1.75**2, rel=2e-4)


def test_a_margin_that_leaves_too_little_flange_is_to_leave_more() -> None:
    (finding,) = plan_of(target={"flange_margin_mm": 0.5}).findings
    assert finding.code == "near_flange"
    assert finding.remedy.startswith("Leave at least 1.75 mm of flange, or take a spool")


def test_from_mid_pass_a_spool_holds_part_of_a_layer_more_and_the_plan_and_its_advice_say_the_same() -> None:
    plan = plan_of(take_up={"flange_diameter_mm": 90}, machine={"phase_turns": 10})
    # two levels in full: 10 + 34.8 turns, and the 24.8 that come beside the first pass
    assert plan.fits_length_m == pytest.approx(18.24, abs=0.006)
    assert "This spool holds 2 whole layers and a part of one, 18.24 m." in plan.findings[0].message
    assert plan.findings[0].remedy.startswith("Wind at most 18.24 m, or take a spool")


def test_what_a_spool_holds_is_told_to_the_centimetre_and_not_rounded_up() -> None:
    plan = plan_of(target={"layers": 60})
    assert plan.blocking == ("over_flange",)
    told = re.search(r"holds 35 whole layers, (\d+\.\d\d) m", plan.findings[0].message)
    assert told is not None
    assert 0 <= plan.coil.length_mm(35 * 34.8) / 1000 - float(told[1]) < 0.01


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"take_up": {"flange_diameter_mm": 98}}, "near_flange"),
        ({"machine": {"turns_per_layer": 36}}, "pitch_tight"),
        ({"machine": {"turns_per_layer": 26}}, "pitch_wide"),
        ({"machine": {"stroke_mm": 62, "turns_per_layer": 35}}, "against_flange"),
        ({"machine": {"stroke_mm": 57, "turns_per_layer": 32}}, "end_gap"),
        ({"take_up": {"barrel_diameter_mm": 50}}, "tight_bend"),
        ({"machine": {"guide_distance_mm": 300}}, "fleet_angle"),
        ({"machine": {"dwell_turns": "21/10", "stroke_mm": 57.5}}, "flange_heap"),
    ],
)
def test_each_way_to_lie_badly_has_its_warning(changes: dict[str, Any], code: str) -> None:
    assert code in codes(**changes)


def test_a_stand_of_one_turn_in_each_layer_is_nothing_to_warn_of() -> None:
    assert "flange_heap" not in codes(machine={"dwell_turns": 2, "stroke_mm": 57.5})


def test_a_guide_far_enough_away_swings_within_limits() -> None:
    plan = plan_of(machine={"guide_distance_mm": 1500})
    assert plan.fit.fleet_angle_deg == pytest.approx(1.17, abs=0.01)
    assert plan.findings == ()


def test_a_weighed_source_with_plenty_is_enough() -> None:
    check = plan_of(pay_off={"gross_mass_g": 400, "empty_mass_g": 150}).source
    assert check is not None
    assert (check.verdict, check.method) == ("enough", "mass")
    assert check.held_m == pytest.approx(83.82, abs=0.01)  # 250 g at 335.28 m a kilogram


def test_a_short_source_forbids_winding_and_a_doubtful_one_warns() -> None:
    short = plan_of(pay_off={"gross_mass_g": 240, "empty_mass_g": 150})
    doubtful = plan_of(pay_off={"gross_mass_g": 270, "empty_mass_g": 150})
    assert short.blocking == ("source_short",)
    assert doubtful.blocking == ()
    assert {finding.code for finding in doubtful.findings} == {"source_doubtful"}


def test_leader_and_tail_are_needed_from_the_source_too() -> None:
    plan = plan_of(pay_off={"gross_mass_g": 270, "empty_mass_g": 145}, target={"leader_m": 10, "tail_m": 10})
    assert plan.source is not None
    assert plan.source.needed_m == pytest.approx(60)
    assert plan.blocking == ("source_short",)


def test_an_unknown_tare_says_how_many_metres_it_costs() -> None:
    plan = plan_of(pay_off={"gross_mass_g": 1000})
    message = next(finding.message for finding in plan.findings if finding.code == "tare_unknown")
    assert "± 18 m" in message


def test_an_unknown_tare_is_spread_evenly_over_its_range() -> None:
    # JCGM 100, 4.3.7: 140 to 250 g are 55 g / sqrt(3)
    strand = Strand(1.75, diameter_u_mm=0, density_g_cm3=1.24, density_u_g_cm3=0)
    check = check_source(PayOff(gross_mass_g=1000), strand, 40)
    assert check is not None
    gram_m = check.held_m / (1000 - 195)
    assert check.held_u_m == pytest.approx(hypot(1, 55 / sqrt(3)) * gram_m, rel=1e-12)
    assert check.unknown_tare_m == pytest.approx(55 * gram_m, rel=1e-12)


def test_a_wound_diameter_is_less_sure_than_a_scale() -> None:
    strand = Strand(1.75, density_g_cm3=1.24)
    weighed = check_source(PayOff(gross_mass_g=900, empty_mass_g=200), strand, 40)
    measured = check_source(PayOff(wound_diameter_mm=160, barrel_diameter_mm=80, inside_width_mm=50), strand, 40)
    assert weighed is not None
    assert measured is not None
    assert measured.held_u_m / measured.held_m > 2 * weighed.held_u_m / weighed.held_m


def test_a_spool_that_the_model_winds_lies_inside_what_its_diameter_tells() -> None:
    plan = plan_of(target={"layers": 20})
    strand = plan.job.strand
    spool = PayOff(wound_diameter_mm=plan.fit.outer_diameter_mm, barrel_diameter_mm=80, inside_width_mm=63)
    told = check_source(spool, strand, 1)
    assert told is not None
    assert abs(told.held_m - plan.length_m) < 2 * told.held_u_m


def test_a_wound_diameter_is_unsure_by_how_tightly_the_strand_may_be_packed() -> None:
    # from pi/4 x 0.95 to pi/sqrt(12) of the wound space, spread evenly (JCGM 100, 4.3.7)
    loosest, tightest = pi / 4 * 0.95, pi / sqrt(12)
    spool = PayOff(wound_diameter_mm=160, barrel_diameter_mm=80, inside_width_mm=50)
    check = check_source(spool, Strand(1.75), 1e-9)
    assert check is not None
    assert check.held_m == pytest.approx((loosest + tightest) / 2 * 50 * (160**2 - 80**2) / 1.75**2 / 1000)
    left = check.left.length_m
    by_packing = sqrt(left.shares["packing"]) * left.u / left.value
    assert by_packing == pytest.approx((tightest - loosest) / (tightest + loosest) / sqrt(3), rel=1e-6)


def test_a_source_that_says_nothing_gives_no_verdict() -> None:
    assert check_source(PayOff(), Strand(1.75), 40) is None


@pytest.mark.parametrize(
    "told",
    [
        {"held_m": 45.3},
        {"held_u_m": 0.1},
        {"wound_diameter_mm": 160.0, "barrel_diameter_mm": 80.0},
        {"wound_diameter_mm": 160.0, "inside_width_mm": 50.0},
        {"barrel_diameter_mm": 80.0, "inside_width_mm": 50.0},
    ],
    ids=str,
)
def test_half_of_what_a_method_needs_is_none(told: dict[str, float]) -> None:
    assert check_source(PayOff(**told), Strand(1.75, density_g_cm3=1.24), 40) is None


def test_a_weighed_spool_of_unknown_density_goes_by_its_diameter() -> None:
    size = {"wound_diameter_mm": 160.0, "barrel_diameter_mm": 80.0, "inside_width_mm": 50.0}
    check = check_source(PayOff(gross_mass_g=900, empty_mass_g=200, **size), Strand(1.75), 40)
    assert check is not None
    assert check.method == "wound diameter"
    assert set(check.left.length_m.shares) == {"packing", "wound diameter", "strand diameter"}


@pytest.mark.parametrize("empty_mass_g", [150, None])
def test_a_weighed_spool_is_unsure_by_scale_tare_and_strand(empty_mass_g: float | None) -> None:
    check = check_source(PayOff(gross_mass_g=900, empty_mass_g=empty_mass_g), Strand(1.75, density_g_cm3=1.24), 40)
    assert check is not None
    assert set(check.left.length_m.shares) == {"scale", "empty spool", "strand diameter", "density"}


@pytest.mark.parametrize("half", [{"barrel_diameter_mm": 80.0}, {"inside_width_mm": 50.0}], ids=str)
def test_what_is_left_shows_no_diameter_without_barrel_and_width(half: dict[str, float]) -> None:
    check = check_source(PayOff(held_m=45.3, held_u_m=0, **half), Strand(1.75), 40)
    assert check is not None
    assert check.left.diameter_mm is None


def test_even_a_little_doubt_of_an_unknown_tare_is_told() -> None:
    # 6 mm strand of 8 g/cm3 weighs 226 g/m: 55 g are a quarter of a metre
    plan = plan_of(strand={"diameter_mm": 6, "density_g_cm3": 8}, pay_off={"gross_mass_g": 90_000})
    (finding,) = [finding for finding in plan.findings if finding.code == "tare_unknown"]
    assert finding.value == pytest.approx(55 / (8e3 * pi / 4 * 0.006**2 * 1e3), rel=1e-9)


def test_a_source_that_holds_to_the_micrometre_what_is_needed_is_enough() -> None:
    check = check_source(PayOff(held_m=45.3, held_u_m=0), Strand(1.75), 45.3)
    assert check is not None
    assert (check.verdict, check.surely_short) == ("enough", False)
    unsure = check_source(PayOff(held_m=45.3, held_u_m=0.1), Strand(1.75), 40)
    assert unsure is not None
    assert unsure.left.length_m.shares == {"known length": 1.0}


@pytest.mark.parametrize(("gross_mass_g", "code"), [(240, "source_short"), (270, "source_doubtful")])
def test_a_source_that_may_not_do_says_what_it_holds_and_by_what(gross_mass_g: float, code: str) -> None:
    plan = plan_of(pay_off={"gross_mass_g": gross_mass_g, "empty_mass_g": 150})
    assert plan.source is not None
    (message,) = [finding.message for finding in plan.findings if finding.code == code]
    assert f"It holds {plan.source.held_m:.1f} m ± {2 * plan.source.held_u_m:.1f} m by mass; what" in message


def test_the_fill_is_the_strands_share_of_the_space_between_the_flanges() -> None:
    plan = plan_of(strand={"second_diameter_mm": 1.65}, target={"leader_m": 2})
    strand_mm3 = pi / 4 * 1.75 * 1.65 * 42_000
    assert plan.fit.fill_share == pytest.approx(strand_mm3 / (pi / 4 * (200**2 - 80**2) * 63), rel=1e-9)


def test_strand_crosses_the_layer_below_twice_a_turn_in_which_the_guide_travels() -> None:
    # wire-rope practice on multi-layer drums; three layers of 34.8 turns, two of them on strand
    assert plan_of(target={"layers": 3}).fit.crossings == pytest.approx(2 * 2 * 34.8)
    dwelling = plan_of(target={"layers": 3}, machine={"dwell_turns": 2, "stroke_mm": 57.5})
    assert dwelling.fit.crossings == pytest.approx(2 * 2 * 32.8)


# a full spool


@pytest.mark.parametrize("phase", [None, "1/3", "20"])
def test_a_filled_spool_leaves_the_margin_and_one_turn_more_would_not(phase: str | None) -> None:
    machine = {"phase_turns": phase}
    plan = plan_of(target={"flange_margin_mm": 3}, machine=machine)
    assert plan.fit.flange_margin_mm >= 3
    more = plan_of(target={"turns": plan.exact_turns + 1}, machine=machine)
    assert more.fit.flange_margin_mm < 3


@pytest.mark.parametrize("layers", range(1, 13))
@pytest.mark.parametrize("barrel_mm", [80.0, 80.1, 63.7])
def test_a_flange_that_ends_with_a_layer_holds_that_layer(barrel_mm: float, layers: int) -> None:
    # 1.7 and 80.1 have no exact binary form, so the room for a layer comes out a hair too small or too large
    spool = {"barrel_diameter_mm": barrel_mm, "flange_diameter_mm": barrel_mm + 2 * 1.7 * layers}
    plan = plan_of(take_up=spool, strand={"diameter_mm": 1.7}, lay={"rise": "stacked"}, target={"flange_margin_mm": 0})
    assert plan.full_layers == layers
    assert plan.blocking == ()


def test_the_largest_length_fits_and_a_little_more_does_not() -> None:
    ends = {"leader_m": 2, "tail_m": 1}
    plan = plan_of(target=ends)
    assert plan.fits_more_m == pytest.approx(plan.fits_length_m - 40)
    full = plan_of(target=ends | {"length_m": plan.fits_length_m})
    assert full.blocking == ()
    assert full.fits_more_m == pytest.approx(0, abs=1e-9)
    assert plan_of(target=ends | {"length_m": plan.fits_length_m + 0.1}).blocking == ("over_flange",)


def test_a_spool_that_would_hold_more_layers_than_any_is_reckoned_up_to_the_last_of_them() -> None:
    plan = plan_of(take_up={"flange_diameter_mm": 5000}, strand={"diameter_mm": 0.5}, machine={"turns_per_layer": 120})
    assert plan.fits_length_m == pytest.approx(plan.coil.length_mm(999 * 120) / 1000)


def test_too_much_says_by_how_much() -> None:
    plan = plan_of(take_up={"flange_diameter_mm": 90})
    assert plan.fits_length_m == pytest.approx(18.2, abs=0.05)
    assert plan.fits_more_m == pytest.approx(plan.fits_length_m - 40)
    assert plan_of(take_up={"flange_diameter_mm": 81}).fits_length_m == 0


# what stays on the pay-off spool


def test_what_is_left_is_what_was_held_less_what_is_drawn() -> None:
    source = plan_of(pay_off={"gross_mass_g": 400, "empty_mass_g": 150}, target={"leader_m": 1}).source
    assert source is not None
    assert source.left.length_m.value == pytest.approx(source.held_m - 41)
    assert source.left.mass_g is not None
    assert source.left.mass_g.value == pytest.approx(250 * source.left.length_m.value / source.held_m)
    assert source.left.diameter_mm is None


def test_an_error_of_the_strand_acts_on_what_was_held_and_on_what_is_drawn() -> None:
    # thick strand: fewer metres on the pay-off spool, and more of them drawn by the same turns
    pay_off = {"gross_mass_g": 400, "empty_mass_g": 150}
    sure: dict[str, Any] = {"density_u_g_cm3": 0, "diameter_u_mm": 0.02}
    source = plan_of(pay_off=pay_off, strand=sure, take_up={"barrel_diameter_u_mm": 0}, lay={"rise_u": 0}).source
    thick = plan_of(pay_off=pay_off, strand={"diameter_mm": 1.7501}, machine={"stroke_mm": 61.25}).source
    thin = plan_of(pay_off=pay_off, strand={"diameter_mm": 1.7499}, machine={"stroke_mm": 61.25}).source
    assert source is not None
    assert thick is not None
    assert thin is not None
    drawn_slope = plan_of(strand=sure, take_up={"barrel_diameter_u_mm": 0}, lay={"rise_u": 0}).length_u_m / 0.02
    held_slope = (thin.held_m - thick.held_m) / 0.0002
    weighing = hypot(1, 1) / 250 * source.held_m
    assert source.left.length_m.u == pytest.approx(hypot((held_slope + drawn_slope) * 0.02, weighing), rel=2e-4)


def test_a_spool_drawn_empty_shows_its_barrel_and_one_drawn_from_not_at_all_its_rim() -> None:
    size = {"wound_diameter_mm": 120.0, "barrel_diameter_mm": 80.0, "inside_width_mm": 50.0}
    full = check_source(PayOff(**size), Strand(1.75), 1e-9)
    assert full is not None
    empty = check_source(PayOff(**size), Strand(1.75), full.held_m)
    assert empty is not None
    assert full.left.diameter_mm is not None
    assert empty.left.diameter_mm is not None
    assert full.left.diameter_mm.value == pytest.approx(120)
    assert full.left.diameter_mm.u == pytest.approx(1.0)  # of the rule laid across it, and of nothing else
    assert empty.left.diameter_mm.value == pytest.approx(80)
    assert full.left.mass_g is None


def test_nothing_less_than_nothing_is_left() -> None:
    check = check_source(PayOff(gross_mass_g=200, empty_mass_g=150), Strand(1.75, density_g_cm3=1.24), 40)
    assert check is not None
    assert check.left.length_m.value == 0.0
    assert check.left.length_m.u == check.held_u_m


def test_a_spool_of_known_length_leaves_the_rest_of_it() -> None:
    strand = Strand(1.75, density_g_cm3=1.24)
    check = check_source(PayOff(held_m=45.3, held_u_m=0), strand, 45.3 - 12.1)
    assert check is not None
    assert check.left.length_m.value == pytest.approx(12.1)
    assert check.left.length_m.u == 0
    assert check.left.mass_g is not None
    assert check.left.mass_g.u > 0  # of section and density

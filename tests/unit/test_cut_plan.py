"""What a solved cut list comes to: how much of a spool is planned with, what is left of it, and what becomes of it."""

from __future__ import annotations

from math import ceil, hypot
from typing import Any

import pytest
from attrs import evolve

from reelwright.winding.cut_list import CutRules, Cutting, Piece
from reelwright.winding.cut_plan import CutList, PayOffSpool, WantedLength, joins_apart, winding_steps
from reelwright.winding.cut_record import SolvedCutList
from reelwright.winding.job import PayOff
from reelwright.winding.plan import make_plan
from reelwright.winding.source import check_source
from reelwright.winding.uncertainty import estimate_of
from winding_jobs import job_of, plan_of

STRAND = job_of().strand


def spool(held_m: float, held_u_m: float, name: str = "shelf") -> PayOffSpool:
    pay_off = PayOff(held_m=held_m, held_u_m=held_u_m)
    check = check_source(pay_off, STRAND, 0.0)
    assert check is not None
    return PayOffSpool(name, pay_off, STRAND, check)


def wanted(length_m: float, **target: Any) -> WantedLength:
    return WantedLength(f"{length_m} m", job_of(target={"length_m": length_m, **target}), 2)


RULES = CutRules(shortest_useful_m=5, shortest_piece_m=2, join_loss_m=0.1)
# 30 m as 12 + 18 m, with half a metre of leader; and 4 m from one spool. The last spool is not opened.
LIST = CutList(
    RULES,
    (spool(40, 0.5, "first"), spool(20, 0.25, "second"), spool(4, 0.25, "third"), spool(9, 0.5, "fourth")),
    (wanted(30, leader_m=0.5), wanted(4)),
)
CUTTING = Cutting(LIST.problem(best_estimate=True), ((Piece(0, 12_000), Piece(1, 18_000)), (Piece(2, 4000),)))


def share_u(length_m: float) -> float:
    """The standard uncertainty of the wind of a wanted length, as a share of it."""
    return plan_of(target={"length_m": length_m}).length_u_m / length_m


def test_what_can_surely_be_counted_off_leaves_room_for_both_errors() -> None:
    cut_list = CutList(RULES, (spool(40, 0.5), spool(40, 0.0), spool(1, 0.6)), (wanted(30),))
    sure = [cut_list.sure_mm(number) / 1000 for number in range(3)]
    for off_m, held_u_m in zip(sure, (0.5, 0.0), strict=False):
        # beyond the wanted 30 m nothing is wound, and a cut-off is exact
        least_m = off_m + 2 * hypot(held_u_m, 30 * share_u(30))
        assert least_m <= 40 + 1e-9
        assert least_m + 0.001 > 40
    assert sure[2] == 0


def test_the_least_sure_winds_are_those_that_may_come_off_a_spool_first() -> None:
    # a short wind is less sure by its share, as its turns are counted in the same pulses
    winds = CutList(RULES, (spool(40, 0.5),), (wanted(30), wanted(0.5), wanted(30))).winds
    (of_all,) = winds.values()
    assert share_u(0.5) > share_u(30)
    assert of_all.taken_u_m(200) == pytest.approx(0.2 * share_u(0.5))
    assert of_all.taken_u_m(40_000) == pytest.approx(0.5 * share_u(0.5) + 39.5 * share_u(30))
    assert of_all.taken_u_m(90_000) == pytest.approx(0.5 * share_u(0.5) + 60 * share_u(30))
    length = estimate_of(of_all.drawn(200).length_mm)
    assert (length.value, length.u) == (pytest.approx(200), pytest.approx(200 * share_u(0.5)))
    # by its causes the error is that of the longest wind, which owes least to the count
    assert length.shares == pytest.approx(estimate_of(plan_of(target={"length_m": 30}).drawn.length_mm).shares)
    # at several lengths, as one alone may hide a difference of less than a millimetre
    for off_mm in range(28_500, 30_501, 100):
        taken_u_m = 0.5 * share_u(0.5) + (off_mm / 1000 - 0.5) * share_u(30)
        assert of_all.must_hold_mm(off_mm) == ceil(off_mm + 2000 * taken_u_m)


def test_a_weighed_spool_and_the_winds_from_it_err_together_by_the_strand() -> None:
    """A thicker strand makes fewer metres of the same mass, and a longer wind of the same turns."""
    rough = {"diameter_mm": 1.75, "diameter_u_mm": 0.02, "density_g_cm3": 1.24}
    job = job_of(strand=rough, target={"length_m": 30})
    pay_off = PayOff(gross_mass_g=352, empty_mass_g=190)
    check = check_source(pay_off, job.strand, 0.0)
    assert check is not None
    cut_list = CutList(RULES, (PayOffSpool("shelf", pay_off, job.strand, check),), (WantedLength("", job, 0),))
    wind_u_m = make_plan(job).length_u_m
    assert hypot(check.held_u_m, wind_u_m) < cut_list.left_u_m(0, 30_000) < check.held_u_m + wind_u_m
    own = make_plan(evolve(job, pay_off=pay_off)).source
    assert own is not None
    assert cut_list.left_u_m(0, 30_000) == pytest.approx(own.left_u_m)


def test_a_spool_of_strand_that_nothing_is_wound_of_is_as_unsure_as_it_was() -> None:
    blue = job_of(strand={"name": "blue"}, target={"length_m": 4})
    cut_list = CutList(RULES, (spool(40, 0.5),), (WantedLength("", blue, 0),))
    assert cut_list.left_u_m(0, 10_000) == 0.5
    assert cut_list.sure_mm(0) == 39_000


def test_the_solver_sees_the_rules_in_millimetres_rounded_up() -> None:
    rules = CutRules(shortest_useful_m=5.0001, shortest_piece_m=2, join_loss_m=0.1004)
    problem = evolve(LIST, rules=rules).problem()
    assert (problem.shortest_useful_mm, problem.shortest_piece_mm, problem.join_loss_mm) == (5001, 2000, 101)


def test_a_wanted_length_is_asked_for_in_metres_and_in_nothing_else() -> None:
    with pytest.raises(ValueError, match="length_m"):
        _ = WantedLength("", job_of(target={"turns": 20}), 0).demand


@pytest.mark.parametrize("held_u_m", [0.5, 0.01])
def test_a_step_checks_its_spool_by_what_is_left_of_it_by_then(held_u_m: float) -> None:
    cut_list = evolve(LIST, pay_offs=(spool(40, held_u_m), *LIST.pay_offs[1:]), wanted=(wanted(10), wanted(4)))
    pieces = ((Piece(0, 10_000),), (Piece(0, 4000),))
    steps = winding_steps(cut_list, Cutting(cut_list.problem(), pieces))
    assert [step.job.pay_off.held_m for step in steps if step.job.pay_off] == [40, 30]
    for step, taken_m in zip(steps, (10, 14), strict=True):
        assert step.plan.source is not None
        # the 4 m are less sure by their share, and may come first
        taken_u_m = 4 * share_u(4) + (taken_m - 4) * share_u(10)
        assert step.plan.source.left_u_m == pytest.approx(hypot(held_u_m, taken_u_m))


def test_a_step_takes_its_spool_to_hold_whole_millimetres_as_the_solver_does() -> None:
    cut_list = CutList(RULES, (spool(20.0004, 0.2507),), (wanted(4),))
    (step,) = winding_steps(cut_list, Cutting(cut_list.problem(), ((Piece(0, 4000),),)))
    assert step.job.pay_off is not None
    assert step.job.pay_off.held_m == 20
    assert step.job.pay_off.held_u_m == pytest.approx(0.2507)


def test_a_spool_that_surely_holds_nothing_keeps_its_own_uncertainty() -> None:
    cut_list = CutList(RULES, (spool(6, 4),), (wanted(4),))
    (step,) = winding_steps(cut_list, Cutting(cut_list.problem(best_estimate=True), ((Piece(0, 4000),),)))
    assert step.job.pay_off is not None
    assert step.job.pay_off.held_u_m == pytest.approx(4)


def test_a_list_begins_where_the_guide_stands_and_each_further_step_at_a_flange() -> None:
    wants = tuple(WantedLength("", job_of(machine={"phase_turns": 7}, target={"length_m": 4}), 0) for _ in range(2))
    cut_list = CutList(RULES, (spool(40, 0.5),), wants)
    steps = winding_steps(cut_list, Cutting(cut_list.problem(), ((Piece(0, 4000),), (Piece(0, 4000),))))
    assert [step.job.machine.phase_turns for step in steps] == [7, None]


def test_a_step_pauses_at_its_joins_where_they_fall_on_pulses_of_their_own() -> None:
    joined, whole = winding_steps(LIST, CUTTING)
    assert (joined.job.target.marks_m, whole.job.target.marks_m) == ((12,), ())
    assert joins_apart(joined)
    assert joins_apart(whole)
    # pieces of a millimetre, at some four millimetres a pulse
    crumbs = ((Piece(0, 12_000), Piece(1, 1), Piece(3, 1), Piece(2, 17_998)), CUTTING.pieces[1])
    assert not joins_apart(winding_steps(LIST, evolve(CUTTING, pieces=crumbs))[0])
    assert [demand.most_joins for demand in LIST.problem().demands] == [2, 2]


def solved() -> dict[str, Any]:
    return SolvedCutList(LIST, CUTTING, winding_steps(LIST, CUTTING), best_estimate=True).to_dict()


def test_what_becomes_of_each_spool_is_told() -> None:
    told = {row["name"]: row for row in solved()["pay_off"]}
    assert {name: row["fate"] for name, row in told.items()} == {
        "first": "kept",
        "second": "wasted",
        "third": "used up",
        "fourth": "untouched",
    }
    assert told["first"] == {
        "name": "first",
        "held_m": 40,
        "held_u_m": 0.5,
        "counted_on_m": 40,
        "used_m": 12.5,
        "left_m": 27.5,
        "left_u_m": pytest.approx(LIST.left_u_m(0, 12_500)),
        "fate": "kept",
    }
    assert told["second"]["left_m"] == pytest.approx(20 - 18 - 0.1)


def test_scripts_read_a_solved_list_under_these_keys() -> None:
    told = solved()
    steps = told.pop("steps")
    del told["pay_off"]
    assert told == {
        "joins": 1,
        "waste_m": pytest.approx(1.9 + 0.1),
        "join_loss_m": pytest.approx(0.1),
        "pay_off_spools_opened": 3,
        "proven": True,
        "best_estimate": True,
    }
    joined = steps[0]
    plan = winding_steps(LIST, CUTTING)[0].plan
    assert {key: joined[key] for key in ("name", "length_m", "wound_length_m", "turns", "phase_turns_after")} == {
        "name": "30 m",
        "length_m": pytest.approx(30),
        "wound_length_m": pytest.approx(30.5),
        "turns": plan.turns,
        "phase_turns_after": str(plan.phase_turns),
    }
    assert joined["joins"] == 1
    assert joined["pieces"] == [
        {"pay_off": "first", "from_m": 0, "to_m": 12, "off_pay_off_m": 12.5},
        {"pay_off": "second", "from_m": 12, "to_m": 30, "off_pay_off_m": 18.1},
    ]
    assert [warning["code"] for step in steps for warning in step["warnings"]] == [
        finding.code for step in winding_steps(LIST, CUTTING) for finding in step.plan.findings
    ]

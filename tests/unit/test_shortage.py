"""Why a cut list cannot be met, and what would help, reckoned by hand."""

from __future__ import annotations

from math import ceil, floor
from typing import Any

import pytest

from reelwright.winding import cut_shortage
from reelwright.winding.cut_list import CutProblem, CutRules, Cutting
from reelwright.winding.cut_plan import CutList, PayOffSpool, WantedLength
from reelwright.winding.cut_shortage import Shortage, shortage_of
from reelwright.winding.cut_solver import NoAnswerError, cut
from reelwright.winding.cut_winds import Winds
from reelwright.winding.job import PayOff
from reelwright.winding.source import check_source
from winding_jobs import job_of, plan_of

pytestmark = pytest.mark.usefixtures("exact_winds")
RULES = CutRules(shortest_useful_m=5, shortest_piece_m=1, join_loss_m=0)
BLUE = {"name": "blue"}


@pytest.fixture
def exact_winds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Winds that take what they are planned to take, so that a spool of which all is known has all of it to give."""
    monkeypatch.setattr(Winds, "taken_u_m", lambda _self, _off_mm: 0.0)


def spool(held_m: float, held_u_m: float = 0.0, **strand: Any) -> PayOffSpool:
    pay_off, kind = PayOff(held_m=held_m, held_u_m=held_u_m), job_of(strand=strand).strand
    check = check_source(pay_off, kind, 0.0)
    assert check is not None
    return PayOffSpool("", pay_off, kind, check)


def wanted(length_m: float, joins: int = 0, strand: dict[str, Any] | None = None, **target: Any) -> WantedLength:
    return WantedLength("", job_of(strand=strand or {}, target={"length_m": length_m, **target}), joins)


def shortage(spools: list[PayOffSpool], lengths: list[WantedLength], *, best_estimate: bool = False) -> Shortage:
    return shortage_of(CutList(RULES, tuple(spools), tuple(lengths)), best_estimate=best_estimate, seconds=60)


def asked_for(told: Shortage) -> list[tuple[str, float, bool]]:
    return [(further.strand.name, further.length_m, further.is_least) for further in told.spools]


def test_what_is_missing_is_told_in_metres_with_a_spool_that_would_meet_it_without_a_join() -> None:
    told = shortage([spool(40)], [wanted(30), wanted(45, leader_m=1, tail_m=0.5)])
    # the 10 m beside the shorter one are 8.5 m and the ends
    assert told.missing == {1: 36.5}
    assert asked_for(told) == [("", 46.5, True)]
    assert told.proven
    assert told.joins_needed is None
    assert not told.best_estimate_meets


def test_a_further_spool_of_each_strand_holds_what_stays_unmet_with_its_ends() -> None:
    lengths = [wanted(30, leader_m=1, tail_m=0.5), wanted(12, strand=BLUE), wanted(7, strand=BLUE)]
    told = shortage([spool(10), spool(5, **BLUE)], lengths)
    assert told.missing.keys() == {0, 1, 2}
    assert asked_for(told) == [("", 31.5, True), ("blue", 19, True)]


def test_with_a_join_a_further_spool_need_hold_only_what_is_missing() -> None:
    assert asked_for(shortage([spool(40)], [wanted(60, joins=1)])) == [("", 20, True)]


def test_a_further_spool_holds_what_a_wind_may_take_beyond_its_plan_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    share_u = plan_of(target={"length_m": 60}).length_u_m / 60
    first_mm = floor(40_000 / (1 + 2 * share_u))
    told = shortage([spool(40)], [wanted(60, joins=1)])
    assert told.missing == {0: (60_000 - first_mm) / 1000}
    assert asked_for(told) == [("", ceil((60_000 - first_mm) * (1 + 2 * share_u)) / 1000, True)]
    # who trusts the best estimate asks for no more than is missing
    assert asked_for(shortage([spool(40)], [wanted(60, joins=1)], best_estimate=True)) == [("", 20, True)]


def test_what_one_strand_lacks_does_not_change_what_is_asked_for_of_another() -> None:
    spools, lengths = [spool(40), spool(5, **BLUE)], [wanted(60, joins=1), wanted(12, joins=1, strand=BLUE)]
    assert asked_for(shortage(spools, lengths)) == [("", 20, True), ("blue", 7, True)]


def test_where_the_time_does_not_suffice_for_the_least_the_whole_length_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def out_of_time(_: Any, __: Any, most_mm: int, seconds: float) -> Any:
        assert (most_mm, seconds) == (60_000, 60)
        raise NoAnswerError

    monkeypatch.setattr(cut_shortage, "least_further_mm", out_of_time)
    assert asked_for(shortage([spool(40)], [wanted(60, joins=1)])) == [("", 60, False)]


@pytest.mark.parametrize(("lacking_mm", "told_m", "is_least"), [(0, 20, True), (1, 20.001, False), (2, 60, False)])
def test_a_further_spool_is_asked_for_only_in_a_length_that_the_list_is_then_cut_with(
    monkeypatch: pytest.MonkeyPatch, lacking_mm: int, told_m: float, is_least: bool
) -> None:
    """The least length comes from another program than the cutting, and the solver of both rounds."""
    offered: list[list[int]] = []

    def cut_above(problem: CutProblem, seconds: float) -> Cutting | None:
        assert seconds == 60
        supplies = [supply.usable_mm for supply in problem.supplies]
        if len(supplies) < 2:
            return None
        offered.append(supplies)
        return cut(problem, seconds) if supplies[-1] >= 20_000 + lacking_mm else None

    monkeypatch.setattr(cut_shortage, "cut", cut_above)
    told = shortage([spool(40)], [wanted(60, joins=1)])
    assert asked_for(told) == [("", told_m, is_least)]
    assert offered == [[40_000, 20_000 + more] for more in range(min(lacking_mm, 1) + 1)]


@pytest.mark.parametrize(("held", "needed"), [((40, 20), 1), ((20, 20, 20), 2)])
def test_the_joins_that_would_meet_the_list_are_counted(held: tuple[float, ...], needed: int) -> None:
    told = shortage([spool(each) for each in held], [wanted(50), wanted(5)])
    assert told.joins_needed == needed


def test_one_length_that_may_bear_no_join_is_reason_enough_to_ask_for_joins() -> None:
    assert shortage([spool(10), spool(10)], [wanted(15), wanted(3, joins=1)]).joins_needed == 1


def test_no_more_joins_than_the_spools_allow_are_thought_of() -> None:
    assert shortage([spool(40), spool(20)], [wanted(70, joins=1)]).joins_needed is None
    assert shortage([spool(40), spool(20)], [wanted(70, joins=0)]).joins_needed is None


def test_a_list_that_the_best_estimate_meets_is_told_as_such() -> None:
    # surely 19 m, and 20 m by the best estimate
    unsure = [spool(20, 0.5)]
    assert shortage(unsure, [wanted(19.5)]).best_estimate_meets
    assert not shortage(unsure, [wanted(20.5)]).best_estimate_meets
    assert shortage(unsure, [wanted(19.5)]).missing == {0: 0.5}
    # planned with the best estimate there is nothing better to hope for
    assert not shortage(unsure, [wanted(20.5)], best_estimate=True).best_estimate_meets
    assert shortage(unsure, [wanted(20.5)], best_estimate=True).missing == {0: 0.5}


def test_where_the_time_does_not_suffice_nothing_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    asked_s = []

    def out_of_time(_: Any, seconds: float) -> Any:
        asked_s.append(seconds)
        raise NoAnswerError

    monkeypatch.setattr(cut_shortage, "missing_mm", out_of_time)
    monkeypatch.setattr(cut_shortage, "cut", out_of_time)
    told = shortage([spool(20), spool(20)], [wanted(30)])
    assert asked_s == [60] * 3  # what is missing, the best estimate, and joins
    assert told == Shortage({}, proven=False, best_estimate_meets=False, joins_needed=None, spools=())

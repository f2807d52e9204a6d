"""The solver of cut lists against a search that tries everything."""

from __future__ import annotations

import os
from random import Random
from typing import Any

import pytest
from attrs import evolve

from cut_lists import best_by_search, random_problem
from reelwright.winding import cut_solver, integer_program
from reelwright.winding.cut_list import CutProblem, Cutting, Demand, Piece, Supply
from reelwright.winding.cut_solver import NoAnswerError, cut, least_further_mm, missing_mm

# a sample in the suite, 3000 were run without a difference
CASES = int(os.environ.get("REELWRIGHT_CUT_LISTS", "150"))


def score(cutting: Cutting | None) -> tuple[int, int, int] | None:
    return cutting and (cutting.joins, cutting.waste_mm, len(cutting.opened))


def test_nothing_that_a_search_of_all_ways_finds_is_better() -> None:
    joined = unmet = 0
    for seed in range(CASES):
        problem = random_problem(Random(seed))
        cutting = cut(problem)
        assert score(cutting) == best_by_search(problem), f"seed {seed}: {problem}"
        if cutting:
            assert cutting.proven, f"seed {seed}"
            assert cutting.faults() == [], f"seed {seed}"
            joined += cutting.joins > 0
        unmet += cutting is None
    assert joined > CASES / 20, "the cases must have joins in them"
    assert CASES / 5 < unmet < CASES * 4 / 5


def test_what_is_missing_is_the_least_that_makes_the_rest_feasible() -> None:
    looked_at = 0
    for seed in range(CASES // 2):
        problem = evolve(random_problem(Random(seed)), shortest_piece_mm=1)
        missing, proven = missing_mm(problem)
        assert proven, f"seed {seed}"
        assert bool(missing) == (best_by_search(problem) is None), f"seed {seed}: {problem}"
        if not missing:
            continue
        assert best_by_search(shortened(problem, missing)) is not None, f"seed {seed}: {problem}"
        if len(missing) > 1:
            for spared in missing:
                rest = {at: problem.demands[at].length_mm for at in missing if at != spared}
                assert best_by_search(shortened(problem, rest)) is None, f"seed {seed}: one less would be unmet"
            continue
        looked_at += 1
        (least,) = missing.values()
        for at, demand in enumerate(problem.demands):
            if demand.length_mm > least - 1:
                assert best_by_search(shortened(problem, {at: least - 1})) is None, f"seed {seed}: {problem}"
    assert looked_at > CASES / 15


def shortened(problem: CutProblem, missing: dict[int, int]) -> CutProblem:
    """The problem without what is missing."""
    left = [
        evolve(demand, length_mm=demand.length_mm - missing.get(at, 0))
        for at, demand in enumerate(problem.demands)
        if demand.length_mm > missing.get(at, 0)
    ]
    return evolve(problem, demands=tuple(left))


def metres(*lengths_m: float, joins: int = 0, kind: str = "red") -> tuple[Demand, ...]:
    return tuple(Demand(kind, round(1000 * length_m), most_joins=joins) for length_m in lengths_m)


def spools(*lengths_m: float, kind: str = "red") -> tuple[Supply, ...]:
    return tuple(Supply(kind, round(1000 * length_m), round(1000 * length_m)) for length_m in lengths_m)


def test_a_further_spool_meets_the_list_with_the_least_and_not_with_a_bit_less() -> None:
    joined = 0
    for seed in range(CASES):
        problem = random_problem(Random(seed))
        missing, _ = missing_mm(problem)
        wholes: dict[Any, int] = {}
        for at in missing:
            demand = problem.demands[at]
            whole_mm = demand.length_mm + demand.leader_mm + demand.tail_mm
            wholes[demand.kind] = wholes.get(demand.kind, 0) + whole_mm
        if len(wholes) != 1:
            continue  # with two kinds short no single spool meets the list
        ((kind, most_mm),) = wholes.items()
        least_mm, proven = least_further_mm(problem, kind, most_mm)
        assert proven, f"seed {seed}"

        def with_further(held_mm: int, problem: CutProblem = problem, kind: Any = kind) -> CutProblem:
            return evolve(problem, supplies=(*problem.supplies, Supply(kind, held_mm, held_mm)))

        assert best_by_search(with_further(least_mm)) is not None, f"seed {seed}: {problem}"
        assert best_by_search(with_further(least_mm - 1)) is None, f"seed {seed}: {problem}"
        joined += least_mm < most_mm
    assert joined > CASES / 20, "the cases must have spools in them that need joins"


def test_a_join_is_avoided_even_at_the_price_of_waste() -> None:
    # 30 + 20 m would empty both spools with a join; without one 1 m is wasted on the third
    problem = CutProblem(spools(25, 25, 31), metres(30, joins=1), shortest_useful_mm=5000)
    cutting = cut(problem)
    assert cutting is not None
    assert (cutting.joins, cutting.waste_mm, cutting.opened) == (0, 1000, (2,))


def test_a_remnant_that_is_long_enough_is_not_waste() -> None:
    cutting = cut(CutProblem(spools(23, 45), metres(20), shortest_useful_mm=5000))
    assert cutting is not None
    assert (cutting.waste_mm, cutting.opened) == (0, (1,))


def test_among_equals_fewer_spools_are_opened_and_the_first_ones() -> None:
    cutting = cut(CutProblem(spools(40, 40, 40), metres(10, 10, 10)))
    assert cutting is not None
    assert cutting.opened == (0,)


def test_the_same_list_gives_the_same_answer() -> None:
    problem = CutProblem(spools(40, 22, 20), metres(30, 25, 20, joins=2), shortest_useful_mm=5000, join_loss_mm=100)
    first = cut(problem)
    assert first is not None
    assert [cut(problem) for _ in range(3)] == [first] * 3


def test_strand_of_another_kind_does_not_help() -> None:
    problem = CutProblem((*spools(20), *spools(50, kind="blue")), metres(30, joins=3))
    assert cut(problem) is None
    assert missing_mm(problem) == ({0: 10_000}, True)


def test_each_kind_is_cut_for_itself() -> None:
    demands = (*metres(30, joins=1), *metres(12, kind="blue"))
    cutting = cut(CutProblem((*spools(20), *spools(12, kind="blue"), *spools(10)), demands))
    assert cutting is not None
    assert {piece.supply for piece in cutting.pieces[0]} == {0, 2}
    assert cutting.pieces[1] == (Piece(1, 12_000),)


def test_leader_tail_and_the_loss_of_a_join_come_off_the_spools_that_they_lie_on() -> None:
    demand = Demand("red", 10_000, leader_mm=700, tail_mm=300, most_joins=1)
    # 5 + 5 m of counted strand, 0.7 m of leader on the one, 0.3 m of tail and 0.1 m of loss on the other
    problem = CutProblem(spools(5.7, 5.4), (demand,), join_loss_mm=100)
    cutting = cut(problem)
    assert cutting is not None
    assert cutting.pieces == ((Piece(0, 5000), Piece(1, 5000)),)
    assert [cutting.used_mm(supply) for supply in (0, 1)] == [5700, 5400]
    # a millimetre less and it must be short
    assert missing_mm(evolve(problem, supplies=spools(5.7, 5.399))) == ({0: 1}, True)


def test_the_leader_may_come_from_a_later_spool_of_the_list() -> None:
    demand = Demand("red", 10_000, leader_mm=700, tail_mm=300, most_joins=1)
    # the first spool has a piece of 1 m, 0.3 m of tail and 0.1 m of loss, which is too little for a leader
    cutting = cut(CutProblem(spools(1.4, 9.7), (demand,), shortest_piece_mm=1000, join_loss_mm=100))
    assert cutting is not None
    assert cutting.pieces == ((Piece(1, 9000), Piece(0, 1000)),)


def test_several_spools_are_joined_between_the_first_and_the_last() -> None:
    cutting = cut(CutProblem(spools(10, 10, 10, 10), metres(40, joins=3)))
    assert cutting is not None
    assert cutting.faults() == []
    assert {piece.supply for piece in cutting.pieces[0]} == {0, 1, 2, 3}


def test_no_piece_is_shorter_than_the_rules_allow_even_where_that_would_save_strand() -> None:
    # 9.5 + 0.5 m would leave 4.5 m, long enough to keep
    problem = CutProblem(spools(9.5, 5), metres(10, joins=1), shortest_useful_mm=4500, shortest_piece_mm=1000)
    cutting = cut(problem)
    assert cutting is not None
    assert min(piece.length_mm for piece in cutting.pieces[0]) >= 1000


@pytest.mark.parametrize("end", ["leader_mm", "tail_mm"])
def test_a_spool_that_gives_no_piece_gives_no_end_either(end: str) -> None:
    demand = Demand("red", 10_000, most_joins=2)
    problem = CutProblem(spools(5, 5, 0.7), (evolve(demand, **{end: 700}),), shortest_piece_mm=1000)
    assert cut(evolve(problem, demands=(demand,))) is not None
    assert cut(problem) is None
    # and of what one spool is short of, the end is still its own
    assert missing_mm(evolve(problem, supplies=spools(5, 0.7))) == ({0: 5700}, True)


def test_a_joined_length_does_not_begin_and_end_on_one_spool() -> None:
    # the small spool has a piece of 1 m and the loss of a join, and neither leader nor tail
    demand = Demand("red", 10_000, leader_mm=500, tail_mm=300, most_joins=1)
    problem = CutProblem(spools(9.8, 1.1), (demand,), shortest_piece_mm=1000, join_loss_mm=100)
    assert cut(evolve(problem, supplies=spools(9.8, 1.4))) is not None
    assert cut(problem) is None


def test_a_length_from_one_spool_takes_its_ends_from_it() -> None:
    ends = (Demand("red", 9500, leader_mm=300, tail_mm=200),)
    assert cut(CutProblem(spools(10), ends)) is not None
    assert cut(CutProblem(spools(9.999), ends)) is None


def test_no_length_is_cut_twice_to_use_up_what_would_be_wasted() -> None:
    # 12 m from each spool leave 5 m twice, and 5 m are wanted only once
    cutting = cut(CutProblem(spools(17, 17), metres(12, 12, 5), shortest_useful_mm=8000))
    assert cutting is not None
    assert cutting.proven
    assert cutting.waste_mm == 5000


def test_a_length_has_no_more_joins_than_it_bears() -> None:
    assert cut(CutProblem(spools(10, 10, 10), metres(30, joins=1))) is None
    assert cut(CutProblem(spools(10, 10, 10), metres(30, joins=2))) is not None


def test_each_join_costs_its_loss() -> None:
    problem = CutProblem(spools(10, 10, 10.2), metres(30, joins=2), join_loss_mm=100)
    assert cut(problem) is not None
    assert cut(evolve(problem, supplies=spools(10, 10, 10.199))) is None


def test_joins_are_counted_and_not_pieces() -> None:
    # two joins either way: 8 m whole and 14 m of three pieces waste 0.6 m twice; both of two pieces leave 1.2 m to keep
    problem = CutProblem(spools(8.6, 6.6, 4, 4), metres(8, 14, joins=2), shortest_useful_mm=1200)
    cutting = cut(problem)
    assert cutting is not None
    assert (cutting.joins, cutting.waste_mm) == (2, 0)


def test_few_lengths_stay_unmet_rather_than_little_strand() -> None:
    # the two short ones with their leaders, or the long one: one length unmet and 10 m missing, or two and 9 m
    short = (Demand("red", 5500, leader_mm=500), Demand("red", 3500, leader_mm=500))
    assert missing_mm(CutProblem(spools(10), (*metres(10), *short))) == ({0: 10_000}, True)


def test_few_spools_go_before_many_that_stand_earlier_in_the_list() -> None:
    # five of 12 m, at the end of the list, hold what six of 10 m would
    demands = metres(2, 2, 2, 2, 2, 10, 10, 10, 10, 10)
    cutting = cut(CutProblem(spools(*[10] * 6, *[12] * 5), demands))
    assert cutting is not None
    assert cutting.opened == (6, 7, 8, 9, 10)


class StoppedClock:
    """The solver's time under a clock that stands still: what it was given at each call, in seconds.

    columns: how many numbers it was asked for at each call.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *answers: Any) -> None:
        """answers: (status, numbers) of each call, or None for the solver's own."""
        import scipy.optimize

        whole, self.seconds, self.columns = scipy.optimize.milp, list[float](), list[int]()
        left = iter(answers)

        def milp(*arguments: Any, **options: Any) -> Any:
            self.seconds.append(options["options"]["time_limit"])
            self.columns.append(len(arguments[0]))
            answer = next(left, None)
            if answer is None:
                return whole(*arguments, **options)
            result = whole(*arguments, **options)
            status, is_found = answer
            return scipy.optimize.OptimizeResult(status=status, x=result.x if is_found else None)

        monkeypatch.setattr(scipy.optimize, "milp", milp)
        for module in (cut_solver, integer_program):
            monkeypatch.setattr(module, "monotonic", lambda: 1000.0)


UNPROVEN, OUT_OF_TIME = (1, True), (1, False)  # 1: scipy.optimize.milp's status for its time limit


def test_half_of_the_time_is_kept_for_joins(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = StoppedClock(monkeypatch, OUT_OF_TIME)
    cutting = cut(CutProblem(spools(20, 30), metres(25, joins=1)), 60)
    assert cutting is not None
    assert clock.seconds[:2] == [30, 60]


def test_the_first_try_asks_for_no_joins_though_one_of_the_lengths_bears_some(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = StoppedClock(monkeypatch, OUT_OF_TIME)
    assert cut(CutProblem(spools(20, 40), (*metres(25, joins=1), *metres(5))), 60) is not None
    assert clock.seconds[:2] == [30, 60]
    # is a spool opened, is its rest kept, how much of it is wasted; and does it give a length
    assert clock.columns[0] == 2 * 3 + 2 * 2
    assert clock.columns[1] > clock.columns[0]


def test_a_length_that_bears_no_join_has_all_of_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = StoppedClock(monkeypatch, OUT_OF_TIME)
    blue = metres(25, joins=1, kind="blue")
    with pytest.raises(NoAnswerError):
        cut(CutProblem((*spools(20, 30), *spools(30, kind="blue")), (*metres(25), *blue)), 60)
    assert clock.seconds == [30]  # of the two kinds' 60


def test_the_kinds_share_the_time_that_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = CutProblem((*spools(20), *spools(20, kind="blue")), (*metres(15), *metres(15, kind="blue")))
    clock = StoppedClock(monkeypatch)
    assert cut(problem, 60) is not None
    assert clock.seconds == [30] * 3 + [60] * 3  # three objectives each
    assert missing_mm(problem, 60) == ({}, True)
    assert clock.seconds[6:] == [30] * 2 + [60] * 2


@pytest.mark.parametrize("slow", [0, 1])
def test_one_kind_that_is_not_proven_leaves_the_whole_unproven(monkeypatch: pytest.MonkeyPatch, slow: int) -> None:
    problem = CutProblem((*spools(20), *spools(20, kind="blue")), (*metres(15), *metres(15, kind="blue")))
    StoppedClock(monkeypatch, *[UNPROVEN if slow == kind else None for kind in (0, 0, 0, 1, 1, 1)])
    cutting = cut(problem, 60)
    assert cutting is not None
    assert not cutting.proven


@pytest.mark.parametrize("slow", [0, 1])
def test_nor_is_what_is_missing(monkeypatch: pytest.MonkeyPatch, slow: int) -> None:
    problem = CutProblem((*spools(20), *spools(20, kind="blue")), (*metres(25), *metres(25, kind="blue")))
    StoppedClock(monkeypatch, *[UNPROVEN if slow == kind else None for kind in (0, 0, 1, 1)])
    assert missing_mm(problem, 60) == ({0: 5000, 1: 5000}, False)


def test_waste_is_remnants_too_short_to_use_and_what_joins_cost() -> None:
    problem = CutProblem(spools(12, 14), metres(21, joins=1), shortest_useful_mm=4900, join_loss_mm=100)
    cutting = Cutting(problem, ((Piece(0, 10_000), Piece(1, 11_000)),))
    assert [cutting.left_mm(supply) for supply in (0, 1)] == [2000, 2900]
    assert cutting.waste_mm == 2000 + 2900 + 100
    assert not cutting.is_kept(1)
    # what is just long enough is useful
    assert Cutting(evolve(problem, shortest_useful_mm=2900), cutting.pieces).is_kept(1)


def test_out_of_time_the_best_found_is_told_as_not_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    import scipy.optimize

    whole = scipy.optimize.milp

    def hurried(*arguments: Any, **options: Any) -> Any:
        result = whole(*arguments, **options)
        result.status = 1  # the time limit, with the best solution so far in x
        return result

    monkeypatch.setattr(scipy.optimize, "milp", hurried)
    cutting = cut(CutProblem(spools(20, 30), metres(25)), 60)
    assert cutting is not None
    assert not cutting.proven
    assert cutting.faults() == []


def test_without_time_there_is_no_answer_rather_than_a_wrong_one(monkeypatch: pytest.MonkeyPatch) -> None:
    import scipy.optimize

    nothing = scipy.optimize.OptimizeResult(status=1, x=None)
    monkeypatch.setattr(scipy.optimize, "milp", lambda *_, **__: nothing)
    problem = CutProblem(spools(20, 30), metres(25, joins=1))
    with pytest.raises(NoAnswerError):
        cut(problem, 1.0)
    with pytest.raises(NoAnswerError):
        missing_mm(problem, 1.0)


def test_an_answer_of_the_solver_that_breaks_a_rule_is_not_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Cutting, "faults", lambda _: ["demand 0 is not met"])
    with pytest.raises(NoAnswerError):
        cut(CutProblem(spools(30), metres(25)))


@pytest.mark.parametrize(
    ("pieces", "fault"),
    [
        (((Piece(0, 9000),),), "not met"),
        (((Piece(0, 5000), Piece(1, 3000), Piece(3, 2000)),), "too many joins"),
        (((Piece(0, 5000), Piece(0, 5000)),), "twice"),
        (((Piece(0, 9500), Piece(1, 500)),), "too short"),
        (((Piece(2, 10_000),),), "another kind"),
        (((Piece(0, 5000), Piece(2, 5000)),), "another kind"),
        (((Piece(1, 10_000),),), "beyond"),
    ],
)
def test_each_broken_rule_is_named(pieces: tuple[tuple[Piece, ...], ...], fault: str) -> None:
    supplies = (*spools(20, 7), *spools(20, kind="blue"), *spools(20))
    problem = CutProblem(supplies, metres(10, joins=1), shortest_piece_mm=1000)
    found = Cutting(problem, pieces).faults()
    assert len(found) == 1
    assert fault in found[0]

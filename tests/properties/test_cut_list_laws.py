"""What holds for every cutting, on lengths of real spools, summed here anew from its pieces."""

from __future__ import annotations

from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st

from reelwright.winding.cut_list import CutProblem, Demand, Supply
from reelwright.winding.cut_solver import cut, missing_mm

SECONDS = 5.0

supplies = st.builds(
    lambda kind, held, u: Supply(kind, held, max(held - u, 0)),
    st.sampled_from("ab"),
    st.integers(1, 400_000),
    st.integers(0, 20_000),
)
demands = st.builds(
    Demand,
    kind=st.sampled_from("ab"),
    length_mm=st.integers(1, 150_000),
    leader_mm=st.sampled_from([0, 500, 1234]),
    tail_mm=st.sampled_from([0, 300]),
    most_joins=st.integers(0, 2),
)
problems = st.builds(
    CutProblem,
    st.lists(supplies, min_size=1, max_size=4).map(tuple),
    st.lists(demands, min_size=1, max_size=4).map(tuple),
    shortest_useful_mm=st.sampled_from([0, 5000, 20_000]),
    shortest_piece_mm=st.sampled_from([1, 1000]),
    join_loss_mm=st.sampled_from([0, 100]),
)


@settings(max_examples=60, deadline=None)
@given(problems)
def test_every_length_is_met_to_the_millimetre_and_no_spool_gives_more_than_it_surely_holds(
    problem: CutProblem,
) -> None:
    cutting = cut(problem, SECONDS)
    if cutting is None:
        assert missing_mm(problem, SECONDS)[0]
        return
    used: Counter[int] = Counter()
    joins = 0
    for demand, pieces in zip(problem.demands, cutting.pieces, strict=True):
        assert sum(piece.length_mm for piece in pieces) == demand.length_mm
        assert len(pieces) <= demand.most_joins + 1
        assert len({piece.supply for piece in pieces}) == len(pieces)
        assert {problem.supplies[piece.supply].kind for piece in pieces} == {demand.kind}
        assert min(piece.length_mm for piece in pieces) >= min(problem.shortest_piece_mm, demand.length_mm)
        for piece in pieces:
            used[piece.supply] += piece.length_mm
        used[pieces[0].supply] += demand.leader_mm
        used[pieces[-1].supply] += demand.tail_mm
        for piece in pieces[1:]:
            used[piece.supply] += problem.join_loss_mm
        joins += len(pieces) - 1
    assert all(used[at] <= supply.usable_mm for at, supply in enumerate(problem.supplies))
    left = [problem.supplies[at].held_mm - taken for at, taken in used.items()]
    waste = sum(each for each in left if each < problem.shortest_useful_mm) + joins * problem.join_loss_mm
    assert (cutting.joins, cutting.waste_mm, set(cutting.opened)) == (joins, waste, set(used))
    assert missing_mm(problem, SECONDS)[0] == {}

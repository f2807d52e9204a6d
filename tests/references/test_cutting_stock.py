"""Published problems of packing and cutting that a cut list can say, with their published answers."""

from __future__ import annotations

from random import Random

import pytest

from reelwright.winding.cut_list import CutProblem, Demand, Supply
from reelwright.winding.cut_solver import cut

# (capacity, items, fewest bins, source)
PACKINGS = [
    (
        100,
        [48, 30, 19, 36, 36, 27, 42, 42, 36, 24, 30],
        4,
        # seen: the data; the answer from memory of the same page, and no less, since the items add up to 370
        "Google OR-Tools, guide, The Bin Packing Problem, developers.google.com/optimization/pack/bin_packing",
    ),
    # seen: statement, examples and answers
    (300, [150] * 5, 3, "TopCoder, BinPackingEasy, example 0"),
    (300, [130, 140, 150, 160], 2, "TopCoder, BinPackingEasy, example 1"),
    (300, [101] * 9, 5, "TopCoder, BinPackingEasy, example 2"),
    (300, [101, 200, 101, 101, 101, 101, 200, 101, 200], 6, "TopCoder, BinPackingEasy, example 3"),
]


@pytest.mark.parametrize("shortest_useful", [0, 1000], ids=["every remnant kept", "every remnant wasted"])
@pytest.mark.parametrize(("capacity", "items", "bins", "source"), PACKINGS, ids=[each[3][-30:] for each in PACKINGS])
def test_without_joins_a_cut_list_is_bin_packing(
    capacity: int, items: list[int], bins: int, source: str, shortest_useful: int
) -> None:
    supplies = tuple(Supply("", capacity, capacity) for _ in items)
    demands = tuple(Demand("", item) for item in items)
    cutting = cut(CutProblem(supplies, demands, shortest_useful_mm=shortest_useful))
    assert cutting is not None
    assert cutting.proven
    assert len(cutting.opened) == bins, source
    if shortest_useful:
        assert cutting.waste_mm == bins * capacity - sum(items), source


def test_spools_of_one_length_used_to_the_end_need_at_most_one_join_fewer_than_there_are_spools() -> None:
    """The wrap-around rule: with m machines m - 1 preemptions suffice (R. McNaughton, Management Science 6, 1959).

    From memory. A machine is a spool, a job a wanted length, a preemption a join.
    """
    for seed in range(12):
        random = Random(seed)
        count, length = random.randint(2, 4), 60
        cuts = sorted(random.sample(range(1, count * length), random.randint(count, count + 2)))
        wanted = [end - begin for begin, end in zip([0, *cuts], [*cuts, count * length], strict=True)]
        demands = tuple(Demand("", each, most_joins=count - 1) for each in wanted)
        cutting = cut(CutProblem(tuple(Supply("", length, length) for _ in range(count)), demands))
        assert cutting is not None, f"seed {seed}"
        assert cutting.joins <= count - 1, f"seed {seed}"
        assert cutting.waste_mm == 0

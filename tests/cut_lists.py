"""Small random cut lists, and the best that can be done with each, found by trying everything.

The search knows nothing of the solver's model: it walks from wanted length to wanted length and keeps, for each
way the spools can stand, the fewest joins that lead there. Lengths are a few whole units, so that it may try
every place of every join.
"""

from __future__ import annotations

from itertools import pairwise, permutations
from typing import TYPE_CHECKING

from reelwright.winding.cut_list import CutProblem, Demand, Supply

if TYPE_CHECKING:
    from collections.abc import Iterator
    from random import Random


def random_problem(random: Random) -> CutProblem:
    """Two to four supplies and one to three demands of one kind or two, a few units long."""
    kinds = random.choice([["red"], ["red"], ["red", "blue"]])
    supplies = []
    for _ in range(random.randint(2, 4)):
        held = random.randint(4, 16)
        supplies.append(Supply(random.choice(kinds), held, max(held - random.randint(0, 3), 0)))
    demands = [
        Demand(
            random.choice(kinds),
            random.randint(2, 13),
            leader_mm=random.choice([0, 0, 1]),
            tail_mm=random.choice([0, 0, 1]),
            most_joins=random.randint(0, 3),
        )
        for _ in range(random.randint(1, 3))
    ]
    return CutProblem(
        tuple(supplies),
        tuple(demands),
        shortest_useful_mm=random.randint(0, 6),
        shortest_piece_mm=random.randint(1, 3),
        join_loss_mm=random.choice([0, 0, 1]),
    )


def best_by_search(problem: CutProblem) -> tuple[int, int, int] | None:
    """The least (joins, waste, spools opened) in that order, or None where the list cannot be met."""
    fewest = {tuple(0 for _ in problem.supplies): 0}
    for demand in problem.demands:
        ways = set(_ways(problem, demand))
        reached: dict[tuple[int, ...], int] = {}
        for taken, joins in fewest.items():
            for way, more in ways:
                after = tuple(a + b for a, b in zip(taken, way, strict=True))
                if all(used <= supply.usable_mm for used, supply in zip(after, problem.supplies, strict=True)):
                    reached[after] = min(reached.get(after, joins + more), joins + more)
        fewest = reached
    return min((_score(problem, taken, joins) for taken, joins in fewest.items()), default=None)


def _ways(problem: CutProblem, demand: Demand) -> Iterator[tuple[tuple[int, ...], int]]:
    """Every way to meet one demand: what comes off each supply, and the joins."""
    alike = [at for at, supply in enumerate(problem.supplies) if supply.kind == demand.kind]
    shortest = min(problem.shortest_piece_mm, demand.length_mm)
    for joins in range(min(demand.most_joins, len(alike) - 1) + 1):
        for order in permutations(alike, joins + 1):
            for lengths in _splits(demand.length_mm, joins + 1, shortest):
                off = [0] * len(problem.supplies)
                for supply, length in zip(order, lengths, strict=True):
                    off[supply] += length
                off[order[0]] += demand.leader_mm
                off[order[-1]] += demand.tail_mm
                for _, joined_on in pairwise(order):
                    off[joined_on] += problem.join_loss_mm
                yield tuple(off), joins


def _splits(length: int, parts: int, shortest: int) -> Iterator[tuple[int, ...]]:
    if parts == 1:
        if length >= shortest:
            yield (length,)
        return
    for first in range(shortest, length + 1):
        for rest in _splits(length - first, parts - 1, shortest):
            yield first, *rest


def _score(problem: CutProblem, taken: tuple[int, ...], joins: int) -> tuple[int, int, int]:
    left = [supply.held_mm - used for supply, used in zip(problem.supplies, taken, strict=True) if used]
    short = sum(each for each in left if each < problem.shortest_useful_mm)
    return joins, short + joins * problem.join_loss_mm, len(left)

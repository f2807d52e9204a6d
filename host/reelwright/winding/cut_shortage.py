"""Why a cut list cannot be met, and what would help."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve, frozen

from reelwright.winding.cut_list import MOST_JOINS, Supply
from reelwright.winding.cut_solver import NoAnswerError, cut, least_further_mm, missing_mm

if TYPE_CHECKING:
    from collections.abc import Hashable

    from reelwright.winding.cut_list import CutProblem, Cutting
    from reelwright.winding.cut_plan import CutList
    from reelwright.winding.job import Strand


class FurtherSpool(NamedTuple):
    """A pay-off spool that would meet the lengths of its strand: what it must hold, where all is known of it.

    is_least: a spool with less would not do; else that is not known.
    """

    strand: Strand
    length_m: float
    is_least: bool


@frozen
class Shortage:
    """What is missing. Lengths in metres.

    missing: the wanted lengths that stay unmet, by place in the list, and the counted strand that each lacks;
    empty where the time did not suffice to tell. proven: no less could be missing. best_estimate_meets: planning
    with that meets the list. joins_needed: the joins a length must bear for the list to be met; None where joins do
    not help. spools: one more of each strand that is short, which together would meet it.
    """

    missing: dict[int, float]
    proven: bool
    best_estimate_meets: bool
    joins_needed: int | None
    spools: tuple[FurtherSpool, ...]


def shortage_of(cut_list: CutList, *, best_estimate: bool, seconds: float) -> Shortage:
    """Look into a list that cannot be met; each question may take as many seconds."""
    problem = cut_list.problem(best_estimate=best_estimate)
    try:
        missing, proven = missing_mm(problem, seconds)
    except NoAnswerError:
        missing, proven = {}, False
    hopeful = None if best_estimate else _cut_in_time(cut_list.problem(best_estimate=True), seconds)
    # more joins than spools to join are none
    most = min(len(problem.supplies) - 1, MOST_JOINS)
    joined = None
    if any(demand.most_joins < most for demand in problem.demands):
        demands = tuple(evolve(demand, most_joins=most) for demand in problem.demands)
        joined = _cut_in_time(evolve(problem, demands=demands), seconds)
    return Shortage(
        {place: length_mm / 1000 for place, length_mm in missing.items()},
        proven,
        hopeful is not None,
        None if joined is None else max(len(pieces) - 1 for pieces in joined.pieces),
        _spools(cut_list, problem, missing, seconds, best_estimate=best_estimate),
    )


def _cut_in_time(problem: CutProblem, seconds: float) -> Cutting | None:
    try:
        return cut(problem, seconds)
    except NoAnswerError:
        return None


def _spools(
    cut_list: CutList, problem: CutProblem, missing: dict[int, int], seconds: float, *, best_estimate: bool
) -> tuple[FurtherSpool, ...]:
    """For each strand of lengths that stay unmet. A spool that holds them whole would do; with joins less may."""
    strands: dict[Hashable, Strand] = {}
    whole_mm: defaultdict[Hashable, int] = defaultdict(int)
    for place in missing:
        demand = problem.demands[place]
        strands[demand.kind] = cut_list.wanted[place].job.strand
        whole_mm[demand.kind] += demand.length_mm + demand.leader_mm + demand.tail_mm
    found = []
    for kind, most_mm in whole_mm.items():
        try:
            least_mm, proven = least_further_mm(problem, kind, most_mm, seconds)
        except NoAnswerError:
            least_mm, proven = most_mm, False
        does_mm = _one_that_does(problem, kind, least_mm, most_mm, seconds)
        held_mm = does_mm if best_estimate else cut_list.winds[kind].must_hold_mm(does_mm)
        found.append(FurtherSpool(strands[kind], held_mm / 1000, proven and does_mm == least_mm))
    return tuple(found)


def _one_that_does(problem: CutProblem, kind: Hashable, least_mm: int, most_mm: int, seconds: float) -> int:
    """The least length that the list is then really cut with: the solver's own rounding may lack a millimetre."""
    of_kind = evolve(problem, demands=tuple(demand for demand in problem.demands if demand.kind == kind))
    for length_mm in range(least_mm, min(least_mm + 1, most_mm) + 1):
        further = Supply(kind, length_mm, length_mm)
        if _cut_in_time(evolve(of_kind, supplies=(*of_kind.supplies, further)), seconds) is not None:
            return length_mm
    return most_mm

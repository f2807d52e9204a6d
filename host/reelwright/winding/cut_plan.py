"""From a cut list to the winding steps, one job for each take-up spool, to be wound in the order of the list.

A length made of pieces is one job too: it pauses at a mark where a piece ends, the operator joins the next
pay-off spool's strand on, and the wind goes on.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from functools import cached_property
from math import ceil, floor, sqrt
from typing import TYPE_CHECKING

from attrs import evolve, frozen

from reelwright.winding.cut_list import CutProblem, Cutting, Demand, Supply
from reelwright.winding.cut_winds import Winds
from reelwright.winding.job import PayOff
from reelwright.winding.plan import make_plan
from reelwright.winding.source import check_source
from reelwright.winding.uncertainty import COVERAGE, estimate_of

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from reelwright.winding.cut_list import CutRules
    from reelwright.winding.job import Job, Strand
    from reelwright.winding.planned import Plan
    from reelwright.winding.source import SourceCheck


@frozen
class PayOffSpool:
    """A pay-off spool of the list, and what its check says that it holds."""

    name: str
    pay_off: PayOff
    strand: Strand
    check: SourceCheck

    @property
    def held_mm(self) -> int:
        """The best estimate of what it holds."""
        return _whole_mm_below(self.check.held_m)

    def left_u_m(self, winds: Winds, off_mm: int) -> float:
        """Standard uncertainty of what stays on it once these winds have counted so much off."""
        check = check_source(self.pay_off, self.strand, 0.0, winds.drawn(off_mm))
        return self.check.held_u_m if check is None else check.left_u_m


@frozen
class WantedLength:
    """One wanted length: its job without pay-off spool and marks, and how many joins it bears."""

    name: str
    job: Job
    most_joins: int

    @property
    def demand(self) -> Demand:
        """The length as the solver sees it."""
        target = self.job.target
        if target.length_m is None:
            raise ValueError("a wanted length is a target of length_m")
        return Demand(
            strand_kind(self.job.strand),
            _whole_mm_above(target.length_m),
            _whole_mm_above(target.leader_m),
            _whole_mm_above(target.tail_m),
            self.most_joins,
        )


@frozen(slots=False)  # the winds are planned once
class CutList:
    """What a file of a cut list says, checked."""

    rules: CutRules
    pay_offs: tuple[PayOffSpool, ...]
    wanted: tuple[WantedLength, ...]

    @cached_property
    def winds(self) -> Mapping[Hashable, Winds]:
        """The winds of each strand, by its kind."""
        plans: defaultdict[Hashable, list[Plan]] = defaultdict(list)
        for number, wanted in enumerate(self.wanted):
            plans[strand_kind(wanted.job.strand)].append(make_plan(self.job(number)))
        return {kind: Winds(of_kind) for kind, of_kind in plans.items()}

    def job(self, number: int) -> Job:
        """The job of a wanted length in its place, without pay-off spool and marks.

        The list's phase is that of the guide before the first step; before the others it is brought to a flange.
        """
        job = self.wanted[number].job
        return evolve(job, machine=evolve(job.machine, phase_turns=None)) if number else job

    def problem(self, *, best_estimate: bool = False) -> CutProblem:
        """The list as the solver sees it. best_estimate: plan with that, not with what is surely counted off."""
        supplies = (
            Supply(strand_kind(each.strand), each.held_mm, each.held_mm if best_estimate else self.sure_mm(number))
            for number, each in enumerate(self.pay_offs)
        )
        return CutProblem(
            tuple(supplies),
            tuple(each.demand for each in self.wanted),
            shortest_useful_mm=_whole_mm_above(self.rules.shortest_useful_m),
            shortest_piece_mm=_whole_mm_above(self.rules.shortest_piece_m),
            join_loss_mm=_whole_mm_above(self.rules.join_loss_m),
        )

    def left_u_m(self, number: int, off_mm: int) -> float:
        """Standard uncertainty of what stays on a pay-off spool once this is counted off it."""
        spool = self.pay_offs[number]
        winds = self.winds.get(strand_kind(spool.strand))
        return spool.check.held_u_m if winds is None else spool.left_u_m(winds, off_mm)

    def sure_mm(self, number: int) -> int:
        """The most that can be counted off a pay-off spool and is surely on it: in 95 % of cases or more."""
        held_mm = self.pay_offs[number].held_mm

        def must_hold_mm(off_mm: int) -> int:
            return _whole_mm_above(off_mm / 1000 + COVERAGE * self.left_u_m(number, off_mm))

        return max(bisect_right(range(held_mm + 1), held_mm, key=must_hold_mm) - 1, 0)


@frozen
class StepPiece:
    """A piece of a step. from_m, to_m: where it lies in the counted strand. off_m: what comes off the pay-off spool."""

    pay_off: PayOffSpool
    from_m: float
    to_m: float
    off_m: float


@frozen
class Step:
    """One take-up spool. The job's marks are its joins."""

    name: str
    job: Job
    plan: Plan
    pieces: tuple[StepPiece, ...]


def strand_kind(strand: Strand) -> Hashable:
    """Only strand of one kind is joined: the same name, material and diameter."""
    return strand.name.casefold(), strand.material.casefold(), strand.diameter_mm


def winding_steps(cut_list: CutList, cutting: Cutting) -> tuple[Step, ...]:
    """The steps in the order of the list.

    A step from one pay-off spool says how much of it is left by then, so that its own plan checks it again. A
    joined one has no single pay-off spool to check, and names none.
    """
    taken_mm = [0] * len(cut_list.pay_offs)
    steps = []
    for number, wanted in enumerate(cut_list.wanted):
        pieces, at_mm = [], 0
        job, pay_off = cut_list.job(number), None
        for piece, _, off_mm in cutting.drawn(number):
            spool = cut_list.pay_offs[piece.supply]
            end_mm = at_mm + piece.length_mm
            pieces.append(StepPiece(spool, at_mm / 1000, end_mm / 1000, off_mm / 1000))
            at_mm = end_mm
            if len(cutting.pieces[number]) == 1:
                pay_off = _by_then(cut_list, piece.supply, taken_mm[piece.supply], off_mm, job)
            taken_mm[piece.supply] += off_mm
        marks = tuple(piece.to_m for piece in pieces[:-1])
        job = evolve(job, target=evolve(job.target, marks_m=marks), pay_off=pay_off)
        steps.append(Step(wanted.name, job, make_plan(job), tuple(pieces)))
    return tuple(steps)


def joins_apart(step: Step) -> bool:
    """Whether the winder pauses at each join: two that fall on one pulse, or one on the end, are none of its stops."""
    return sum(kind == "mark" for _, kind in step.plan.stops) >= len(step.pieces) - 1


def _by_then(cut_list: CutList, supply: int, taken_mm: int, off_mm: int, job: Job) -> PayOff:
    """A pay-off spool after what was taken from it, as unsure as to leave after this job what the list says."""
    spool = cut_list.pay_offs[supply]
    u_m, own_u_m = cut_list.left_u_m(supply, taken_mm + off_mm), estimate_of(make_plan(job).drawn.length_mm).u / 1000
    held_u_m = sqrt(max(u_m**2 - own_u_m**2, 0.0))
    return PayOff(held_m=(spool.held_mm - taken_mm) / 1000, held_u_m=held_u_m, name=spool.name)


def _whole_mm_below(length_m: float) -> int:
    return floor(round(1000 * length_m, 6))


def _whole_mm_above(length_m: float) -> int:
    return ceil(round(1000 * length_m, 6))

"""From a cut list to the winding steps, one job for each take-up spool, to be wound in the order of the list.

A length made of pieces is one job too: it pauses at a mark where a piece ends, the operator joins the next
pay-off spool's strand on, and the wind goes on.
"""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING

from attrs import evolve, frozen

from reelwright.winding.cut_list import CutProblem, Cutting, Demand, Supply
from reelwright.winding.job import PayOff
from reelwright.winding.plan import make_plan
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Hashable

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

    @property
    def sure_mm(self) -> int:
        """What it surely holds: the lower end of the 95 % interval."""
        return max(_whole_mm_below(self.check.held_m - COVERAGE * self.check.held_u_m), 0)


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


@frozen
class CutList:
    """What a file of a cut list says, checked."""

    rules: CutRules
    pay_offs: tuple[PayOffSpool, ...]
    wanted: tuple[WantedLength, ...]

    def problem(self, *, best_estimate: bool = False) -> CutProblem:
        """The list as the solver sees it. best_estimate: plan with that, not with what the spools surely hold."""
        supplies = (
            Supply(strand_kind(each.strand), each.held_mm, each.held_mm if best_estimate else each.sure_mm)
            for each in self.pay_offs
        )
        return CutProblem(
            tuple(supplies),
            tuple(each.demand for each in self.wanted),
            shortest_useful_mm=_whole_mm_above(self.rules.shortest_useful_m),
            shortest_piece_mm=_whole_mm_above(self.rules.shortest_piece_m),
            join_loss_mm=_whole_mm_above(self.rules.join_loss_m),
        )


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
        for piece, _, off_mm in cutting.drawn(number):
            spool = cut_list.pay_offs[piece.supply]
            end_mm = at_mm + piece.length_mm
            pieces.append(StepPiece(spool, at_mm / 1000, end_mm / 1000, off_mm / 1000))
            at_mm = end_mm
        pay_off = None
        if len(pieces) == 1:
            (only,) = cutting.pieces[number]
            pay_off = _now(cut_list.pay_offs[only.supply], taken_mm[only.supply])
        for piece, _, off_mm in cutting.drawn(number):
            taken_mm[piece.supply] += off_mm
        job = _step_job(wanted.job, pay_off, pieces, is_first=number == 0)
        steps.append(Step(wanted.name, job, make_plan(job), tuple(pieces)))
    return tuple(steps)


def joins_apart(step: Step) -> bool:
    """Whether the winder pauses at each join: two that fall on one pulse, or one on the end, are none of its stops."""
    return sum(kind == "mark" for _, kind in step.plan.stops) >= len(step.pieces) - 1


def _step_job(job: Job, pay_off: PayOff | None, pieces: list[StepPiece], *, is_first: bool) -> Job:
    marks = tuple(piece.to_m for piece in pieces[:-1])
    # the list's phase is that of the guide before the first step; before the others it is brought to a flange
    machine = job.machine if is_first else evolve(job.machine, phase_turns=None)
    return evolve(job, machine=machine, target=evolve(job.target, marks_m=marks), pay_off=pay_off)


def _now(spool: PayOffSpool, taken_mm: int) -> PayOff:
    """A pay-off spool after what was taken from it."""
    return PayOff(held_m=(spool.held_mm - taken_mm) / 1000, held_u_m=_inner_u_m(spool), name=spool.name)


def _inner_u_m(spool: PayOffSpool) -> float:
    """The uncertainty for a length in whole millimetres, whose lower end is to stay where the solver saw it."""
    return (spool.held_mm - spool.sure_mm) / 1000 / COVERAGE if spool.sure_mm else spool.check.held_u_m


def _whole_mm_below(length_m: float) -> int:
    return floor(round(1000 * length_m, 6))


def _whole_mm_above(length_m: float) -> int:
    return ceil(round(1000 * length_m, 6))

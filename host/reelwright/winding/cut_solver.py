"""Finds the best way to cut: fewest joins, then least waste, then fewest spools opened.

Strand of one kind never meets another, so each kind is a program of its own. Among equals the spools opened are
those that come first in the list; the solver draws no random numbers, so the same list gives the same answer.
"""

from __future__ import annotations

from contextlib import suppress
from math import inf
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve

from reelwright.winding.cut_list import Cutting, Piece, Supply
from reelwright.winding.integer_program import InfeasibleError, IntegerProgram, NoAnswerError, Terms

if TYPE_CHECKING:
    from collections.abc import Hashable

    from reelwright.winding.cut_list import CutProblem

__all__ = ["NoAnswerError", "cut", "least_further_mm", "missing_mm"]


def cut(problem: CutProblem, seconds: float = inf) -> Cutting | None:
    """The best cutting, or None where the list cannot be met. At least one demand.

    seconds: time for all of it; an answer found and not proven the best by then says so. Raises NoAnswerError
    where the time does not suffice for any answer, and ImportError where scipy is not installed.
    """
    until = monotonic() + seconds
    pieces: dict[int, tuple[Piece, ...]] = {}
    proven = True
    kinds = list(dict.fromkeys(demand.kind for demand in problem.demands))
    for number, kind in enumerate(kinds):
        try:
            found, is_best = _cut_kind(problem, kind, _share(until, len(kinds) - number))
        except InfeasibleError:
            return None
        pieces |= found
        proven = proven and is_best
    cutting = Cutting(problem, tuple(pieces[demand] for demand in range(len(problem.demands))), proven)
    if cutting.faults():
        # the solver takes 0.000001 for 0, and on very long lengths that may hide a millimetre
        raise NoAnswerError
    return cutting


def missing_mm(problem: CutProblem, seconds: float = inf) -> tuple[dict[int, int], bool]:
    """For each demand that must stay unmet, how much of its counted strand is missing; and whether that is proven.

    As few demands as possible stay unmet, and of them as little as possible is missing. Raises as `cut`.
    """
    until = monotonic() + seconds
    missing: dict[int, int] = {}
    proven = True
    kinds = list(dict.fromkeys(demand.kind for demand in problem.demands))
    for number, kind in enumerate(kinds):
        model = _Model(problem, kind, may_miss=True)
        answer = model.program.minimise([model.unmet, model.missing], _share(until, len(kinds) - number))
        proven = proven and answer.proven
        missing |= {
            demand: answer.values[column]
            for demand, (column, _) in zip(model.demands, model.missing, strict=True)
            if answer.values[column]
        }
    return dict(sorted(missing.items())), proven


def least_further_mm(problem: CutProblem, kind: Hashable, most_mm: int, seconds: float = inf) -> tuple[int, bool]:
    """What one more supply of this kind must hold for its demands to be met; and whether less is proven not to do.

    most_mm: a length that is known to do. Raises as `cut`, and InfeasibleError where most_mm does not do.
    """
    further = evolve(problem, supplies=(*problem.supplies, Supply(kind, most_mm, most_mm)))
    model = _Model(further, kind)
    answer = model.program.minimise([model.drawn[len(problem.supplies)]], seconds)
    return sum(value * answer.values[column] for column, value in model.drawn[len(problem.supplies)]), answer.proven


def _share(until: float, kinds: int) -> float:
    """The time that the next of so many kinds may take."""
    return (until - monotonic()) / kinds


def _cut_kind(problem: CutProblem, kind: Hashable, seconds: float) -> tuple[dict[int, tuple[Piece, ...]], bool]:
    """The pieces of each demand of this kind, and whether they are proven the best."""
    until = monotonic() + seconds
    if any(demand.most_joins for demand in problem.demands if demand.kind == kind):
        # most lists need no join, and without joins the program is far smaller; half of the time is kept for joins
        unjoined = evolve(problem, demands=tuple(evolve(demand, most_joins=0) for demand in problem.demands))
        with suppress(InfeasibleError, NoAnswerError):
            return _best(_Model(unjoined, kind), seconds / 2)
    return _best(_Model(problem, kind), until - monotonic())


def _best(model: _Model, seconds: float) -> tuple[dict[int, tuple[Piece, ...]], bool]:
    answer = model.program.minimise(model.objectives(), seconds)
    return model.pieces(answer.values), answer.proven


class _Part(NamedTuple):
    """A piece of a joined length from one supply, in columns."""

    taken: int
    length: int  # counted strand
    first: int  # it is the first piece
    last: int


class _Pair(NamedTuple):
    """What one supply may give to one demand: all of it, in a column, or a part. None where no joins are allowed."""

    whole: int
    part: _Part | None = None


class _Model:
    """The program of one kind of strand."""

    def __init__(self, problem: CutProblem, kind: Hashable, *, may_miss: bool = False) -> None:
        self.program = IntegerProgram()
        self.problem = problem
        self.demands = [at for at, demand in enumerate(problem.demands) if demand.kind == kind]
        self.supplies = [at for at, supply in enumerate(problem.supplies) if supply.kind == kind]
        self.unmet: Terms = []
        self.missing: Terms = []
        self.drawn: dict[int, Terms] = {}  # what comes off each supply
        self._pairs: dict[tuple[int, int], _Pair] = {}
        self._joins: Terms = []
        self._opened: Terms = []
        self._wasted: Terms = []
        for demand in self.demands:
            if may_miss or problem.demands[demand].most_joins:
                self._meet(demand, may_miss=may_miss)
            else:
                self._meet_whole(demand)
        for supply in self.supplies:
            self._draw(supply)

    def objectives(self) -> list[Terms]:
        """Joins, waste, and spools opened, the first ones in the list if there is a choice."""
        many = len(self.supplies) ** 2
        opened = [(column, many + place) for place, (column, _) in enumerate(self._opened)]
        return [self._joins, self._wasted, opened]

    def pieces(self, values: tuple[int, ...]) -> dict[int, tuple[Piece, ...]]:
        """The pieces of each demand in the order of winding."""
        found = {}
        for number in self.demands:
            placed = []
            for supply in self.supplies:
                pair = self._pairs[supply, number]
                if values[pair.whole]:
                    placed.append((0, Piece(supply, self.problem.demands[number].length_mm)))
                elif pair.part and values[pair.part.taken]:
                    place = values[pair.part.last] - values[pair.part.first]
                    placed.append((place, Piece(supply, values[pair.part.length])))
            found[number] = tuple(piece for _, piece in sorted(placed, key=lambda each: each[0]))
        return found

    def _meet_whole(self, number: int) -> None:
        """Bind a demand to one spool."""
        for supply in self.supplies:
            self._pairs[supply, number] = _Pair(self.program.column())
        self.program.row([(self._pairs[supply, number].whole, 1) for supply in self.supplies], at_least=1, at_most=1)

    def _meet(self, number: int, *, may_miss: bool) -> None:
        """Bind a demand to one spool, or to several with joins; may_miss: or to less than it wants."""
        program, demand = self.program, self.problem.demands[number]
        shortest, all_of_it = self.problem.shortest_piece_of(demand), demand.length_mm
        joined = program.column()
        unmet, alone = program.column(int(may_miss)), program.column(int(may_miss))
        missing = program.column(all_of_it)
        pairs = []
        for supply in self.supplies:
            part = _Part(program.column(), program.column(all_of_it), program.column(), program.column())
            pairs.append((program.column(), part))
            self._pairs[supply, number] = _Pair(*pairs[-1])
            program.row([(part.length, 1), (part.taken, -all_of_it)], at_most=0)
            program.row([(part.length, 1), (part.taken, -shortest)], at_least=0)
            program.row([(part.first, 1), (part.taken, -1)], at_most=0)
            program.row([(part.last, 1), (part.taken, -1)], at_most=0)
            # a joined length begins on one spool and ends on another; of a length not met there may be one piece
            program.row([(part.first, 1), (part.last, 1), (part.taken, -1), (alone, -1)], at_most=0)
        wholes = [(whole, 1) for whole, _ in pairs]
        taken = [(part.taken, 1) for _, part in pairs]
        program.row([*wholes, (joined, 1), (unmet, 1)], at_least=1)
        program.row([*wholes, (joined, 1)], at_most=1)
        given = [(part.length, 1) for _, part in pairs] + [(whole, all_of_it) for whole, _ in pairs]
        program.row([*given, (missing, 1)], at_least=all_of_it, at_most=all_of_it)
        program.row([(missing, 1), (unmet, -all_of_it)], at_most=0)
        program.row([*taken, (joined, -2), (alone, 1)], at_least=0)
        program.row([*taken, (joined, -demand.most_joins - 1), (alone, demand.most_joins)], at_most=0)
        program.row([*((part.first, 1) for _, part in pairs), (joined, -1)], at_least=0, at_most=0)
        program.row([*((part.last, 1) for _, part in pairs), (joined, -1)], at_least=0, at_most=0)
        self._joins += [*taken, (joined, -1)]
        self.unmet.append((unmet, 1))
        self.missing.append((missing, 1))

    def _draw(self, number: int) -> None:
        """Bind what comes off a supply, and what is left of it."""
        program, supply, useful = self.program, self.problem.supplies[number], self.problem.shortest_useful_mm
        held, loss = supply.held_mm, self.problem.join_loss_mm
        opened, kept, wasted = program.column(), program.column(), program.column(held)
        drawn: Terms = []
        for at in self.demands:
            pair, demand = self._pairs[number, at], self.problem.demands[at]
            drawn.append((pair.whole, demand.length_mm + demand.leader_mm + demand.tail_mm))
            uses = [(pair.whole, 1)]
            if pair.part:
                drawn += [(pair.part.length, 1), (pair.part.taken, loss)]
                drawn += [(pair.part.first, demand.leader_mm - loss), (pair.part.last, demand.tail_mm)]
                uses.append((pair.part.taken, 1))
            program.row([*uses, (opened, -1)], at_most=0)
        program.row([*drawn, (opened, -supply.usable_mm)], at_most=0)
        program.row([*drawn, (kept, useful)], at_most=held)
        # what is left is wasted, unless it is kept or the spool was never opened
        program.row([*drawn, (wasted, 1), (kept, held), (opened, -held)], at_least=0)
        self.drawn[number] = drawn
        self._opened.append((opened, 1))
        self._wasted.append((wasted, 1))

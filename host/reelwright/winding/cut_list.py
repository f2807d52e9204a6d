"""A cut list: part-used pay-off spools, the lengths wanted from them, and which strand goes where.

All lengths are whole millimetres, so that every sum below is exact. A wanted length is wound in one go onto
one take-up spool. It may be made of pieces from several pay-off spools with a join between each two; strand
of different kinds is never joined. The leader comes from the spool of the first piece, the tail from that of
the last, and what a join costs is cut from the spool joined on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from attrs import frozen

from reelwright.winding.job import EndMetres, Metres  # noqa: TC001 - who reads the file asks for them at run time
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator

MOST_JOINS = 20
Joins = Annotated[int, Quantity("joins", at_least=0, at_most=MOST_JOINS)]


@frozen
class CutRules:
    """What holds for the whole list; table [cut] of its file. The figures are our own choice: no rule sets them.

    shortest_useful_m: what is left on a spool counts as waste when it is shorter. shortest_piece_m: of counted
    strand in a piece of a joined length. join_loss_m: strand that each join costs.
    """

    shortest_useful_m: Annotated[float, Quantity("m", at_least=0, at_most=1_000_000)] = 5.0
    shortest_piece_m: Annotated[float, Quantity("m", above=0, at_most=1000)] = 1.0
    most_joins: Joins = 3
    join_loss_m: Annotated[float, Quantity("m", at_least=0, at_most=100)] = 0.1
    leader_m: EndMetres = 0.0
    tail_m: EndMetres = 0.0


@frozen
class Wanted:
    """A length wanted `count` times, each on a take-up spool of its own. None: as [cut] says."""

    length_m: Metres
    name: str = ""
    count: Annotated[int, Quantity("", at_least=1, at_most=100)] = 1
    most_joins: Joins | None = None
    leader_m: EndMetres | None = None
    tail_m: EndMetres | None = None


@frozen
class Supply:
    """A pay-off spool: the best estimate of what it holds, and how much of that may be planned with."""

    kind: Hashable
    held_mm: int
    usable_mm: int


@frozen
class Demand:
    """One wanted length: counted strand, with leader and tail besides."""

    kind: Hashable
    length_mm: int
    leader_mm: int = 0
    tail_mm: int = 0
    most_joins: int = 0


@frozen
class CutProblem:
    """What there is, what is wanted, and the rules."""

    supplies: tuple[Supply, ...]
    demands: tuple[Demand, ...]
    shortest_useful_mm: int = 0
    shortest_piece_mm: int = 1
    join_loss_mm: int = 0

    def shortest_piece_of(self, demand: Demand) -> int:
        """The least counted strand in a piece of this length; all of it where it is shorter than a piece."""
        return min(self.shortest_piece_mm, demand.length_mm)


@frozen
class Piece:
    """Strand from one pay-off spool in one wanted length. length_mm is of counted strand."""

    supply: int
    length_mm: int


@frozen
class Cutting:
    """Which strand goes where. pieces: for each demand its pieces in the order of winding.

    proven: the solver has shown that nothing is better by its measure.
    """

    problem: CutProblem
    pieces: tuple[tuple[Piece, ...], ...]
    proven: bool = True

    @property
    def joins(self) -> int:
        """Joins in all."""
        return sum(len(each) - 1 for each in self.pieces)

    @property
    def lost_mm(self) -> int:
        """Strand that the joins cost."""
        return self.joins * self.problem.join_loss_mm

    @property
    def waste_mm(self) -> int:
        """Remnants on opened spools that are too short to be useful, and what the joins cost."""
        short = (self.left_mm(supply) for supply in self.opened if not self.is_kept(supply))
        return sum(short) + self.lost_mm

    @property
    def opened(self) -> tuple[int, ...]:
        """The supplies that anything is taken from."""
        return tuple(sorted({piece.supply for each in self.pieces for piece in each}))

    def drawn(self, demand: int) -> Iterator[tuple[Piece, int, int]]:
        """The pieces of a demand: (piece, mm that go onto the take-up spool, mm that come off the pay-off spool)."""
        of, pieces = self.problem.demands[demand], self.pieces[demand]
        for position, piece in enumerate(pieces):
            wound = piece.length_mm
            wound += of.leader_mm if position == 0 else 0
            wound += of.tail_mm if position == len(pieces) - 1 else 0
            yield piece, wound, wound + (self.problem.join_loss_mm if position else 0)

    def used_mm(self, supply: int) -> int:
        """What comes off a supply in all."""
        demands = range(len(self.pieces))
        return sum(off for each in demands for piece, _, off in self.drawn(each) if piece.supply == supply)

    def left_mm(self, supply: int) -> int:
        """The best estimate of what stays on a supply."""
        return self.problem.supplies[supply].held_mm - self.used_mm(supply)

    def is_kept(self, supply: int) -> bool:
        """Whether what stays on a supply is long enough to be useful."""
        return self.left_mm(supply) >= self.problem.shortest_useful_mm

    def faults(self) -> list[str]:
        """What breaks the rules, in words; an answer of the solver must have none."""
        problem = self.problem
        found = []
        for number, (demand, pieces) in enumerate(zip(problem.demands, self.pieces, strict=True)):
            if sum(piece.length_mm for piece in pieces) != demand.length_mm:
                found.append(f"demand {number} is not met")
            if len(pieces) - 1 > demand.most_joins:
                found.append(f"demand {number} has too many joins")
            if len({piece.supply for piece in pieces}) < len(pieces):
                found.append(f"demand {number} is joined from one spool twice")
            if any(piece.length_mm < problem.shortest_piece_of(demand) for piece in pieces):
                found.append(f"demand {number} has too short a piece")
            if any(problem.supplies[piece.supply].kind != demand.kind for piece in pieces):
                found.append(f"demand {number} has strand of another kind")
        for number, supply in enumerate(problem.supplies):
            if self.used_mm(number) > supply.usable_mm:
                found.append(f"supply {number} is used beyond what may be planned with")
        return found

"""A linear program in whole numbers with several objectives, the first of which goes before the second, and so on.

A thin layer over `scipy.optimize.milp` (the HiGHS solver), which is loaded only when a program is solved.
"""

from __future__ import annotations

from math import inf
from time import monotonic
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

Terms = list[tuple[int, int]]  # (column, coefficient)

# Objectives are whole numbers: one that must not get worse may exceed its best by less than 1, to spare the solver's
# rounding a bound that it cannot meet.
_SLACK = 0.25
_OPTIMAL, _OUT_OF_TIME, _INFEASIBLE = 0, 1, 2


class InfeasibleError(Exception):
    """No numbers meet the rows."""


class NoAnswerError(Exception):
    """The solver found no numbers that meet the rows, and did not show that there are none."""


class Answer(NamedTuple):
    """A number for each column. proven: nothing is better by the objectives in their order."""

    values: tuple[int, ...]
    proven: bool


class IntegerProgram:
    """Columns of whole numbers between bounds, and rows that bind them."""

    def __init__(self) -> None:
        self._highest: list[int] = []
        self._rows: list[tuple[Terms, float, float]] = []
        self._is_contradictory = False

    def column(self, highest: int = 1) -> int:
        """A new whole number from 0 to highest; its index."""
        self._highest.append(highest)
        return len(self._highest) - 1

    def row(self, terms: Terms, *, at_least: float = -inf, at_most: float = inf) -> None:
        """Bind the sum of coefficient times column. A sum of nothing is 0."""
        if terms:
            self._rows.append((terms, at_least, at_most))
        elif not at_least <= 0 <= at_most:
            self._is_contradictory = True

    def minimise(self, objectives: Sequence[Terms], seconds: float) -> Answer:
        """The least by the first objective, among those by the second, and so on, within this time.

        Raises InfeasibleError, NoAnswerError, and ImportError where scipy is not installed.
        """
        if self._is_contradictory:
            raise InfeasibleError
        until = monotonic() + seconds
        rows = list(self._rows)
        best: tuple[int, ...] | None = None
        proven = True
        for objective in objectives:
            status, values = self._solve(objective, rows, max(until - monotonic(), 0.0))
            if best is None and values is None:
                raise InfeasibleError if status == _INFEASIBLE else NoAnswerError
            proven = proven and status == _OPTIMAL
            # out of time the solver may come back with less than the objective before it had found
            if values is not None and (best is None or _sum(objective, values) < _sum(objective, best)):
                best = values
            if best is not None:
                rows.append((objective, -inf, _sum(objective, best) + _SLACK))
        if best is None:
            raise ValueError("minimise at least one objective")
        return Answer(best, proven)

    def _solve(
        self, objective: Terms, rows: list[tuple[Terms, float, float]], seconds: float
    ) -> tuple[int, tuple[int, ...] | None]:
        import numpy
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        width = len(self._highest)
        entries = [(row, column, value) for row, (terms, _, _) in enumerate(rows) for column, value in terms]
        at_row, at_column, coefficients = (list(each) for each in zip(*entries, strict=True))
        matrix = csr_array((numpy.array(coefficients), (at_row, at_column)), shape=(len(rows), width))
        costs = numpy.zeros(width)
        for column, value in objective:
            costs[column] += value
        result: Any = milp(
            costs,
            integrality=numpy.ones(width),
            bounds=Bounds(numpy.zeros(width), numpy.array(self._highest)),
            constraints=LinearConstraint(matrix, [low for _, low, _ in rows], [high for _, _, high in rows]),
            # the default gap of 0.01 % would pass off a waste some millimetres above the least as the least
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        values = None if result.x is None else tuple(round(value) for value in result.x)
        return int(result.status), values


def _sum(terms: Terms, values: tuple[int, ...]) -> int:
    return sum(value * values[column] for column, value in terms)

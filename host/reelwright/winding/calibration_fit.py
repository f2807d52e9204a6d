"""Weighted least squares on a handful of unknowns: Gauss-Newton steps, each solved by Householder reflections.

Own code and no library: the model is smooth, has its derivatives in closed form, and never more than a few
unknowns; and where numpy is installed, the library for uncertainties loads it with every plan, which then
starts late.
"""

from __future__ import annotations

from math import fsum, hypot, sqrt
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Predict = Callable[[Sequence[float]], tuple[float, Sequence[float]]]
    Rows = list[list[float]]

_MOST_STEPS = 200
_MOST_HALVINGS = 40
_SETTLED = 1e-9  # of a standard uncertainty: a step so small changes nothing that anybody reads
_ROUNDING = 1e-14
# A direction with less than this share of its column's length left is one that the others already say.
_DETERMINED = 1e-9


class Observation(NamedTuple):
    """A measured value. u: its standard uncertainty, above 0.

    predict: from the unknowns to (what should have been measured, its derivative by each unknown). It may
    raise ValueError where the unknowns make no sense; the fit then takes a shorter step.
    """

    name: str
    measured: float
    u: float
    predict: Predict


class UndeterminedError(ValueError):
    """The observations do not settle an unknown. index: which one."""

    def __init__(self, index: int) -> None:
        super().__init__(f"unknown {index} is not settled by what was measured")
        self.index = index


class NoFitError(ValueError):
    """No values of the unknowns come near what was measured."""


@frozen
class Fit:
    """The best values. covariance: of the values, from the u of the observations.

    residuals: (measured - predicted) / u of each observation. normalized: each residual over its own standard
    uncertainty, which is below 1 because the fit has bent towards the observation; None where the fit must go
    through it, so that it cannot be judged.
    """

    values: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residuals: tuple[float, ...]
    normalized: tuple[float | None, ...]

    @property
    def degrees(self) -> int:
        """Degrees of freedom: observations beyond the unknowns."""
        return len(self.residuals) - len(self.values)

    @property
    def chi_square(self) -> float:
        """Sum of the squared residuals."""
        return fsum(residual * residual for residual in self.residuals)

    @property
    def scatter(self) -> float:
        """The Birge ratio sqrt(chi^2 / degrees): 1 where the observations scatter as their u say; 1 without spare ones.

        With every u at 1 it is the residual standard deviation.
        """
        return sqrt(self.chi_square / self.degrees) if self.degrees > 0 else 1.0

    def u(self, index: int) -> float:
        """Standard uncertainty of a value."""
        return sqrt(self.covariance[index][index])

    def correlation(self, first: int, second: int) -> float:
        """Correlation coefficient of two values."""
        return self.covariance[first][second] / (self.u(first) * self.u(second))


def fit(observations: Sequence[Observation], start: Sequence[float]) -> Fit:
    """Least squares of (measured - predicted) / u from a start not too far off.

    Raises UndeterminedError where the observations leave an unknown open, and NoFitError where the steps do
    not settle.
    """
    values = list(start)
    rows, residuals = _linearized(observations, values)
    for _ in range(_MOST_STEPS):
        triangle, projected = _triangle(rows, residuals, len(values))
        inverse = _inverse(triangle)
        step = [fsum(factor * part for factor, part in zip(row, projected, strict=True)) for row in inverse]
        spans = [_SETTLED * hypot(*row) + _ROUNDING * abs(value) for row, value in zip(inverse, values, strict=True)]
        settled = all(abs(part) <= span for part, span in zip(step, spans, strict=True))
        values, rows, residuals = _stepped(observations, values, step, residuals)
        if settled:
            return _finished(values, rows, residuals, inverse)
    raise NoFitError("the fit does not settle")


def _stepped(
    observations: Sequence[Observation], values: list[float], step: list[float], residuals: list[float]
) -> tuple[list[float], Rows, list[float]]:
    """The longest halving of the step that makes the sum of squares no larger."""
    before = hypot(*residuals)
    share = 1.0
    for _ in range(_MOST_HALVINGS):
        moved = [value + share * part for value, part in zip(values, step, strict=True)]
        try:
            rows, after = _linearized(observations, moved)
        except (ValueError, ArithmeticError):
            share /= 2
            continue
        if hypot(*after) <= before * (1 + 1e-12) + 1e-12:
            return moved, rows, after
        share /= 2
    raise NoFitError("no step comes nearer to what was measured")


def _linearized(observations: Sequence[Observation], values: Sequence[float]) -> tuple[Rows, list[float]]:
    rows, residuals = [], []
    for observation in observations:
        predicted, slopes = observation.predict(values)
        rows.append([slope / observation.u for slope in slopes])
        residuals.append((observation.measured - predicted) / observation.u)
    return rows, residuals


def _triangle(rows: Rows, residuals: list[float], unknowns: int) -> tuple[Rows, list[float]]:
    """The upper triangle R of the rows' QR decomposition, and the part of the residuals that it can reach."""
    work = [[*row, residual] for row, residual in zip(rows, residuals, strict=True)]
    lengths = [hypot(*(row[column] for row in rows)) for column in range(unknowns)]
    for column in range(unknowns):
        below = [row[column] for row in work[column:]]
        length = hypot(*below)
        if length <= _DETERMINED * lengths[column]:
            raise UndeterminedError(column)
        mirror = [below[0] + (length if below[0] >= 0 else -length), *below[1:]]
        square = fsum(part * part for part in mirror)
        for other in range(column, unknowns + 1):
            along = 2 * fsum(part * row[other] for part, row in zip(mirror, work[column:], strict=True)) / square
            for part, row in zip(mirror, work[column:], strict=True):
                row[other] -= along * part
    return [row[:unknowns] for row in work[:unknowns]], [row[unknowns] for row in work[:unknowns]]


def _inverse(triangle: Rows) -> Rows:
    """The inverse of an upper triangle."""
    size = len(triangle)
    inverse = [[0.0] * size for _ in range(size)]
    for column in range(size):
        inverse[column][column] = 1 / triangle[column][column]
        for row in range(column - 1, -1, -1):
            known = fsum(triangle[row][at] * inverse[at][column] for at in range(row + 1, column + 1))
            inverse[row][column] = -known / triangle[row][row]
    return inverse


def _finished(values: list[float], rows: Rows, residuals: list[float], inverse: Rows) -> Fit:
    covariance = tuple(
        tuple(fsum(one * other for one, other in zip(first, second, strict=True)) for second in inverse)
        for first in inverse
    )
    normalized: list[float | None] = []
    for row, residual in zip(rows, residuals, strict=True):
        bent = hypot(*(fsum(row[at] * inverse[at][column] for at in range(len(row))) for column in range(len(row))))
        left = 1 - bent * bent
        normalized.append(residual / sqrt(left) if left > _DETERMINED else None)
    return Fit(tuple(values), covariance, tuple(residuals), tuple(normalized))

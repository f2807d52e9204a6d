"""The two distributions that small samples need, for whole degrees of freedom, where both are finite sums."""

from __future__ import annotations

from functools import cache
from math import atan, cos, erf, erfc, exp, pi, sin, sqrt

TWO_SIGMA = erf(sqrt(2))  # 0.9545: what k = 2 holds of a normal distribution

_AS_NORMAL = 1000  # degrees of freedom from which Student's factor is 2 to three digits
_SMALLEST, _LARGEST = 1.0, 1000.0  # factors between which the one for TWO_SIGMA lies for every degree


def student_share(factor: float, degrees: int) -> float:
    """The share of Student's distribution within ±factor. degrees: at least 1.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
    """
    angle = atan(factor / sqrt(degrees))
    square = cos(angle) ** 2
    odd = degrees % 2
    term = cos(angle) if odd else 1.0
    total = 0.0 if degrees == 1 else term
    for step in range(2 + odd, degrees - 1, 2):
        term *= square * (step - 1) / step
        total += term
    return 2 / pi * (angle + sin(angle) * total) if odd else sin(angle) * total


@cache
def student_factor(degrees: float) -> float:
    """The factor that makes an interval of 95.45 % from a standard uncertainty with so many degrees of freedom.

    degrees: at least 1, cut off to a whole number (JCGM 100, G.4.2, note 1); 2 for very many. Found by
    halving. Raises ValueError below 1.
    """
    if degrees < 1:
        raise ValueError(f"{degrees:g} degrees of freedom make no interval; at least 1 is needed")
    if degrees >= _AS_NORMAL:
        return 2.0
    low, high = _SMALLEST, _LARGEST
    while high - low > 1e-9:
        middle = (low + high) / 2
        if student_share(middle, int(degrees)) < TWO_SIGMA:
            low = middle
        else:
            high = middle
    return high


def effective_degrees(u: float, random_u: float, random_degrees: int) -> float:
    """Degrees of freedom of a combined u of which only random_u comes from a sample (JCGM 100, G.4.1).

    Infinite where nothing of it does.
    """
    return float("inf") if random_u == 0 else random_degrees * (u / random_u) ** 4


def chi_square_tail(chi_square: float, degrees: int) -> float:
    """How likely a sum of squares of `degrees` normal deviates is to be above chi_square.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.4.4 and 26.4.5.
    """
    if degrees % 2 == 0:
        term = total = exp(-chi_square / 2)
        for step in range(1, degrees // 2):
            term *= chi_square / 2 / step
            total += term
        return total
    root = sqrt(chi_square)
    total = erfc(root / sqrt(2))
    term = 2 * exp(-chi_square / 2) / sqrt(2 * pi) * root
    for step in range(1, degrees - 1, 2):
        total += term
        term *= chi_square / (step + 2)
    return total

"""Limits and ends as a person is told them: rounded so that what is told still holds.

What may be at most so much is rounded down, what must be at least so much is rounded up, and the ends of an interval
outwards. Rounded to the nearest, every other limit would be refused when it is given back.
"""

from __future__ import annotations

from math import ceil, floor, log10

_DIGITS = 4
_SLACK = 1e-9  # of the last digit told: what floats may add to a value that is meant to stand at it


def rounded_down(value: float, decimals: int | None = None) -> float:
    """The value to four digits, or to so many decimals, not above it: what "at most" may say."""
    scale = _scale(value, decimals)
    return floor(value * scale + _SLACK) / scale


def rounded_up(value: float, decimals: int | None = None) -> float:
    """The value to four digits, or to so many decimals, not below it: what "at least" may say."""
    scale = _scale(value, decimals)
    return ceil(value * scale - _SLACK) / scale


def _scale(value: float, decimals: int | None) -> float:
    if decimals is None:
        decimals = _DIGITS - 1 - floor(log10(abs(value))) if value else 0
    return 10.0**decimals

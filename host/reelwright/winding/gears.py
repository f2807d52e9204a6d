"""From the gear train between spool and screw to the spool turns of one layer, exactly."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

Stages = tuple[tuple[int, int], ...]  # (driver teeth, driven teeth) of each stage, from the spool to the screw


def train_ratio(gears: Iterable[tuple[int, int]]) -> Fraction:
    """Turns of the first driver for one turn of the last driven gear: product of driven over driver.

    gears: (driver teeth, driven teeth) of each stage, from the spool to the screw. Both positive.
    Source: ratio of a compound train, gear handbooks.
    """
    ratio = Fraction(1)
    for driver_teeth, driven_teeth in gears:
        ratio *= Fraction(driven_teeth, driver_teeth)
    return ratio


def turns_per_layer(gears: Iterable[tuple[int, int]], screw_turns_per_pass: Fraction) -> Fraction:
    """Spool turns of one layer: the train's ratio times the screw turns that carry the guide across once."""
    return train_ratio(gears) * screw_turns_per_pass


def turns_same_way(stage_count: int) -> bool:
    """Whether the last shaft turns the way of the first: each pair of external gears turns the sense round."""
    return stage_count % 2 == 0

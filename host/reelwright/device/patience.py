"""How much longer than usual to wait for a board: an emulated one may be many times slower than a real one."""

from __future__ import annotations

import os

from reelwright.errors import UsageError

PATIENCE = "REELWRIGHT_PATIENCE"


def patience() -> float:
    """By what every wait for a board is multiplied, 1 or more; 1 unless the environment says otherwise.

    Raises UsageError where it says no such number.
    """
    told = os.environ.get(PATIENCE, "1")
    try:
        factor = float(told)
    except ValueError:
        factor = 0.0
    if not 1 <= factor <= 1000:
        raise UsageError(f"{PATIENCE} is {told!r}.", "Set it to a number from 1 to 1000, or not at all.")
    return factor

"""Prints each trip's time from its condition to the motor off: `python tests/reactions.py [SEEDS]`, by default 100."""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "contract"), str(ROOT / "firmware")]

from simulated.reaction import CASES, Case, Run  # noqa: E402 - finds its packages first

SEEDS = 100


def measure(case: Case, seeds: int) -> str:
    """One line of the table. Raises AssertionError when a run took longer than its budget."""
    reactions = [Run(case, seed).to_trip() for seed in range(1, seeds + 1)]
    for seed, reaction in enumerate(reactions, 1):
        assert reaction.took_ms <= reaction.allowed_ms, (case.name, seed, reaction)
    took = [reaction.took_ms for reaction in reactions]
    share = max(reaction.took_ms / reaction.allowed_ms for reaction in reactions)
    return f"{case.name:<26}{min(took):>8}{median(took):>8.0f}{max(took):>8}{share:>12.0%}"


HEAD = f"{'milliseconds':<26}{'least':>8}{'median':>8}{'most':>8}{'of budget':>12}"

if __name__ == "__main__":
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else SEEDS
    print(f"{seeds} seeds; budget: 50 ms and what the condition itself needs")
    print(HEAD)
    for each in CASES:
        print(measure(each, seeds))

"""Every trip has the motor off within its time. `python tests/reactions.py` prints the table over 100 seeds.

REELWRIGHT_REACTION_SEEDS raises the number of seeds.
"""

from __future__ import annotations

import os
from statistics import median

import pytest

from simulated.reaction import CASES, Case, Run
from windcore.protections import PROTECTIONS
from windlink.sentences import TRIPS

SEEDS = int(os.environ.get("REELWRIGHT_REACTION_SEEDS", "15"))


def test_every_trip_has_a_promise_and_is_measured() -> None:
    assert set(PROTECTIONS) == set(TRIPS) == {case.reason for case in CASES}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_motor_is_off_within_fifty_milliseconds_of_what_the_condition_needs(case: Case) -> None:
    reactions = [Run(case, seed).to_trip() for seed in range(1, SEEDS + 1)]
    took = [reaction.took_ms for reaction in reactions]
    print(f"{case.name}: {min(took)} / {median(took):.0f} / {max(took)} ms over {SEEDS} seeds")
    for seed, reaction in enumerate(reactions, 1):
        assert 0 <= reaction.took_ms <= reaction.allowed_ms, f"seed {seed}: {reaction}"

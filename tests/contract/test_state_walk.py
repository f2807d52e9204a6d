"""Every situation that the session can come into, walked with every request and every combination of inputs.

One combination in 29 is read in the suite, and all that hold no fault; REELWRIGHT_WALK_ONE_IN=1 reads all 6,912.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from interpreters import CPYTHON, MICROPYTHON, needs_micropython, run_script
from windlink import codes
from windlink.sentences import TRIPS

ROOMY = (*MICROPYTHON, "-X", "heapsize=16M")  # each situation is kept
SCRIPT = Path(__file__).with_name("state_walk.py")
ONE_IN = int(os.environ.get("REELWRIGHT_WALK_ONE_IN", "29"))
WALKS = {
    "dc, a silent host trips": (codes.DC, codes.TRIP),
    "stepper, a silent host pauses": (codes.STEPPER, codes.PAUSE),
    "hand": (codes.HAND, codes.WIND_ON),
}


@pytest.mark.parametrize(
    "interpreter",
    [pytest.param(CPYTHON, id="cpython"), pytest.param(ROOMY, id="micropython", marks=needs_micropython)],
)
@pytest.mark.parametrize("walk", WALKS.values(), ids=WALKS)
def test_the_motor_is_asked_for_in_two_states_alone_and_no_trip_clears_itself(
    walk: tuple[int, int], interpreter: tuple[str, ...]
) -> None:
    said = run_script(interpreter, SCRIPT, *walk, ONE_IN, timeout_s=600)
    print(f"one combination in {ONE_IN}: {said.strip()}")
    found, inputs, requests = [int(word) for word in re.findall(r"\d+", said)[:3]]
    assert found > 50
    assert inputs >= found * 6912 // ONE_IN
    assert requests == 11 * found
    met = {int(word) for word in said.rsplit(":", 1)[1].split()}
    if walk[0] == codes.DC:
        assert met == set(TRIPS) - {codes.LOST_STEPS}
    assert (codes.LOST_STEPS in met) == (walk[0] == codes.STEPPER)


@needs_micropython
def test_both_interpreters_walk_through_the_same_situations() -> None:
    walk = (*WALKS["stepper, a silent host pauses"], max(97, ONE_IN))
    assert run_script(CPYTHON, SCRIPT, *walk) == run_script(ROOMY, SCRIPT, *walk)

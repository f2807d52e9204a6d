"""The speed that a person sees stands still where the spool turns evenly, and follows where it does not."""

from __future__ import annotations

import random

import pytest

from reelwright.operation.steady_rate import FINE_SHARE, MOST_TOLD, SteadyRate
from windcore.speed import Speedometer
from windlink import codes

STEP_MS = 10  # of the winder's clock
TOLD_EVERY_STEPS = 15


def told_rates(rpm: float, pulses_per_turn: int, count: int, seed: int) -> list[int]:
    """What the winder's own speedometer tells of a spool that turns evenly, from a random moment on."""
    draw = random.Random(seed)
    per_ms = rpm / 60000 * pulses_per_turn
    begun_ms = draw.uniform(0, 1000)
    speedometer = Speedometer()
    speedometer.prepare(100)
    told = []
    for step in range((count + MOST_TOLD) * TOLD_EVERY_STEPS):
        now_ms = step * STEP_MS
        rate = speedometer.update(int(per_ms * (begun_ms + now_ms)), now_ms)
        if step % TOLD_EVERY_STEPS == 0:
            told.append(rate)
    return told[-count:]


@pytest.mark.parametrize(("rpm", "pulses_per_turn"), [(150, 20), (140, 12), (33, 60), (120, 600), (151, 2)])
def test_the_mean_is_within_what_it_says_of_itself(rpm: float, pulses_per_turn: int) -> None:
    """k = 2: of many means some one in twenty is farther off; counted on seeds that do not change."""
    far = 0
    for seed in range(100):
        steady = SteadyRate()
        for rate in told_rates(rpm, pulses_per_turn, 2 * MOST_TOLD, seed):
            mean = steady.tell(codes.WINDING, rate)
        assert steady.is_whole
        far += abs(mean * 0.6 / pulses_per_turn - rpm) > steady.resolution * rpm
    assert far <= 10


def test_it_is_steadier_than_what_is_told() -> None:
    steady = SteadyRate()
    told = told_rates(147, 20, 200, 7)
    seen = [steady.tell(codes.WINDING, rate) for rate in told][MOST_TOLD:]
    assert max(seen) - min(seen) < (max(told) - min(told)) / 3


def test_a_spool_at_rest_has_no_speed_and_what_follows_knows_nothing_of_before() -> None:
    steady = SteadyRate()
    for _ in range(10):
        steady.tell(codes.WINDING, 5000)
    assert steady.tell(codes.WAITING, 0) == 0
    assert steady.tell(codes.WINDING, 300) == 300
    assert steady.tell(codes.EASING, 100) == 100


def test_many_pulses_need_no_long_mean() -> None:
    steady = SteadyRate()
    for _ in range(10):
        steady.tell(codes.WINDING, 150_000)
    assert steady.resolution <= FINE_SHARE
    assert steady.tell(codes.WINDING, 300_000) == 300_000

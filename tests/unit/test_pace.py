"""The time of a wind whose layers turn at speeds of their own, by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding.drive import Ramp, ring_inertia_kg_m2
from reelwright.winding.pace import Pace
from reelwright.winding.pulses import PulseScale

RAMP = Ramp(120, 6, 60, 60, 0.2)
# ten turns a layer, of ten pulses each; the last layer is half one
ENDS, RPM = (100, 200, 250), (60.0, 30.0, 20.0)
CRANK = Pace(None, PulseScale(Fraction(10)), ENDS, RPM)


@pytest.mark.parametrize(
    ("begin", "end", "seconds"),
    [
        (0, 100, 10),
        (0, 200, 10 + 20),
        (0, 250, 10 + 20 + 15),
        (50, 150, 5 + 10),
        (100, 110, 2),  # a turn of the second layer
        (210, 230, 6),
        (0, 280, 10 + 20 + 24),  # on beyond the target at the last layer's speed
        (260, 280, 6),
    ],
)
def test_a_crank_turns_each_layer_at_its_own_pace(begin: int, end: int, seconds: float) -> None:
    assert CRANK.seconds(begin, end) == pytest.approx(seconds)


def test_a_motor_comes_to_a_layer_at_the_speed_of_the_one_before() -> None:
    pace = Pace(RAMP, CRANK.scale, (200, 400), (120.0, 60.0))
    # from 2 turns a second at a loss of 1 turn/s^2: twenty turns, 1.5 turns down to half the speed in a second, then on
    creep = 0.1
    brake_s, brake_turns = 1 - creep, (1 - creep**2) / 2
    level_turns = 20 - 1.5 - brake_turns - 0.2
    by_hand = 20 / 2 + 1 + level_turns / 1 + brake_s + 0.2 / creep
    assert pace.seconds(0, 400, 120.0) == pytest.approx(by_hand)
    assert pace.seconds(0, 400, 120.0) == RAMP.seconds(40, 120.0, ((20, 120.0), (40, 60.0)))


@pytest.mark.parametrize(
    ("whole", "parted"),
    [
        (((10, 120.0), (20, 60.0)), ((10, 120.0), (10.2, 60.0), (20, 60.0))),
        (((20, 120.0),), ((0.3, 120.0), (0.4, 120.0), (20, 120.0))),
        (((10, 60.0), (20, 120.0)), ((10, 60.0), (10.1, 120.0), (20, 120.0))),
    ],
    ids=["while it slows down", "from rest", "while it gains speed"],
)
def test_a_layer_parted_in_two_takes_the_time_of_the_whole(
    whole: tuple[tuple[float, float], ...], parted: tuple[tuple[float, float], ...]
) -> None:
    assert RAMP.seconds(20, 0.0, parted) == pytest.approx(RAMP.seconds(20, 0.0, whole), rel=1e-12)
    assert RAMP.seconds(20, 60.0, parted) == pytest.approx(RAMP.seconds(20, 60.0, whole), rel=1e-12)


def test_a_ring_turns_as_heavily_as_its_mass_at_the_mean_square_of_its_radii() -> None:
    # handbooks: m (R^2 + r^2) / 2; 2 kg of 0.3 and 0.1 m
    assert ring_inertia_kg_m2(2000, 100, 300) == pytest.approx(2 * (0.3**2 + 0.1**2) / 2)

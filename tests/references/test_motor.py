"""The motor of the simulated winder against a published example, and its parts against their own sources."""

from __future__ import annotations

import math

import mpmath
import pytest

from plant.chance import Chance
from plant.motor import Motor, geared, transition

# Control Tutorials for MATLAB and Simulink (University of Michigan), "DC Motor Speed": J = 0.01 kg m^2,
# b = 0.1 N m s, K = 0.01, R = 1 ohm, L = 0.5 H.
INERTIA_KG_M2, DRAG_NM_S, CONSTANT, RESISTANCE_OHM, INDUCTANCE_H = 0.01, 0.1, 0.01, 1.0, 0.5
STEADY_RAD_S_PER_V = 0.0999001
POLES = (-2.0025, -9.9975)
SETTLING_2_PERCENT_S = 2.07
# The same motor's answer to a step of 1 V, computed with the package `control` (s, rad/s).
STEP_ANSWER = ((0.1, 0.0068555), (0.5, 0.0541701), (1.0, 0.0830371), (2.0, 0.0976235), (3.0, 0.0995928))


def published_motor(step_s: float) -> Motor:
    motor = Motor(RESISTANCE_OHM, INDUCTANCE_H, DRAG_NM_S, CONSTANT)
    motor.prepare(INERTIA_KG_M2, step_s)
    return motor


@pytest.mark.parametrize("step_s", [0.01, 0.05, 0.1])
def test_a_step_of_one_volt_gives_the_published_speeds_whatever_the_step(step_s: float) -> None:
    motor = published_motor(step_s)
    speeds = {}
    for number in range(1, round(3.0 / step_s) + 1):
        motor.driven(1.0, 0.0)
        speeds[round(number * step_s, 6)] = motor.speed
    for at_s, speed in STEP_ANSWER:
        assert speeds[at_s] == pytest.approx(speed, abs=5.1e-8)


def test_the_steady_speed_is_the_published_one() -> None:
    motor = published_motor(0.01)
    for _ in range(2000):
        motor.driven(1.0, 0.0)
    assert motor.speed == pytest.approx(STEADY_RAD_S_PER_V, abs=5e-8)


def test_it_settles_within_two_percent_at_the_published_time() -> None:
    motor = published_motor(0.01)
    last_outside_s = 0.0
    for number in range(1, 500):
        motor.driven(1.0, 0.0)
        if abs(motor.speed / STEADY_RAD_S_PER_V - 1) > 0.02:
            last_outside_s = number * 0.01
    assert last_outside_s == pytest.approx(SETTLING_2_PERCENT_S, abs=0.015)


def test_the_transition_over_a_step_has_the_published_poles() -> None:
    rate = (
        -DRAG_NM_S / INERTIA_KG_M2,
        CONSTANT / INERTIA_KG_M2,
        -CONSTANT / INDUCTANCE_H,
        -RESISTANCE_OHM / INDUCTANCE_H,
    )
    a, b, c, d = transition(rate, 0.1)
    half, spread = (a + d) / 2, math.sqrt(((a - d) / 2) ** 2 + b * c)
    poles = sorted((math.log(half + spread) / 0.1, math.log(half - spread) / 0.1), reverse=True)
    assert poles == pytest.approx(POLES, abs=5.1e-5)


@pytest.mark.parametrize(
    "rate",
    [
        (-10.0, 1.0, -0.02, -2.0),  # the published motor
        (0.0, 68.0, -126.0, -1000.0),  # a geared 12 V motor whose winding settles in a millisecond
        (0.0, 3.0, -700.0, -400.0),
        (-1.0, 50.0, -50.0, -1.0),  # complex poles
    ],
)
def test_the_transition_is_the_matrix_exponential_of_mpmath(rate: tuple[float, float, float, float]) -> None:
    exact = mpmath.expm(mpmath.matrix([[rate[0], rate[1]], [rate[2], rate[3]]]) * mpmath.mpf(0.01))
    assert transition(rate, 0.01) == pytest.approx([float(value) for value in exact], abs=1e-11)


def test_the_radians_of_a_step_are_the_integral_of_the_speed() -> None:
    coarse, fine = published_motor(0.1), published_motor(0.0005)
    turned = coarse.driven(2.0, 0.001)
    # trapezoids over 200 steps of the same motion
    summed, before = 0.0, 0.0
    for _ in range(200):
        fine.driven(2.0, 0.001)
        summed += 0.5 * 0.0005 * (before + fine.speed)
        before = fine.speed
    assert coarse.speed == pytest.approx(fine.speed, rel=1e-9)
    assert turned == pytest.approx(summed, rel=1e-4)


def test_a_gearbox_multiplies_torque_and_divides_speed() -> None:
    # An ideal gearbox keeps power: speed / ratio, torque x ratio, inertia x ratio^2 (any text on machine dynamics).
    plain, slow = Motor(2.0, 0.002, 1e-5, 0.02), geared(Motor(2.0, 0.002, 1e-5, 0.02), 50.0)
    plain.prepare(1e-5, 0.01)
    slow.prepare(1e-5 * 50.0**2, 0.01)
    for _ in range(30):
        plain.driven(6.0, 0.002)
        slow.driven(6.0, 0.002 * 50.0)
    assert slow.speed * 50.0 == pytest.approx(plain.speed, rel=1e-9)
    assert slow.current_a == pytest.approx(plain.current_a, rel=1e-9)


def test_the_ten_thousandth_number_of_the_generator_is_the_standards() -> None:
    # ISO C++, [rand.predef]: the 10000th value of minstd_rand, started with 1, is 399268537 (from memory).
    chance = Chance(0)
    for _ in range(10000):
        chance.share()
    assert chance.state == 399268537

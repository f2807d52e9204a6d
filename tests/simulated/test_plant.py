"""The simulated machine obeys the physics that it stands for."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from plant.chance import Chance
from plant.friction import Friction, Shaft
from plant.hand import Hand
from plant.motor import Motor
from plant.sensor import SlotSensor
from plant.spools import PayOff, TakeUp
from reelwright.winding.coil import Coil
from simulated.machines import SPEC, drive_to, plant, stand
from windcore.signals import LAMP_OFF, LAMP_SLOWER, LAMP_STOP, LAMP_WIND
from windlink import codes

TENSION_N = SPEC["machine"]["back_tension_n"]


# --- spools ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("first_turns", [Fraction(174, 5), Fraction(10), Fraction(1, 2), Fraction(173, 5)])
@pytest.mark.parametrize("turns", [0.25, 9.99, 34.8, 35.0, 60.0, 200.123])
def test_the_true_length_is_that_of_the_planned_coil_at_the_planned_values(first_turns: Fraction, turns: float) -> None:
    # two independent models of the same spool: the plan sums passes, the machine follows the guide
    spool = TakeUp(80.0, 60.9, 34.8, float(first_turns), 1.75, 0.95)
    planned = Coil((80.0 + 1.75) / 2, 0.95 * 1.75, 60.9 / 34.8, Fraction(174, 5), first_turns)
    for part in range(1, 501):
        spool.turn_to(turns * part / 500)
    assert spool.length_mm == pytest.approx(planned.length_mm(turns), rel=1e-9)


def test_turning_back_gives_back_the_same_length() -> None:
    spool = TakeUp(50.0, 40.0, 21.0, 4.0, 1.75, 0.95)
    out = {}
    for step in range(1000):
        spool.turn_to(step * 0.1)
        out[step] = spool.length_mm, spool.radius_mm
    for step in reversed(range(1000)):
        spool.turn_to(step * 0.1)
        length_mm, radius_mm = out[step]
        assert spool.length_mm == pytest.approx(length_mm, abs=1e-6)
        assert spool.radius_mm == radius_mm


@pytest.mark.parametrize("first_turns", [34.8, 34.3, 12.0, 0.4])
def test_a_guide_that_stands_lays_circles_at_each_end_and_takes_them_off_again(first_turns: float) -> None:
    dwell = 2.0
    spool = TakeUp(80.0, 60.9, 34.8, first_turns, 1.75, 0.95, dwell)
    coil = Coil(
        (80.0 + 1.75) / 2,
        0.95 * 1.75,
        60.9 / (34.8 - dwell),
        Fraction(174, 5),
        Fraction(str(first_turns)),
        Fraction(dwell),
    )
    for tenth in [*range(1, 2000), *range(2000, 0, -7)]:
        spool.turn_to(tenth / 10)
        assert spool.length_mm == pytest.approx(coil.length_mm(tenth / 10), rel=1e-12)


def test_the_back_tension_rises_as_the_pay_off_spool_shrinks() -> None:
    spool = PayOff(300000.0, 80.0, 60.0, 1.75, 2.0)
    assert spool.slip_n == pytest.approx(2.0)
    full_mm = spool.radius_mm
    spool.taken(300000.0)
    assert spool.radius_mm == pytest.approx(40.0)
    assert spool.slip_n == pytest.approx(2.0 * full_mm / 40.0)  # a brake of constant torque


def test_a_full_spool_is_slower_to_start_than_an_empty_one() -> None:
    machine = plant(pay_off={"length_mm": 1e6, "barrel_diameter_mm": 80.0, "inside_width_mm": 60.0})
    speeds = []
    for turns in (0.0, 700.0):
        drive_to(machine, turns, 1000)
        stand(machine, 3.0)
        assert machine.speed == 0.0
        for _ in range(10):
            machine.step(1000, 0, 0, 0)
        speeds.append(machine.speed)
    assert speeds[1] < 0.85 * speeds[0]


# --- motor, friction, strand ---------------------------------------------------------------------------------


def test_it_turns_at_its_no_load_speed_without_a_load() -> None:
    machine = plant(back_tension_n=0.0)
    for _ in range(300):
        machine.step(1000, 0, 0, 0)
    assert machine.speed * 60 / (2 * math.pi) == pytest.approx(168.0, rel=0.01)


def test_the_rise_to_speed_takes_a_tenth_to_a_quarter_of_a_second() -> None:
    machine = plant()
    for _ in range(500):
        machine.step(1000, 0, 0, 0)
    steady = machine.speed
    machine = plant()
    steps = 0
    while machine.speed < (1 - math.exp(-1)) * steady:
        machine.step(1000, 0, 0, 0)
        steps += 1
    assert 10 <= steps <= 25


def test_a_little_duty_does_not_break_the_spool_away() -> None:
    machine = plant()
    for _ in range(500):
        machine.step(20, 0, 0, 0)
    assert (machine.turns, machine.speed) == (0.0, 0.0)


@pytest.mark.parametrize("brake", [0, 1])
@pytest.mark.parametrize("duty", [200, 600, 1000])
def test_it_comes_to_real_rest_and_stays(duty: int, brake: int) -> None:
    machine = plant()
    drive_to(machine, 5.0, duty)
    stand(machine, 3.0, brake)
    turns = machine.turns
    for _ in range(1000):
        machine.step(0, brake, 0, 0)
        assert (machine.speed, machine.turns) == (0.0, turns)


def test_a_shorted_motor_stops_sooner_than_an_open_one() -> None:
    travel = []
    for brake in (0, 1):
        machine = plant(back_tension_n=0.0)
        drive_to(machine, 5.0, 1000)
        from_turns = machine.turns
        stand(machine, 10.0, brake)
        travel.append(machine.turns - from_turns)
    assert travel[1] < 0.5 * travel[0]


def test_a_shaft_on_the_edge_of_moving_does_not_chatter() -> None:
    motor = Motor(5.0, 0.005, 0.0, 0.7)
    motor.prepare(0.01, 0.01)
    shaft = Shaft(motor, Friction(0.05, 0.06, ratchet=False), 12.0)
    signs = set()
    for step in range(4000):
        # push and pull all but balance, now on one side and now on the other
        duty = 36 + step % 3
        shaft.step(duty, 0, 0.7 * 12.0 * 0.037 / 5.0)
        signs.add(motor.speed)
    assert signs == {0.0}


def test_with_a_ratchet_the_strand_cannot_turn_the_spool_back() -> None:
    machine = plant(ratchet=True)
    drive_to(machine, 3.0)
    highest = machine.turns
    for _ in range(500):
        machine.step(0, 1, 0, 0)
        assert machine.turns >= highest
        highest = machine.turns
    assert machine.tension_n > 1.0


def test_without_a_ratchet_the_strand_turns_it_back_a_little_and_relaxes() -> None:
    machine = plant(ratchet=False, channels=2, pulses_per_spool_turn=[600, 1])
    drive_to(machine, 3.0)
    highest = 0.0
    for _ in range(500):
        machine.step(0, 1, 0, 0)
        highest = max(highest, machine.turns)
    assert 0.001 < highest - machine.turns < 0.05
    assert 0.0 < machine.tension_n < TENSION_N
    assert machine.pulses == pytest.approx(machine.passed, abs=1)


def test_a_single_channel_counts_the_way_back_as_forward() -> None:
    machine = plant(ratchet=False, channels=1, pulses_per_spool_turn=[600, 1])
    drive_to(machine, 3.0)
    stand(machine, 5.0, brake=1)
    assert machine.pulses > machine.passed


# --- sensor --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("slots", [1, 7, 60, 600])
def test_every_slot_is_counted_once_whatever_the_step(slots: int, channels: int) -> None:
    for seed in range(20):
        sensor = SlotSensor(slots, channels, Chance(seed))
        turns, chance = 0.0, Chance(seed + 100)
        while turns < 40:
            turns += 0.3 * chance.share()
            sensor.turn_to(turns)
            assert sensor.count == sensor.passed
            # the disc's start is anywhere within a slot, and its edges are off by at most a twentieth of one
            assert -0.1 <= turns * slots - sensor.count + 0.05 <= 1.1 or -0.1 <= sensor.count - turns * slots <= 1.1


def test_two_channels_follow_a_shaft_that_turns_to_and_fro() -> None:
    sensor = SlotSensor(60, 2, Chance(3))
    for turns in (0.0, 1.0, 0.5, -2.0, -1.9, 4.0, 0.0):
        sensor.turn_to(turns)
        assert sensor.count == pytest.approx(turns * 60, abs=1.3)
    assert sensor.count == pytest.approx(sensor.passed, abs=1)


def test_two_channels_do_not_count_a_shaft_that_trembles_on_an_edge() -> None:
    sensor = SlotSensor(10, 2, Chance(5))
    turns = 0.0
    while sensor.count < 3:
        turns += 0.001
        sensor.turn_to(turns)
    for step in range(100):
        sensor.turn_to(turns - 0.004 * (step % 2))
        assert sensor.count == 3


def test_one_channel_counts_each_tremble_on_an_edge() -> None:
    sensor = SlotSensor(10, 1, Chance(5))
    turns = 0.0
    while sensor.count < 3:
        turns += 0.001
        sensor.turn_to(turns)
    for step in range(100):
        sensor.turn_to(turns - 0.004 * (step % 2))
    assert sensor.passed == 2
    assert sensor.count >= 50


def test_bounce_shorter_than_the_debounce_window_is_not_counted_and_longer_is() -> None:
    counts = []
    for bounce_us in (300, 800):
        sensor = SlotSensor(60, 1, Chance(1), bounce_us=bounce_us, debounce_us=500)
        for step in range(1, 10001):
            sensor.turn_to(step * 0.01)
        counts.append(sensor.count - sensor.passed)
    assert counts[0] == 0
    assert counts[1] == pytest.approx(6000 / 8, rel=0.15)


def test_missed_edges_are_missing_from_the_count_and_not_from_the_truth() -> None:
    sensor = SlotSensor(60, 2, Chance(1), missed=0.1)
    for step in range(1, 10001):
        sensor.turn_to(step * 0.01)
    assert sensor.passed == pytest.approx(6000, abs=1)
    assert sensor.count == pytest.approx(5400, rel=0.03)


# --- hand and stepper ------------------------------------------------------------------------------------------


def test_a_person_winds_at_about_their_speed_and_heeds_the_lamp_late() -> None:
    hand = Hand(90.0, Chance(2), 10)
    for _ in range(300):
        hand.step(LAMP_WIND)
    assert hand.speed_rps == pytest.approx(1.5, rel=0.15)
    for _ in range(24):
        hand.step(LAMP_SLOWER)
    assert hand.speed_rps == pytest.approx(1.5, rel=0.15)
    for _ in range(100):
        hand.step(LAMP_SLOWER)
    assert hand.speed_rps == pytest.approx(1.5 * 0.45, rel=0.15)


def test_a_person_stops_within_half_a_second_and_never_turns_back() -> None:
    hand = Hand(60.0, Chance(2), 10)
    for _ in range(300):
        hand.step(LAMP_WIND)
    turned = [hand.step(LAMP_STOP) for _ in range(100)]
    assert min(turned) == 0.0
    assert hand.speed_rps == 0.0
    assert 0.25 <= sum(turned) <= 0.6  # a quarter of a second's reaction at a turn a second, then the arm
    assert sum(hand.step(LAMP_OFF) for _ in range(100)) == 0.0


def test_a_stepper_follows_its_steps_while_its_torque_suffices() -> None:
    machine = plant(drive=codes.STEPPER)
    steps = 0.0
    for number in range(600):
        rate = min(6400, 40 * number)
        steps += rate * 0.01
        machine.step(0, 0, rate, 0)
    assert machine.turns * 3200 == pytest.approx(steps, rel=1e-9)


def test_a_stepper_loses_its_steps_when_asked_to_jump_or_when_the_strand_is_caught() -> None:
    jump = plant(drive=codes.STEPPER)
    for _ in range(100):
        jump.step(0, 0, 12800, 0)
    assert jump.turns < 0.5
    caught = plant(drive=codes.STEPPER, faults=[["snag", 2.0]])
    for number in range(2000):
        caught.step(0, 0, min(3200, 40 * number), 0)
    assert 2.0 <= caught.turns < 4.0

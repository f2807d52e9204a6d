"""Ramps and times, against a drive stepped through in small steps."""

from __future__ import annotations

import pytest

from reelwright.winding.drive import Ramp, line_speed_m_s, spool_rpm, torque_n_m
from winding_jobs import plan_of


def stepped_seconds(ramp: Ramp, turns: float, start_rpm: float = 0.0) -> float:
    """Drive the ramp in steps of 0.2 ms: gain speed until it is time to slow down to creep."""
    step = 2e-4
    creep, cruise, gain = ramp.creep_rpm / 60, ramp.cruise_rpm / 60, ramp.acceleration_rpm_s / 60
    speed, laid, seconds = start_rpm / 60, 0.0, 0.0
    while laid < turns:
        left = turns - ramp.creep_turns - laid
        # turns that slowing down from here to creep takes
        needed = (speed * speed - creep * creep) / (2 * gain)
        if left <= 0:
            speed = creep
        elif needed >= left:
            speed = max(creep, speed - gain * step)
        else:
            speed = min(cruise, speed + gain * step)
        laid += speed * step
        seconds += step
    return seconds


@pytest.mark.parametrize("turns", [1.0, 3.0, 5.0, 34.8, 140.0])
@pytest.mark.parametrize("start_rpm", [0.0, 40.0])
def test_the_time_of_a_leg_is_that_of_a_drive_stepped_through(turns: float, start_rpm: float) -> None:
    ramp = Ramp(120, 6, 60, 60, 0.2)
    assert ramp.seconds(turns, start_rpm) == pytest.approx(stepped_seconds(ramp, turns, start_rpm), rel=0.01)


def stepped_layers_seconds(ramp: Ramp, turns: float, layers: tuple[tuple[float, float], ...]) -> float:
    """Drive through the layers in steps of 0.1 ms: towards the layer's cruise, until it is time to slow down."""
    step = 1e-4
    creep, gain, loss = ramp.creep_rpm / 60, ramp.acceleration_rpm_s / 60, ramp.deceleration_rpm_s / 60
    speed, laid, seconds = 0.0, 0.0, 0.0
    while laid < turns:
        cruise = next(rpm for end, rpm in layers if laid < end) / 60
        left = turns - ramp.creep_turns - laid
        if left <= 0 or (speed * speed - creep * creep) / (2 * loss) >= left:
            speed = max(creep, speed - loss * step)
        elif speed > cruise:
            speed = max(cruise, speed - loss * step)
        else:
            speed = min(cruise, speed + gain * step)
        laid += speed * step
        seconds += step
    return seconds


@pytest.mark.parametrize("turns", [6.0, 9.0, 11.0, 14.0, 24.0, 30.0])
def test_the_time_through_slower_and_slower_layers_is_that_of_a_drive_stepped_through(turns: float) -> None:
    ramp = Ramp(120, 6, 60, 40, 0.2)
    layers = ((8.0, 120.0), (10.0, 100.0), (12.0, 60.0), (22.0, 50.0), (30.0, 45.0))
    assert ramp.seconds(turns, 0.0, layers) == pytest.approx(stepped_layers_seconds(ramp, turns, layers), rel=2e-3)


def test_layers_of_one_speed_take_the_time_of_none() -> None:
    ramp = Ramp(90, 6, 30, 60, 0.2)
    even = tuple((end, 90.0) for end in (3.0, 9.0, 20.0))
    for turns in (1.0, 4.0, 12.0, 20.0):
        assert ramp.seconds(turns, 20.0, even) == pytest.approx(ramp.seconds(turns, 20.0), rel=1e-12)


def test_a_leg_within_the_last_approach_is_crept() -> None:
    assert Ramp(120, 6, 60, 60, 0.2).seconds(0.1) == pytest.approx(1.0)
    assert Ramp(120, 6, 60, 60, 0.2).seconds(0) == 0.0


def test_longer_legs_never_take_less_time() -> None:
    ramp = Ramp(90, 6, 30, 30, 0.2)
    times = [ramp.seconds(turns / 50) for turns in range(1, 1000)]
    assert times == sorted(times)


def test_line_speed_and_spool_speed_are_inverse() -> None:
    assert spool_rpm(line_speed_m_s(87.5, 256.8), 256.8) == pytest.approx(87.5, rel=1e-15)


def test_torque_grows_with_the_radius() -> None:
    assert torque_n_m(2, 50) == pytest.approx(0.1)


def test_a_fine_sensor_creeps_slower_than_wished_and_a_coarse_one_not_for_ever() -> None:
    fine = Ramp.for_sensor(120, 6, 60, 30, 600)
    coarse = Ramp.for_sensor(120, 6, 60, 30, 1)
    assert fine.creep_rpm == pytest.approx(1.0)  # ten pulses a second
    assert coarse.creep_rpm == pytest.approx(40.0)  # a third of the cruise, one pulse in 1.5 s
    assert coarse.creep_turns == pytest.approx(1.0)


def test_a_crank_has_no_ramp_so_that_its_start_asks_for_no_more_than_the_tension_does() -> None:
    load = plan_of(machine={"drive": "hand"}, take_up={"empty_mass_g": 150}).load
    assert load.starting_torque_n_m == load.spool_torque_n_m
    assert (load.stopping_turns, load.stopping_length_m, load.stopping_s) == (None, None, None)
    driven = plan_of(machine={"drive": "dc"}, take_up={"empty_mass_g": 150}).load
    assert driven.inertia_of == "strand and empty spool"
    # the acceleration of 60 rpm/s is 2 pi rad/s^2
    gaining = driven.inertia_kg_m2 * 6.283185
    assert driven.starting_torque_n_m - driven.spool_torque_n_m == pytest.approx(gaining, rel=1e-6)


def test_a_motor_gives_the_starting_torque_over_its_gearing_and_what_that_loses() -> None:
    machine = {"motor_turns_per_spool_turn": 20, "drive_efficiency": 0.8}
    load = plan_of(take_up={"empty_mass_g": 5000}, machine=machine).load
    assert load.starting_torque_n_m > 1.5 * load.spool_torque_n_m
    assert load.motor_torque_n_m == pytest.approx(load.starting_torque_n_m / 20 / 0.8)


def test_a_stop_is_approached_no_faster_than_the_slowest_layer_turns() -> None:
    machine = {"line_speed_m_s": 0.25, "creep_rpm": 50, "pulses_per_turn": 6}
    plan = plan_of(machine=machine, target={"layers": 20})
    assert plan.ramp is not None
    assert plan.layers[-1].spool_rpm < 50 < plan.layers[0].spool_rpm
    assert plan.ramp.creep_rpm == pytest.approx(plan.layers[-1].spool_rpm)

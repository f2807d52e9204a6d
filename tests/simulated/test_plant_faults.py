"""What goes wrong on the simulated machine goes wrong as it says, and the truth is kept beside it."""

from __future__ import annotations

import math

import pytest

from boards.levels import Beyond
from boards.simulated_level import TensionSensor
from boards.switches import Switches
from plant.faults import KINDS
from plant.winder import Plant
from reelwright.simulator.spec import FAULTS
from simulated.machines import SPEC, STEP_MS, drive_to, machine_spec, plant, stand
from windcore.signals import LAMP_WIND
from windlink import codes

TENSION_N = SPEC["machine"]["back_tension_n"]


def test_host_and_machine_know_the_same_faults() -> None:
    assert set(FAULTS) == set(KINDS)


@pytest.mark.parametrize(
    ("kind", "switch", "seconds"),
    [("stop_pressed", codes.STOP_BUTTON, 3.0), ("guard_open", codes.GUARD_SWITCH, 5.0)],
)
def test_a_switch_fault_strikes_at_its_turns_and_passes(kind: str, switch: int, seconds: float) -> None:
    machine = plant(faults=[[kind, 2.0]])
    drive_to(machine, 1.99)
    assert not machine.switches & switch
    drive_to(machine, 2.1)
    assert machine.switches & switch
    stand(machine, seconds - 0.5)
    assert machine.switches & switch
    stand(machine, 0.6)
    assert not machine.switches & switch


def test_when_the_strand_runs_out_no_more_length_comes_and_the_switch_says_so() -> None:
    machine = plant(faults=[["run_out", 3.0]])
    drive_to(machine, 10.0)
    one_turn_mm = math.hypot(math.pi * 81.75, 60.9 / 34.8)
    assert machine.length_mm == pytest.approx(3.0 * one_turn_mm, abs=0.1 * one_turn_mm)
    assert machine.switches & codes.RUN_OUT_SWITCH
    assert machine.tension_n == 0.0


def test_a_spool_that_holds_too_little_runs_out_by_itself() -> None:
    machine = plant(pay_off={"length_mm": 1000.0, "barrel_diameter_mm": 80.0, "inside_width_mm": 60.0})
    drive_to(machine, 6.0)
    assert machine.length_mm == 1000.0
    assert machine.switches & codes.RUN_OUT_SWITCH


def test_a_snag_stalls_the_drive_at_high_tension_and_is_freed_at_rest() -> None:
    machine = plant(faults=[["snag", 2.0]])
    drive_to(machine, 2.0)
    for _ in range(300):
        machine.step(800, 0, 0, 0)
    assert machine.speed == 0.0
    assert machine.tension_n > 4 * TENSION_N
    assert machine.switches & codes.TENSION_SWITCH
    stand(machine, 6.0)
    drive_to(machine, machine.turns + 2.0)
    assert not machine.switches & codes.TENSION_SWITCH


@pytest.mark.parametrize(
    ("fault", "above", "permille", "switch"),
    [("snag", True, 400, codes.TENSION_SWITCH), ("run_out", False, 20, codes.RUN_OUT_SWITCH)],
)
def test_a_tension_level_tells_a_fault_of_the_strand_as_the_switch_does(
    fault: str, above: bool, permille: int, switch: int
) -> None:
    machine = plant(faults=[[fault, 3.0]])
    drive_to(machine, 1.0)  # from here on the strand is taut
    levels = Switches([(Beyond(TensionSensor(machine, 10 * TENSION_N), permille, above), 1, switch, False)])
    told_at = None
    while told_at is None and machine.turns < 5.0:
        machine.step(600, 0, 0, 0)
        if levels.read() & switch:
            told_at = machine.turns
    assert told_at == pytest.approx(3.0, abs=0.2)
    assert machine.switches & switch


def test_a_dead_sensor_stands_while_the_truth_goes_on() -> None:
    machine = plant(faults=[["sensor_dead", 2.0]])
    drive_to(machine, 5.0)
    assert machine.pulses == pytest.approx(120, abs=4)
    assert machine.passed == pytest.approx(300, abs=4)


@pytest.mark.parametrize("drive", [codes.DC, codes.STEPPER])
def test_a_motor_whose_wire_is_off_lets_the_spool_coast_to_rest_and_heeds_no_drive(drive: int) -> None:
    machine = plant(drive=drive, faults=[["motor_dead", 2.0]])

    def driven(seconds: float) -> None:
        for _ in range(round(seconds * 1000 / STEP_MS)):
            machine.step(800, 0, 4000, 0)

    while machine.turns < 2.0:
        driven(0.01)
    before = machine.speed
    driven(0.02)
    assert 0.0 < machine.speed < before
    driven(3.0)
    stood = machine.turns
    assert machine.speed == 0.0
    assert 2.0 < stood < 4.0
    driven(20.0)
    assert machine.turns == stood
    assert machine.pulses == machine.passed


def test_a_hand_at_the_crank_needs_no_motor() -> None:
    machine = plant(drive=codes.HAND, faults=[["motor_dead", 0.0]])
    for _ in range(500):
        machine.step(0, 0, 0, LAMP_WIND)
    assert machine.turns > 5.0


def test_a_runaway_heeds_no_control_until_the_emergency_stop_kills_the_drive() -> None:
    machine = plant(faults=[["runaway", 2.0]])
    drive_to(machine, 2.1)
    stand(machine, 2.0)
    assert machine.speed > 10.0
    stand(machine, 4.0)
    assert machine.speed == 0.0
    for _ in range(200):
        machine.step(1000, 0, 0, 0)
    assert machine.speed == 0.0


def test_a_spool_that_slips_makes_half_of_its_shafts_turns_until_that_has_stood() -> None:
    machine = plant(faults=[["slip", 2.0]], wheel_mm_per_pulse=5.0)
    drive_to(machine, 4.0)
    assert machine.passed == pytest.approx(60 * 6, abs=12)
    assert machine.wheel_pulses == pytest.approx(machine.length_mm / 5, abs=1)
    stand(machine, 7.0)
    before = machine.passed
    drive_to(machine, machine.turns + 2.0)
    assert machine.passed - before == pytest.approx(120, abs=12)


def test_a_measuring_wheel_counts_the_strand_that_truly_passes_and_stands_once_it_has_run_out() -> None:
    machine = plant(wheel_mm_per_pulse=2.5, faults=[["run_out", 3.0]])
    drive_to(machine, 6.0)
    assert machine.wheel_pulses == pytest.approx(machine.length_mm / 2.5, abs=1)
    dead = plant(wheel_mm_per_pulse=2.5, faults=[["wheel_dead", 3.0]])
    drive_to(dead, 6.0)
    assert dead.wheel_pulses == pytest.approx(3.0 * math.hypot(math.pi * 81.75, 60.9 / 34.8) / 2.5, rel=0.05)
    assert plant().wheel_pulses == 0


@pytest.mark.parametrize("channels", [1, 2])
def test_interference_counts_what_no_shaft_makes_and_passes(channels: int) -> None:
    machine = plant(channels=channels, faults=[["sensor_noise", 2.0]])
    drive_to(machine, 1.9)
    assert machine.pulses == pytest.approx(machine.passed, abs=1)
    assert machine.illegal == 0
    drive_to(machine, 8.0)
    astray, illegal = machine.pulses - machine.passed, machine.illegal
    assert (astray > 1000) == (channels == 1)
    assert (illegal > 100) == (channels == 2)
    drive_to(machine, 12.0)
    assert machine.pulses - machine.passed == pytest.approx(astray, abs=1)
    assert machine.illegal == illegal


def test_swapped_leads_turn_the_spool_back_unless_a_ratchet_holds_it() -> None:
    for ratchet, turns_back in ((False, True), (True, False)):
        machine = plant(channels=2, ratchet=ratchet, faults=[["swapped_leads", 2.0]])
        drive_to(machine, 1.9)
        for _ in range(400):
            machine.step(800, 0, 0, 0)
        assert (machine.turns < 1.0) == turns_back


def test_a_hand_turns_a_spool_at_rest_once_and_again_after_a_pause_and_to_the_same_mark() -> None:
    spec = machine_spec(channels=2)
    spec["turned_by_hand"] = True
    machine = Plant(spec, STEP_MS)
    marks = []
    for _ in range(3):
        stand(machine, 6.9)
        marks.append(machine.turns)
        stand(machine, 2.1)  # a turn takes two seconds, and the pause seven
    assert marks == pytest.approx([0, 1, 2], abs=0.011)
    assert machine.pulses == machine.passed


def test_swapped_channels_count_the_other_way_and_one_channel_does_not_care() -> None:
    for channels, sign in ((1, 1), (2, -1)):
        machine = plant(channels=channels, faults=[("swapped_channels", 0.0)])
        drive_to(machine, 3.0)
        assert machine.pulses == sign * machine.passed
        assert machine.passed >= 180


@pytest.mark.parametrize("channels", [1, 2])
def test_a_weak_sensor_misses_edges_now_and_then_for_good(channels: int) -> None:
    machine = plant(channels=channels, faults=[("sensor_weak", 0.0)])
    drive_to(machine, 30.0)
    assert 0.4 * machine.passed < machine.pulses < 0.9 * machine.passed

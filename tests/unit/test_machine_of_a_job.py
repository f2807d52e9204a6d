"""What a machine does where the job does not say, and how a job is written out."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from reelwright.profiles import build_job
from reelwright.winding.job import Calibration, Machine
from winding_jobs import job_of


def machine(**keys: Any) -> Machine:
    return Machine(60, **keys)


@pytest.mark.parametrize("half", [{}, {"gears": ((10, 58), (10, 30))}, {"screw_turns_per_pass": Fraction(2)}], ids=str)
def test_turns_per_layer_are_given_or_need_both_gears_and_screw(half: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="turns_per_layer, or gears and screw_turns_per_pass"):
        _ = machine(**half).layer_turns
    assert machine(gears=((10, 58), (10, 30)), screw_turns_per_pass=Fraction(2)).layer_turns == Fraction(174, 5)
    assert machine(turns_per_layer=Fraction(30), **half).layer_turns == 30


@pytest.mark.parametrize(
    ("keys", "turns"),
    [
        ({}, 1),
        ({"sensor_shaft": "crank", "shaft_turns_per_spool_turn": Fraction(3)}, 1),
        ({"sensor_shaft": "motor", "shaft_turns_per_spool_turn": Fraction(30)}, 30),
        ({"motor_turns_per_spool_turn": Fraction(20)}, 20),
    ],
    ids=str,
)
def test_the_motor_turns_as_said_or_as_the_sensor_on_it_does_or_with_the_spool(
    keys: dict[str, Any], turns: int
) -> None:
    assert machine(**keys).motor_ratio == turns


@pytest.mark.parametrize(
    ("keys", "rpm"), [({}, 6), ({"spool_rpm": 4}, 4), ({"creep_rpm": 2}, 2), ({"creep_rpm": 9, "spool_rpm": 30}, 9)]
)
def test_a_stop_is_approached_as_said_or_at_6_rpm_or_at_the_cruise(keys: dict[str, Any], rpm: float) -> None:
    assert machine(**keys).approach_rpm == rpm


@pytest.mark.parametrize(
    ("keys", "rpm_s"),
    [
        ({"drive": "dc"}, 25),
        ({"drive": "hand"}, 25),
        ({"drive": "stepper"}, 50),
        ({"drive": "stepper", "deceleration_rpm_s": 40}, 40),
        ({"deceleration_rpm_s": 80}, 80),
    ],
    ids=str,
)
def test_a_motor_brakes_half_as_hard_as_it_pulls_and_a_stepper_as_hard(keys: dict[str, Any], rpm_s: float) -> None:
    assert machine(acceleration_rpm_s=50, **keys).slowing_rpm_s == rpm_s


def test_a_drive_at_full_duty_runs_as_said_or_two_fifths_beyond_the_highest_speed() -> None:
    assert machine(max_spool_rpm=100).full_duty_rpm == pytest.approx(140)
    assert machine(max_spool_rpm=100, no_load_rpm=115).full_duty_rpm == 115


@pytest.mark.parametrize(
    ("figures", "correlations"),
    [
        (("diameter", "rise", "density"), (0.1, 0.2, 0.3)),
        (("diameter", "rise"), (0.1, 0, 0)),
        (("density", "diameter"), (0, 0.2, 0)),
        (("rise", "density"), (0, 0, 0.3)),
        (("rise",), (0, 0, 0)),
    ],
    ids=str,
)
def test_errors_are_correlated_only_between_figures_that_both_stand_in_the_job(
    figures: Any, correlations: tuple[float, float, float]
) -> None:
    assert Calibration(
        "", figures=figures, diameter_rise_r=0.1, diameter_density_r=0.2, rise_density_r=0.3
    ).correlations == (correlations)


def test_a_job_is_written_as_plain_data_that_reads_back_as_itself() -> None:
    job = job_of(
        machine={
            "gears": [[10, 58], [10, 30]],
            "screw_turns_per_pass": 2,
            "turns_per_layer": None,
            "phase_turns": "7/3",
        },
        target={"length_m": 40, "marks_m": [5, 30]},
        pay_off={"held_m": 60, "held_u_m": 0.5},
    )
    written = job.to_dict()
    assert isinstance(written["machine"], dict)
    assert isinstance(written["target"], dict)
    assert written["machine"]["gears"] == [[10, 58], [10, 30]]
    # a whole number stays one, and another fraction is text
    assert [repr(written["machine"][key]) for key in ("screw_turns_per_pass", "phase_turns")] == ["2", "'7/3'"]
    assert written["target"]["marks_m"] == [5, 30]
    assert "turns_per_layer" not in written["machine"]
    assert "calibration" not in written
    assert build_job(written) == job

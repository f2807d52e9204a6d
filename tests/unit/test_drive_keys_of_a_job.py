"""The keys of a job file about line speed, guides, motor and gearing: what they refuse, and how they go together."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest

from reelwright.errors import FileFaultsError
from reelwright.profiles import build_job
from winding_jobs import job_of, job_tables

WHOLE = {
    "line_speed_m_s": 0.4,
    "guide_wrap_deg": 90,
    "guide_friction": 0.2,
    "motor_torque_n_m": 0.06,
    "motor_turns_per_spool_turn": "21/2",
    "drive_efficiency": 0.8,
    "gear_torque_n_m": 1.5,
}


def faults_of(**changes: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(FileFaultsError) as refusal:
        build_job(job_tables(**changes))
    return {fault.path: fault.message for fault in refusal.value.faults}


def test_every_key_is_read_and_survives_the_jobs_plain_form() -> None:
    job = job_of(machine=WHOLE, take_up={"barrel": "grooved"})
    assert job.machine.motor_ratio == Fraction(21, 2)
    assert job.take_up.barrel == "grooved"
    assert build_job(json.loads(json.dumps(job.to_dict()))) == job


def test_a_hand_winder_survives_its_plain_form_too() -> None:
    job = job_of(machine={"drive": "hand"})
    assert build_job(json.loads(json.dumps(job.to_dict()))) == job


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("line_speed_m_s", 0, ["0 m/s", "above 0", "at most 100 m/s"]),
        ("line_speed_m_s", "fast", ["not a number"]),
        ("guide_wrap_deg", -1, ["-1 deg", "at least 0"]),
        ("guide_wrap_deg", 2000, ["at most 1080 deg"]),
        ("guide_friction", 1.5, ["at most 1"]),
        ("motor_torque_n_m", 0, ["0 N m", "above 0"]),
        ("motor_torque_n_m", float("nan"), ["finite"]),
        ("motor_turns_per_spool_turn", "1/0", ["divides by zero"]),
        ("motor_turns_per_spool_turn", -3, ["above 0"]),
        ("drive_efficiency", 85, ["at most 1"]),
        ("gear_torque_n_m", True, ["true is not a number"]),
    ],
)
def test_a_value_beyond_its_range_is_refused_with_its_path(key: str, value: object, words: list[str]) -> None:
    told = faults_of(machine={key: value, "guide_friction": 0.1, "guide_wrap_deg": 30} | {key: value})
    assert set(told) == {f"machine.{key}"}
    for word in words:
        assert word in told[f"machine.{key}"]


def test_a_barrel_is_smooth_or_grooved() -> None:
    assert 'did you mean "smooth"?' in faults_of(take_up={"barrel": "smoth"})["take_up.barrel"]


@pytest.mark.parametrize(
    ("machine", "key", "words"),
    [
        ({"line_speed_m_s": 0.5, "spool_rpm": 100}, "line_speed_m_s", "keep the line speed, or"),
        ({"guide_wrap_deg": 90}, "guide_friction", "says nothing without it"),
        ({"guide_friction": 0.2}, "guide_wrap_deg", "says nothing without it"),
        ({"drive": "hand", "motor_torque_n_m": 1}, "motor_torque_n_m", "a crank has no motor"),
        ({"drive": "hand", "motor_turns_per_spool_turn": 2}, "motor_turns_per_spool_turn", "a crank has no motor"),
        (
            {"sensor_shaft": "motor", "shaft_turns_per_spool_turn": 10, "motor_turns_per_spool_turn": 12},
            "motor_turns_per_spool_turn",
            "its sensor says 10",
        ),
    ],
)
def test_keys_that_contradict_one_another_are_refused(machine: dict[str, Any], key: str, words: str) -> None:
    assert words in faults_of(machine=machine)[f"machine.{key}"]


def test_the_sensor_on_the_motor_tells_the_motors_turns() -> None:
    on_motor = {"sensor_shaft": "motor", "shaft_turns_per_spool_turn": "87/7"}
    assert job_of(machine=on_motor).machine.motor_ratio == Fraction(87, 7)
    assert job_of(machine=on_motor | {"motor_turns_per_spool_turn": "87/7"}).machine.motor_ratio == Fraction(87, 7)
    assert job_of().machine.motor_ratio == 1


def test_a_flag_for_one_speed_ousts_the_other_of_the_file(tmp_path: Any) -> None:
    from reelwright.cli.job_options import resolve_job

    path = tmp_path / "job.toml"
    path.write_text(
        "[take_up]\nbarrel_diameter_mm = 80\nflange_diameter_mm = 200\ninside_width_mm = 63\n[strand]\n"
        'diameter_mm = 1.75\n[machine]\nturns_per_layer = "174/5"\npulses_per_turn = 60\nspool_rpm = 100\n'
        "[target]\nlength_m = 40\n",
        encoding="utf-8",
    )
    job = resolve_job(str(path), {"line_speed": 0.25})
    assert (job.machine.line_speed_m_s, job.machine.spool_rpm) == (0.25, None)

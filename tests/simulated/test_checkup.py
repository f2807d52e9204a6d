"""`checkup` on a simulated winder behind its port: each verdict is reached by the fault that it names."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.operation.motor_test import PASSWORD
from simulated.winder import COMMAND, SMALL, environment, listed, run, simulated, start_wind, terminal, write_job

if TYPE_CHECKING:
    from pathlib import Path

JOB = (
    SMALL
    + """
pulses_per_turn = {ppr}
sensor = "{sensor}"
ratchet = {ratchet}
[target]
layers = 2.5
"""
)


# The hand may have turned the spool a few times before the command asks for it.
NOISE_IN_EVERY_TURN = tuple(f"sensor_noise@{turn}.5" for turn in range(30))


def job_of(folder: Path, *, ppr: int = 60, sensor: str = "quadrature", ratchet: bool = True, name: str = "job") -> Path:
    path = folder / f"{name}.toml"
    path.write_text(JOB.format(ppr=ppr, sensor=sensor, ratchet=str(ratchet).lower()), encoding="utf-8")
    return path


def check_up(home: Path, port: str, *options: str, typed: str = "") -> tuple[int, dict[str, Any], str]:
    """`checkup --json`: exit code, report ({} where there is none), standard error."""
    done = run(home, "checkup", "--port", port, "--json", *options, typed=typed, timeout_s=90)
    assert "Traceback" not in done.stderr
    return done.returncode, json.loads(done.stdout) if done.stdout else {}, done.stderr


def found(report: dict[str, Any]) -> list[str]:
    """The codes, but for what a busy computer under the simulation can bring about."""
    busy = ("in_order", "slow_loop", "requests_repeated", "lines_damaged")
    return [each["code"] for each in report["verdicts"] if each["code"] not in busy]


@pytest.mark.parametrize(
    ("sensor", "faults", "code", "expected"),
    [
        ("quadrature", (), 0, ["sensor_right"]),
        ("single", (), 0, ["sensor_right", "direction_unseen"]),
        ("quadrature", ("sensor_dead@0",), 3, ["sensor_silent"]),
        ("quadrature", ("swapped_channels@0",), 3, ["sensor_backwards", "sensor_right"]),
        ("quadrature", ("sensor_weak@0",), 3, ["sensor_misses"]),
        ("single", ("sensor_weak@0",), 3, ["sensor_misses", "direction_unseen"]),
        ("quadrature", NOISE_IN_EVERY_TURN, 3, ["sensor_noisy"]),
        ("single", NOISE_IN_EVERY_TURN, 3, ["sensor_adds", "direction_unseen"]),
    ],
    ids=lambda value: (*value, "no fault")[0] if isinstance(value, tuple) else None,
)
def test_the_sensor_test_tells_each_fault_from_the_others(
    tmp_path: Path, sensor: str, faults: tuple[str, ...], code: int, expected: list[str]
) -> None:
    job = job_of(tmp_path, sensor=sensor)
    options = [word for fault in faults for word in ("--fault", fault)]
    with simulated(job, tmp_path, "--pace", "20", "--turn-by-hand", *options) as port:
        done, report, err = check_up(tmp_path, port, str(job), "--sensor", "--turns", "5")
    assert found(report) == expected, (report["sensor"], err)
    assert done == code
    assert report["sensor"]["expected_pulses_per_turn"] == 60
    assert "Turn 1 of 5: turn the spool once" in err


def test_wrong_pulses_per_turn_in_the_profile_are_told_with_the_ones_that_fit(tmp_path: Path) -> None:
    machine = job_of(tmp_path)
    profile = job_of(tmp_path, ppr=24, name="profile")
    with simulated(machine, tmp_path, "--pace", "20", "--turn-by-hand") as port:
        code, report, _ = check_up(tmp_path, port, str(profile), "--sensor")
    assert (code, found(report)) == (3, ["sensor_wrong_ppr"])
    assert "machine.pulses_per_turn = 60," in report["verdicts"][-1]["remedy"]


@pytest.mark.parametrize(
    ("faults", "ratchet", "code", "expected", "trip"),
    [
        ((), True, 0, ["motor_right"], ""),
        (("swapped_leads@0",), False, 4, ["motor_tripped"], "backwards"),
        (("swapped_leads@0",), True, 4, ["motor_tripped"], "no_pulses"),
        (("swapped_channels@0",), True, 4, ["motor_tripped"], "backwards"),
        (("sensor_dead@1",), True, 4, ["motor_tripped"], "no_pulses"),
        (("motor_dead@1",), True, 4, ["motor_tripped"], "no_pulses"),
        (("runaway@1",), True, 4, ["motor_tripped"], "overspeed"),
        (("stop_pressed@1",), True, 4, ["motor_tripped"], "stop_pressed"),
    ],
    ids=lambda value: (*value, "no fault")[0] if isinstance(value, tuple) else None,
)
def test_the_motor_test_runs_a_job_as_any_other_and_tells_how_it_ended(
    tmp_path: Path, faults: tuple[str, ...], ratchet: bool, code: int, expected: list[str], trip: str
) -> None:
    job = job_of(tmp_path, ratchet=ratchet)
    truth = tmp_path / "truth.jsonl"
    options = [word for fault in faults for word in ("--fault", fault)]
    with simulated(job, tmp_path, "--pace", "4", "--truth", str(truth), *options) as port:
        done, report, err = check_up(tmp_path, port, str(job), "--motor", typed=PASSWORD + "\n")
        after = check_up(tmp_path, port)[1]
    assert found(report) == expected, (report["motor"], err)
    assert (done, report["motor"]["trip_word"]) == (code, trip)
    assert "emergency stop" in err
    assert PASSWORD in err
    last = json.loads(truth.read_text().splitlines()[-1])
    assert last["motor"] == "off"
    assert abs(last["true_turns"]) < 12  # a runaway is let run for three seconds
    assert listed(tmp_path) == []
    assert after["held"]["trip"] == trip
    if not faults:
        assert abs(last["true_turns"] - 5) < 0.1
        assert report["motor"]["fastest_rpm"] > 0.8 * report["motor"]["wanted_rpm"] > 20
        assert 0 <= report["motor"]["rest_s"] < 5


@pytest.mark.parametrize("typed", ["\n", "yes\n", "y\n", PASSWORD[:-1] + "\n", "\x04"])
def test_without_the_typed_words_nothing_is_sent_and_nothing_moves(tmp_path: Path, typed: str) -> None:
    job = job_of(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "10", "--truth", str(truth)) as port:
        code, report, err = check_up(tmp_path, port, str(job), "--motor", typed=typed)
        assert (code, report["kind"]) == (2, "error")  # and no report of a checkup
        assert "not confirmed: nothing was moved" in err
        assert check_up(tmp_path, port)[1]["held"]["state"] == "empty"
    assert json.loads(truth.read_text().splitlines()[-1])["true_turns"] == 0


def test_the_words_come_from_a_terminal_and_not_out_of_a_pipe(tmp_path: Path) -> None:
    """Whoever types them has a hand on the emergency stop; a script has none."""
    job = job_of(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "10", "--truth", str(truth)) as port:
        done = subprocess.run(
            [*COMMAND, "checkup", "--port", port, "--motor", str(job)],
            input=PASSWORD + "\n",
            capture_output=True,
            text=True,
            env=environment(tmp_path),
            timeout=60,
            check=False,
        )
        assert done.returncode == 2
        assert "from a terminal alone" in done.stderr
    assert json.loads(truth.read_text().splitlines()[-1])["true_turns"] == 0


@pytest.mark.parametrize("ppr", [20, 60])
def test_tuning_finds_the_drive_that_is_there_and_not_the_one_in_the_file(tmp_path: Path, ppr: int) -> None:
    there = job_of(tmp_path, ppr=ppr)
    there.write_text(there.read_text().replace("[target]", "back_tension_n = 0.0\nno_load_rpm = 160\n[target]"))
    said = tmp_path / "said.toml"
    said.write_text(there.read_text().replace("no_load_rpm = 160", "no_load_rpm = 240"))
    with simulated(there, tmp_path, "--pace", "4") as port:
        code, report, err = check_up(tmp_path, port, str(said), "--motor", "--tune", typed=PASSWORD + "\n")
    assert (code, found(report)[:2]) == (0, ["motor_right", "motor_right"]), (report, err)
    assert "turns at 30 rpm, then" in err
    tuning = report["tuning"]
    assert tuning["no_load_rpm"] == pytest.approx(160, rel=0.025)
    # the simulated shaft slides on 3 % of its stall torque
    assert tuning["least_duty"] == pytest.approx(0.03, abs=0.015)
    # J R / k^2 of the simulated drive with its empty spool is 0.107 s. A busy machine tells it late: how well it is
    # found is held without a clock, in test_motor_tune
    assert 0.05 < tuning["lag_s"] < 0.25


def test_a_drive_that_cannot_be_tuned_is_a_finding_of_a_checkup_that_is_kept(tmp_path: Path) -> None:
    said = job_of(tmp_path, sensor="single")
    there = tmp_path / "there.toml"  # its motor cannot do the speed that the file says
    there.write_text(said.read_text().replace("[target]", "max_spool_rpm = 90\nno_load_rpm = 105\n[target]"))
    with simulated(there, tmp_path, "--pace", "10") as port:
        code, report, err = check_up(tmp_path, port, str(said), "--motor", "--tune", typed=PASSWORD + "\n")
        assert check_up(tmp_path, port)[1]["since"] is not None
    assert (code, report["kind"]) == (3, "checkup"), (report, err)
    assert found(report) == ["motor_right", "direction_unseen", "motor_right", "motor_not_tuned"]
    assert "not steady at 120.0 rpm" in report["verdicts"][-1]["sentence"]
    assert "tuning" not in report


def test_what_became_of_the_fast_run_stands_beside_what_became_of_the_slow_one(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    with simulated(job, tmp_path, "--pace", "10", "--fault", "stop_pressed@8") as port:
        code, report, err = check_up(tmp_path, port, str(job), "--motor", "--tune", typed=PASSWORD + "\n")
    assert (code, found(report)) == (4, ["motor_right", "motor_tripped"]), err
    assert (report["motor"]["trip_word"], report["motor_fast"]["trip_word"]) == ("", "stop_pressed")
    assert (report["motor"]["wanted_rpm"], report["motor_fast"]["wanted_rpm"]) == (30, 120)
    assert "tuning" not in report


def test_a_drive_without_a_duty_is_refused_before_the_winder_is_asked_anything(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    job.write_text(job.read_text().replace('drive = "dc"', 'drive = "stepper"\nsteps_per_spool_turn = 3200'))
    code, report, err = check_up(tmp_path, "/nowhere", str(job), "--motor", "--tune")
    assert (code, report["kind"]) == (2, "error")
    assert "A drive of the kind stepper has no duty to tune." in err


def test_tuning_goes_on_from_the_motor_test(tmp_path: Path) -> None:
    code, _, err = check_up(tmp_path, "/nowhere", str(job_of(tmp_path)), "--tune")
    assert code == 2
    assert "--tune goes with --motor" in err


def test_ctrl_c_in_the_motor_test_brings_the_spool_to_rest_before_the_command_ends(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--truth", str(truth)) as port, terminal(PASSWORD + "\n") as keyboard:
        program = subprocess.Popen(
            [*COMMAND, "checkup", str(job), "--motor", "--port", port, "--json"],
            stdin=keyboard,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(tmp_path),
        )
        while json.loads(truth.read_text().rstrip().splitlines()[-1])["true_turns"] < 0.2:
            assert program.poll() is None
            time.sleep(0.05)
        program.send_signal(signal.SIGINT)
        out, err = program.communicate(timeout=60)
        report = json.loads(out)
        assert (program.returncode, found(report)) == (130, ["motor_stopped"]), err
        assert check_up(tmp_path, port)[1]["held"]["state"] == "finished"
    assert json.loads(truth.read_text().splitlines()[-1])["true_turns"] < 4


def test_the_ledger_keeps_checkups_and_the_next_one_tells_the_trips_between(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20", "--fault", "stop_pressed@3") as port:
        assert check_up(tmp_path, port)[1]["since"] is None
        program = start_wind(job, port, tmp_path)
        program.communicate(timeout=60)
        assert program.returncode == 4
        code, report, _ = check_up(tmp_path, port)
        shown = run(tmp_path, "checkup", "--port", port).stdout
    assert code == 3
    assert found(report) == ["tripped", "job_held", "tripped_before"]
    assert report["since"]
    assert [each["reason"] for each in report["recorded_trips"]] == ["stop_pressed"]
    assert report["last_trip"]["reason"] == "stop_pressed"
    assert "Fault: The winder is tripped (stop_pressed)" in shown
    assert "none recorded" in shown  # since that second checkup

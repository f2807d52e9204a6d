"""A wind that trips on a simulated winder, as the person at the host sees it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from reelwright.device.client import Client
from reelwright.device.port import Port
from reelwright.views.ledger_table import MARK
from simulated.winder import run, simulated, truth, wind, write_job
from windlink.sentences import CAUSES

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ("run_out@8", "run_out"),
        ("sensor_dead@8", "no_pulses"),
        ("stop_pressed@8", "stop_pressed"),
        ("sensor_noise@8", "bad_sensor"),
        ("hitch@8", "late_loop"),
    ],
)
def test_a_trip_ends_the_command_with_its_sentence_and_its_mend(tmp_path: Path, fault: str, reason: str) -> None:
    job = write_job(tmp_path)
    text = job.read_text().replace("[target]", 'fitted = ["run_out_switch", "stop_button"]\n[target]')
    job.write_text(text)
    with simulated(job, tmp_path, "--pace", "20", "--fault", fault) as port:
        code, told, err = wind(job, port, tmp_path)
    assert code == 4
    assert told[-1]["trip"] == reason
    assert told[-1]["state"] == "tripped"
    tripped = next(each for each in told if each["kind"] == "event" and each["verb"] == "tripped")
    assert tripped["sentence"].startswith("Tripped: ")
    assert f"--clear {reason}" in err
    doubted = reason in ("run_out", "no_pulses", "bad_sensor")
    assert ("switch the winder off and on, and give the turns: reelwright wind --resume" in err) is doubted


def test_turns_counted_by_a_person_mend_a_count_that_a_sensor_has_spoilt_once_the_winder_was_off(
    tmp_path: Path,
) -> None:
    job = write_job(tmp_path)
    seen = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "20", "--fault", "sensor_noise@8", "--truth", str(seen)) as port:
        code, told, _ = wind(job, port, tmp_path)
        assert (code, told[-1]["doubts"], told[-1]["length_highest_m"]) == (4, ["bad_sensor"], None)
        number = str(told[-1]["job_id"])
        count = ["--resume", number, "--counted-turns", f"{truth(seen)[-1]['true_turns']:.1f}", "--agree"]
        held = run(tmp_path, "wind", *count, "--port", port)
        assert held.returncode == 2, held.stderr
        assert "not what is on the spool (bad_sensor), switch the winder off and on" in held.stderr
        assert f"wind --resume {number} --port {port} --counted-turns TURNS --agree" in held.stderr
    before_turns = truth(seen)[-1]["true_turns"]
    with simulated(job, tmp_path, "--pace", "20", "--truth", str(seen)) as port:
        done = run(tmp_path, "wind", *count, "--port", port, "--json")
        result = json.loads(done.stdout.splitlines()[-1])
        assert (done.returncode, result["outcome"], result["doubts"]) == (0, "reached", []), done.stderr
    # the second simulation has a spool of its own, so that turns are compared and not lengths
    turns = before_turns + truth(seen)[-1]["true_turns"]
    assert abs(turns - result["turns"]) <= result["agreed_within_turns"]


@pytest.mark.parametrize(
    ("fault", "cause"), [("hang@8", "watchdog"), ("soft_reset@8", "soft_reset"), ("power_dip@8", "power_dip")]
)
def test_a_restart_that_nobody_asked_for_holds_the_winder_and_its_cause_is_told(
    tmp_path: Path, fault: str, cause: str
) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20", "--fault", fault) as port:
        code, told, _ = wind(job, port, tmp_path)
        assert (code, told[-1]["trip"]) == (4, "restarted")
        seen = run(tmp_path, "watch", "--port", port, "--json", "--once").stdout
        assert json.loads(seen.splitlines()[0])["state"] == "tripped"
        link = Port(port)
        assert CAUSES[Client(link).hello().cause].word == cause
        link.close()


def test_after_a_trip_the_count_is_the_one_at_which_the_spool_stands(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    job.write_text(job.read_text().replace("[target]", 'fitted = ["guard_switch"]\n[target]'))
    told_true = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "10", "--fault", "guard_open@20", "--truth", str(told_true)) as port:
        code, told, err = wind(job, port, tmp_path)
    assert code == 4, err
    assert told[-1]["counted_pulses"] == truth(told_true)[-1]["true_pulses"]


def test_a_driver_stuck_on_trips_and_is_never_called_done(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    for turns in ("10", "48"):
        home = tmp_path / turns  # a ledger each: the second winder does not hold what the first one left
        with simulated(job, home, "--pace", "10", "--fault", f"runaway@{turns}") as port:
            code, told, err = wind(job, port, home)
        assert code == 4, err
        assert told[-1]["trip"] in ("overspeed", "runs_on")


@pytest.mark.parametrize(
    ("drive", "fault", "trip"),
    [
        ("dc", "run_out@12", "run_out"),
        ("dc", "sensor_dead@12", "no_pulses"),
        ("stepper", "sensor_dead@12", "no_pulses"),
        ("stepper", "sensor_weak@12", "lost_steps"),
        ("hand", "run_out@12", "run_out"),
    ],
)
def test_the_strand_that_is_truly_there_lies_between_the_ends_that_a_tripped_wind_tells(
    tmp_path: Path, drive: str, fault: str, trip: str
) -> None:
    job = write_job(tmp_path)
    of_drive = f'drive = "{drive}"\nsteps_per_spool_turn = 3200' if drive == "stepper" else f'drive = "{drive}"'
    text = job.read_text().replace('drive = "dc"', of_drive)
    job.write_text(text.replace("[target]", 'fitted = ["run_out_switch"]\n[target]'))
    told_true = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "10", "--fault", fault, "--truth", str(told_true)) as port:
        code, told, err = wind(job, port, tmp_path)
        watched = json.loads(run(tmp_path, "watch", "--port", port, "--json", "--once").stdout.splitlines()[-1])
    assert (code, told[-1]["trip"]) == (4, trip), err
    result, true = told[-1], truth(told_true)[-1]
    assert result["length_lowest_m"] <= true["true_length_m"] <= result["length_highest_m"]
    assert (result["doubts"], result["count_known"]) == ([trip], False)
    assert watched == result
    assert f"tripped{MARK}" in run(tmp_path, "ledger").stdout
    asked = run(tmp_path, "calibrate", "weight", "--job", str(result["job_id"]), "--gross", "68g", "--tare", "61g")
    assert asked.returncode == 2
    assert "--turns" in asked.stderr


def test_a_resumption_proposes_what_a_trip_before_the_restart_has_left_unknown(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    job.write_text(job.read_text().replace("[target]", 'fitted = ["run_out_switch"]\n[target]'))
    with simulated(job, tmp_path, "--pace", "10", "--fault", "run_out@12") as port:
        code, told, err = wind(job, port, tmp_path)
    result = told[-1]
    assert (code, result["doubts"]) == (4, ["run_out"]), err
    resume = ("wind", "--resume", str(result["job_id"]), "--port")
    with simulated(job, tmp_path, "--pace", "20") as port:
        asked = run(tmp_path, *resume, port, "--json")
        proposal = next(each for line in asked.stdout.splitlines() if (each := json.loads(line))["kind"] == "proposal")
        assert asked.returncode == 5
        assert "its trips (run_out) leave more unknown" in asked.stderr
        ends = (result["turns_lowest"], result["turns_highest"])
        assert (proposal["lowest_turns"], proposal["highest_turns"]) == ends
        assert proposal["uncertain_turns"] == pytest.approx(ends[1] - ends[0])
        within = f"{proposal['agree_within_turns']:g}"
        done = run(tmp_path, *resume, port, "--json", "--agree-within", within)
    ended = json.loads(done.stdout.splitlines()[-1])
    # agreed to once, it is not doubted twice
    assert (done.returncode, ended["doubts"]) == (0, []), done.stderr
    assert ended["agreed_within_turns"] == pytest.approx(proposal["uncertain_turns"])


@pytest.mark.parametrize(
    ("drive", "fault", "trip"),
    [
        ("dc", "motor_dead", "no_pulses"),
        ("stepper", "motor_dead", "no_pulses"),
        ("stepper", "lost_steps", "lost_steps"),
    ],
)
def test_a_motor_that_does_not_follow_its_drive_is_told(tmp_path: Path, drive: str, fault: str, trip: str) -> None:
    job = write_job(tmp_path)
    of_drive = f'drive = "{drive}"\nsteps_per_spool_turn = 3200' if drive == "stepper" else f'drive = "{drive}"'
    job.write_text(job.read_text().replace('drive = "dc"', of_drive))
    with simulated(job, tmp_path, "--pace", "10", "--fault", f"{fault}@10") as port:
        code, told, err = wind(job, port, tmp_path)
    assert code == 4, err
    assert told[-1]["trip"] == trip


@pytest.mark.parametrize(
    ("fault", "trip"), [("snag@10", "snag"), ("run_out@10", "run_out"), ("stop_pressed@10", "stop_pressed")]
)
def test_a_tension_sensor_trips_for_its_strand(tmp_path: Path, fault: str, trip: str) -> None:
    job = write_job(tmp_path)
    fitted = 'fitted = ["stop_button", "tension_switch", "run_out_switch"]'
    job.write_text(job.read_text().replace("[target]", f"{fitted}\n[target]"))
    with simulated(job, tmp_path, "--pace", "10", "--fault", fault, "--tension-level", "20", "600", "20") as port:
        code, told, err = wind(job, port, tmp_path)
    assert code == 4, err
    assert told[-1]["trip"] == trip


def test_a_tension_sensor_that_finds_the_strand_slack_before_the_start_is_told(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    job.write_text(job.read_text().replace("[target]", 'fitted = ["run_out_switch"]\n[target]'))
    with simulated(job, tmp_path, "--pace", "10", "--tension-level", "20", "0", "500") as port:
        code, _, err = wind(job, port, tmp_path)
    assert code != 0
    assert "run_out_switch" in err

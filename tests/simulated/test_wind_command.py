"""`wind` on a simulated winder, as a person and as a program see it."""

from __future__ import annotations

import json
import re
import signal
import time
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from reelwright.device.client import Client
from reelwright.device.port import Port
from simulated.winder import listed, run, simulated, start_wind, wind, write_job
from windlink.sentences import CAUSES

if TYPE_CHECKING:
    from pathlib import Path

TARGET = 1050
LAYER = 420
PROGRESS = {"kind", "state", "layer", "layer_turns", "turns", "length_m", "rpm", "line_speed_m_s", "seconds_left"}
RESULT = {
    "kind",
    "state",
    "target_pulses",
    "counted_pulses",
    "overshoot_pulses",
    "turns",
    "layers",
    "length_m",
    "length_u_m",
    "mass_g",
    "job_id",
}


def truth(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def test_a_wind_streams_stops_at_its_layers_and_rests_on_its_pulse_by_the_plants_truth(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1, 2]")
    told_true = tmp_path / "truth.jsonl"
    transcript = tmp_path / "link.txt"
    with simulated(job, tmp_path, "--pace", "20", "--truth", str(told_true), "--true-diameter-mm", "1.73") as port:
        code, told, err = wind(job, port, tmp_path, "--go-on", "--transcript", str(transcript))
    assert code == 0, err
    progress = [each for each in told if each["kind"] == "progress"]
    assert len(progress) > 20
    assert all(set(each) >= PROGRESS for each in progress)
    assert [a["turns"] <= b["turns"] + 0.1 for a, b in pairwise(progress)]
    stops = [each for each in told if each["kind"] == "event" and each["verb"] == "stopped"]
    assert [abs(stop["pulses"] - at) <= 1 for stop, at in zip(stops, (LAYER, 2 * LAYER), strict=True)] == [True, True]
    result = told[-1]
    assert set(result) >= RESULT
    assert abs(result["overshoot_pulses"]) <= 1
    last = truth(told_true)[-1]
    assert abs(last["true_pulses"] - TARGET) <= 1
    assert last["peak_overshoot_pulses"] <= 1
    assert last["motor"] == "off"
    # the true strand is thinner than planned, so its coil is shorter, and the error bar covers that
    assert 0 < result["length_m"] - last["true_length_m"] < 2 * result["length_u_m"]
    lines = transcript.read_text().splitlines()
    assert all(re.match(r" *\d+\.\d{4} (host  |winder) [><=+]", line) for line in lines)


def test_without_an_operator_a_planned_stop_ends_the_command_and_the_next_one_goes_on(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        code, told, err = wind(job, port, tmp_path, "--drop-held", "--link-wait", "5")
        assert code == 5
        assert told[-1]["state"] == "waiting"
        how = err.splitlines()[-1].partition("To go on: ")[2]
        assert how == f"reelwright wind --resume {told[-1]['job_id']} --port {port}"
        code, told, _ = wind(job, port, tmp_path)
    assert code == 0
    assert told[-1]["state"] == "finished"


def test_words_on_standard_input_pause_go_on_and_abandon(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "10") as port:
        program = start_wind(job, port, tmp_path)
        assert program.stdin is not None
        assert program.stdout is not None
        said = []
        for line in program.stdout:
            each = json.loads(line)
            if each["kind"] == "progress" and each["turns"] > 3 and "pause" not in said:
                said.append("pause")
                program.stdin.write("pause\n")
            elif each["kind"] == "event" and each["verb"] == "stopped":
                said.append("go on")
                program.stdin.write("go on\n")
            elif each["kind"] == "progress" and each["turns"] > 12 and "abandon" not in said:
                said.append("abandon")
                program.stdin.write("abandon\n")
            program.stdin.flush()
        program.communicate(timeout=20)
    assert said == ["pause", "go on", "abandon"]
    assert program.returncode == 6
    assert each["outcome"] == "abandoned"
    assert each["overshoot_pulses"] < 0


@pytest.mark.parametrize(("presses", "code", "state"), [(1, 5, "waiting"), (2, 6, "finished")])
def test_ctrl_c_brings_the_winder_to_rest_and_twice_abandons(
    tmp_path: Path, presses: int, code: int, state: str
) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "10") as port:
        program = start_wind(job, port, tmp_path)
        assert program.stdout is not None
        for line in program.stdout:
            each = json.loads(line)
            if each["kind"] == "progress" and each["turns"] > 5:
                break
        for _ in range(presses):
            program.send_signal(signal.SIGINT)
            time.sleep(0.05)
        out, err = program.communicate(timeout=30)
        assert program.returncode == code, err
        assert "Traceback" not in err
        result = json.loads(out.splitlines()[-1])
        assert result["state"] == state
        if presses == 1:
            assert "To go on" in err
            assert wind(job, port, tmp_path)[0] == 0


@pytest.mark.parametrize(("presses", "code", "state"), [(1, 5, "waiting"), (2, 6, "finished")])
def test_at_a_planned_stop_ctrl_c_leaves_and_twice_abandons(
    tmp_path: Path, presses: int, code: int, state: str
) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        program = start_wind(job, port, tmp_path)
        assert program.stdout is not None
        for line in program.stdout:
            if json.loads(line).get("state") == "waiting":
                break
        for _ in range(presses):
            program.send_signal(signal.SIGINT)
            time.sleep(0.3)  # as a person presses it twice
        out, err = program.communicate(timeout=30)
    assert program.returncode == code, err
    assert json.loads(out.splitlines()[-1])["state"] == state
    assert "Ctrl-C once more" in err


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


def test_a_spool_that_slips_trips_where_a_wheel_is_fitted_and_winds_on_once_it_is_tight_again(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    wheel = 'fitted = ["measuring_wheel"]\nmeasuring_wheel_mm_per_pulse = 2.5\n[target]'
    plain = job.read_text()
    job.write_text(plain.replace("[target]", wheel))
    with simulated(job, tmp_path, "--pace", "20", "--fault", "slip@8") as port:
        code, told, _ = wind(job, port, tmp_path)
        assert (code, told[-1]["trip"]) == (4, "slip")
        code, told, _ = wind(job, port, tmp_path, "--clear", "slip")
        while code == 4:  # it slips until the shaft has stood for five seconds
            code, told, _ = wind(job, port, tmp_path, "--clear", "slip")
    # clearing the trip has mended no count
    assert (code, told[-1]["counted_pulses"], told[-1]["doubts"]) == (0, 1050, ["slip"])
    job.write_text(plain)
    with simulated(job, tmp_path, "--pace", "20", "--fault", "slip@8") as port:
        assert wind(job, port, tmp_path)[0] == 0


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


def test_a_job_that_waits_is_given_up_where_that_is_asked_for_and_not_gone_on_with(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        code, told, err = wind(job, port, tmp_path, "--drop-held", "--go-on")
        assert (code, "Picks up" in err) == (0, False), err
    assert told[-1]["counted_pulses"] == TARGET
    given_up, begun = sorted(listed(tmp_path), key=lambda each: each["started_at"])
    assert (given_up["outcome"], given_up["counted_pulses"]) == ("abandoned", 21 * 20)
    assert begun["outcome"] == "reached"


def test_another_job_in_the_winder_is_told_and_kept(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    other = tmp_path / "other.toml"
    other.write_text(job.read_text().replace("layers = 2.5", "layers = 1.5"))
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        code, _, err = wind(other, port, tmp_path)
        assert code == 3
        assert "holds another job" in err
        assert "--drop-held" in err
        assert wind(other, port, tmp_path, "--drop-held", "--go-on")[0] == 0
    assert sorted(each["outcome"] for each in listed(tmp_path)) == ["abandoned", "reached"]


def test_a_power_cut_in_the_middle_leaves_the_last_count_marked_uncertain(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "10", "--fault", "power_cut@10") as port:
        code, told, err = wind(job, port, tmp_path)
    assert code == 4, err
    assert told[-1]["uncertain"] is True
    assert told[-1]["trip"] == "restarted"
    assert 0 < told[-1]["counted_pulses"] <= 10.2 * 20


def test_watch_shows_where_a_winder_is_and_changes_nothing(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        seen = run(tmp_path, "watch", "--port", port, "--json", "--once")
        assert seen.returncode == 0, seen.stderr
        first = json.loads(seen.stdout.splitlines()[0])
        assert (first["state"], first["layer"]) == ("waiting", 1)
        assert wind(job, port, tmp_path)[0] == 0


def test_watch_says_what_it_can_of_a_winder_without_a_job_or_with_a_strange_one(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    elsewhere = tmp_path / "another computer"
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert "empty: No job is loaded" in run(tmp_path, "watch", "--port", port).stdout
        assert wind(job, port, tmp_path)[0] == 5
        seen = run(elsewhere, "watch", "--port", port)
        assert seen.returncode == 0, seen.stderr
        assert "does not know: layer 1, 420 pulses." in seen.stdout
        told = json.loads(run(elsewhere, "watch", "--port", port, "--json").stdout)
        assert (told["kind"], told["state"], told["pulses"]) == ("status", "waiting", 420)


def test_on_a_socket_a_second_host_is_turned_away_and_the_first_winds_on(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "10", "--socket") as port:
        assert port.startswith("socket://")
        first = start_wind(job, port, tmp_path)
        assert first.stdout is not None
        for line in first.stdout:
            if json.loads(line).get("turns", 0) > 3:
                break
        code, _, err = wind(job, port, tmp_path)
        assert code == 3, err
        out, err = first.communicate(timeout=30)
    assert first.returncode == 0, err
    assert abs(json.loads(out.splitlines()[-1])["overshoot_pulses"]) <= 1


def test_over_a_noisy_cable_the_wind_still_ends_on_its_pulse_with_every_event_once(tmp_path: Path) -> None:
    job = write_job(tmp_path, link_loss="wind_on", pauses="[1]")
    with simulated(job, tmp_path, "--pace", "4", "--fault", "noise@1") as port:
        code, told, err = wind(job, port, tmp_path, "--go-on")
    assert code == 0, err
    assert abs(told[-1]["overshoot_pulses"]) <= 1
    numbers = [each["number"] for each in told if each["kind"] == "event"]
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("wait_s", [0.25, 0.3, 0.35, 0.4, 0.5, 0.6])
def test_a_ctrl_c_at_the_very_start_leaves_the_spool_at_rest(tmp_path: Path, wait_s: float) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "10") as port:
        program = start_wind(job, port, tmp_path)
        time.sleep(wait_s)
        program.send_signal(signal.SIGINT)
        _, err = program.communicate(timeout=20)
        assert program.returncode in (5, 130, -2), err
        assert "Traceback" not in err or program.returncode == -2  # the interpreter itself was not up yet
        assert run(tmp_path, "watch", "--port", port, "--json", "--once").stdout
        state = json.loads(run(tmp_path, "watch", "--port", port, "--json", "--once").stdout.splitlines()[0])["state"]
        assert state in ("empty", "loaded", "waiting")


def test_events_of_the_job_before_are_kept_in_its_own_record(tmp_path: Path) -> None:
    job = write_job(tmp_path, link_loss="wind_on")
    other = tmp_path / "other.toml"
    other.write_text(job.read_text().replace("layers = 2.5", "layers = 0.5"))
    with simulated(job, tmp_path, "--pace", "20") as port:
        program = start_wind(job, port, tmp_path)
        assert program.stdout is not None
        for line in program.stdout:
            if json.loads(line).get("turns", 0) > 3:
                break
        program.kill()
        program.communicate()
        while (
            json.loads(run(tmp_path, "watch", "--port", port, "--json", "--once").stdout.splitlines()[0])["state"]
            != "finished"
        ):
            time.sleep(0.1)
        code, told, err = wind(other, port, tmp_path)
    assert code == 0, err
    verbs = [each["verb"] for each in told if each["kind"] == "event"]
    assert verbs == ["began", "ended"]
    first = min(listed(tmp_path), key=lambda each: each["started_at"])
    assert (first["outcome"], first["counted_pulses"], first["open"]) == ("reached", TARGET, False)
    shown = json.loads(run(tmp_path, "ledger", "show", str(first["job_id"]), "--json").stdout)
    assert [each["verb"] for each in shown["events"]][-1] == "ended"


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


def test_a_job_lost_with_the_host_dead_is_told_by_the_next_wind_and_closed_when_it_is_given_up(tmp_path: Path) -> None:
    job = write_job(tmp_path, link_loss="wind_on")
    with simulated(job, tmp_path, "--pace", "4", "--fault", "power_cut@16") as port:
        program = start_wind(job, port, tmp_path)
        assert program.stdout is not None
        for line in program.stdout:
            if json.loads(line).get("turns", 0) > 12:
                break
        program.kill()
        program.communicate()
        while "tripped" not in run(tmp_path, "watch", "--port", port).stdout:
            time.sleep(0.1)
        code, _, err = wind(job, port, tmp_path)
        assert code == 4
        assert "restarted in the middle of job" in err
        assert listed(tmp_path)[0]["open"] is True
        code, _, err = wind(job, port, tmp_path, "--drop-held")
    assert code == 0, err
    lost = min(listed(tmp_path), key=lambda each: each["started_at"])
    assert (lost["open"], lost["outcome"]) == (False, "abandoned")
    assert abs(lost["counted_pulses"] - 16 * 20) <= lost["uncertain_turns"] * 20

"""`wind --resume` as a person and as a script meet it: a winder that restarted, in a process of its own."""

from __future__ import annotations

import json
import shlex
import subprocess
from typing import TYPE_CHECKING, Any

import pytest

from simulated.winder import COMMAND, environment, listed, run, simulated, terminal, wind, write_job

if TYPE_CHECKING:
    from pathlib import Path

TARGET = 1050
PULSES_PER_TURN = 20


def last_truth(path: Path) -> dict[str, Any]:
    return json.loads(path.read_text().splitlines()[-1])


def resume(port: str, home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """`wind --resume` with nobody at the keyboard."""
    return subprocess.run(
        [*COMMAND, "wind", "--resume", "--port", port, "--json", *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=90,
        env=environment(home),
        check=False,
    )


def resume_at_terminal(port: str, home: Path, typed: str, *words: str) -> tuple[int, str]:
    """`wind --resume` with a person who types one line: exit code and what stands on the terminal."""
    with terminal(typed + "\n") as keyboard:
        done = subprocess.run(
            [*COMMAND, "wind", "--resume", "--port", port, *words],
            stdin=keyboard,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=90,
            env=environment(home),
            check=False,
        )
    return done.returncode, done.stdout


def agreement(proposal: dict[str, Any]) -> tuple[str, ...]:
    """The words that agree to a proposal."""
    within = proposal["agree_within_turns"]
    return ("--agree",) if within is None else ("--agree-within", str(within))


@pytest.mark.parametrize("fault", ["hang", "soft_reset", "power_dip", "power_cut"])
def test_a_restart_in_the_middle_is_told_agreed_to_and_wound_to_its_end(tmp_path: Path, fault: str) -> None:
    job = write_job(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "20", "--fault", f"{fault}@25", "--truth", str(truth)) as port:
        code, told, err = wind(job, port, tmp_path)
        assert code == 4, err
        assert (told[-1]["trip"], told[-1]["uncertain"]) == ("restarted", True)
        number = listed(tmp_path)[0]["job_id"]
        assert f"To go on with the job: reelwright wind --resume {number} --port {port}" in err
        # without --resume it is told, and kept
        code, _, err = wind(job, port, tmp_path)
        assert code == 4
        assert "restarted in the middle of job" in err
        # and with it nothing moves before somebody has agreed
        asked = resume(port, tmp_path)
        assert asked.returncode == 5, asked.stderr
        proposal, refusal = [json.loads(line) for line in asked.stdout.splitlines()]
        assert (refusal["kind"], refusal["exit_code"]) == ("error", 5)
        assert f"may be off by up to {proposal['uncertain_turns']:.2f} turns" in asked.stderr
        before = last_truth(truth)["true_pulses"]
        assert proposal["kind"] == "proposal"
        assert proposal["job_id"] == number
        assert proposal["lowest_turns"] <= proposal["turns"] <= proposal["highest_turns"]
        assert proposal["lowest_turns"] - 1e-9 <= before / PULSES_PER_TURN <= proposal["highest_turns"] + 1e-9
        # the ledger's figure is the one that the first command's result has
        assert proposal["ledger"]["turns"] == told[-1]["turns"]
        assert f"The ledger: {told[-1]['turns']:.2f} turns" in asked.stderr
        words = agreement(proposal)
        agreed = resume(port, tmp_path, *words)
        assert agreed.returncode == 0, agreed.stderr
        after = [json.loads(line) for line in truth.read_text().splitlines()]
    assert 25 * PULSES_PER_TURN <= before < TARGET
    result = json.loads(agreed.stdout.splitlines()[-1])
    assert (result["outcome"], result["uncertain"]) == ("reached", False)
    assert result["uncertain_turns"] == proposal["uncertain_turns"] > 0
    off = after[-1]["true_pulses"] - result["counted_pulses"]
    assert abs(off) <= result["uncertain_turns"] * PULSES_PER_TURN
    assert result["length_m"] == pytest.approx(after[-1]["true_length_m"], abs=result["length_u_m"] * 3)
    # the ledger has both boots and the agreement
    (row,) = listed(tmp_path)
    shown = json.loads(run(tmp_path, "ledger", "show", str(row["job_id"]), "--json").stdout)
    verbs = [event["verb"] for event in shown["events"]]
    assert verbs.count("restarted") == verbs.count("resumed") == 1
    assert len({event["boot"] for event in shown["events"]}) == 2
    assert shown["uncertain_turns"] == result["uncertain_turns"]


def test_a_person_agrees_by_typing_or_leaves_everything_as_it_is(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20", "--fault", "soft_reset@25") as port:
        assert wind(job, port, tmp_path)[0] == 4
        code, said = resume_at_terminal(port, tmp_path, "yes")
        assert code == 5, said
        assert "The winder: 2" in said
        assert "The ledger: " in said
        assert "Nothing has moved since" in said
        assert "Not agreed" in said
        code, said = resume_at_terminal(port, tmp_path, "agree")
        assert code == 0, said
    assert "left " in said
    assert "turns unknown either way" in said


def test_a_person_who_counted_the_turns_knows_better(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "20", "--fault", "power_cut@25", "--truth", str(truth)) as port:
        assert wind(job, port, tmp_path)[0] == 4
        far = resume(port, tmp_path, "--agree", "--counted-turns", "500")
        assert far.returncode == 2
        assert "the job has 52.50 turns" in far.stderr
        counted = round(last_truth(truth)["true_turns"], 1)
        done = resume(port, tmp_path, "--agree", "--counted-turns", str(counted), "--give-or-take", "0.1")
    assert done.returncode == 0, done.stderr
    assert "counted by you" in done.stderr
    assert "If you can count them" not in done.stderr
    result = json.loads(done.stdout.splitlines()[-1])
    assert result["uncertain_turns"] == 0.1
    assert abs(last_truth(truth)["true_pulses"] - result["counted_pulses"]) <= 0.1 * PULSES_PER_TURN


def test_at_a_terminal_a_count_is_asked_for_where_a_word_is_too_little(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "20", "--fault", "power_cut@25", "--truth", str(truth)) as port:
        assert wind(job, port, tmp_path)[0] == 4
        code, said = resume_at_terminal(port, tmp_path, "500")
        assert (code, "500 turns counted: the job has 52.50 turns" in said) == (2, True), said
        code, said = resume_at_terminal(port, tmp_path, "")
        assert (code, "Not counted: nothing has moved." in said) == (5, True), said
        counted = round(last_truth(truth)["true_turns"])
        code, said = resume_at_terminal(port, tmp_path, f"{counted}\nagree")
        assert code == 0, said
    assert f"So the spool has {counted}.00 turns" in said
    assert f'Type "agree" to go on from {counted}.00 turns' in said
    assert listed(tmp_path)[0]["uncertain_turns"] == 0.5


def test_what_cannot_be_resumed_is_told_with_what_to_do(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    other = tmp_path / "other.toml"
    other.write_text(job.read_text().replace("layers = 2.5", "layers = 1.5"))
    with simulated(job, tmp_path, "--pace", "20", "--fault", "soft_reset@30") as port:
        nothing = resume(port, tmp_path)
        assert nothing.returncode == 2
        assert "There is nothing to resume" in nothing.stderr
        assert wind(job, port, tmp_path)[0] == 5
        held = resume(port, tmp_path, "7")
        assert held.returncode == 2
        assert "the winder holds another job" in held.stderr
        assert wind(job, port, tmp_path)[0] == 4
        number = listed(tmp_path)[0]["job_id"]
        for words, code, sentence in (
            (("--agree", "--resume", "7"), 3, f"remembers another job, {number}"),
            ((str(other), "--resume", "--agree"), 3, f"remembers another job, {number}"),
            (("--resume", "--drop-held"), 2, "--resume does not go with --drop-held"),
            (("--resume", "--clear", "snag"), 2, "only for a job that the winder still holds"),
            ((str(job), "--agree-within", "1"), 2, "go with --resume"),
            ((str(job), "--agree"), 2, "go with --resume"),
            (("--resume", "--agree", "--give-or-take", "1"), 2, "--give-or-take goes with --counted-turns"),
            (("--resume", "--agree", "--counted-turns", "nan"), 2, "no finite number"),
            (("--resume", "--agree", "--counted-turns", "inf"), 2, "no finite number"),
            (("--resume", "--agree", "9" * 30), 3, f"remembers another job, {number}"),
        ):
            done = run(tmp_path, "wind", "--port", port, *words)
            assert (done.returncode, sentence in done.stderr) == (code, True), (words, done.stderr)
            assert "Traceback" not in done.stderr
        stranger = resume(port, tmp_path / "another computer", "--agree")
        assert stranger.returncode == 3
        assert "this computer's ledger does not know it" in stranger.stderr
        assert resume(port, tmp_path, str(number), "--agree").returncode == 0


def test_a_large_doubt_is_not_agreed_to_by_a_word(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20", "--fault", "power_cut@25") as port:
        assert wind(job, port, tmp_path)[0] == 4
        asked = resume(port, tmp_path, "--agree")
        assert asked.returncode == 5, asked.stderr
        proposal = json.loads(asked.stdout.splitlines()[0])
        doubt = proposal["agree_within_turns"]
        assert doubt >= proposal["uncertain_turns"] > 2
        assert f"--agree-within {doubt:g}" in asked.stderr
        assert "--counted-turns" in asked.stderr
        code, said = resume_at_terminal(port, tmp_path, "agree")
        assert (code, f"--agree-within {doubt:g}" in said) == (5, True), said
        assert resume(port, tmp_path, "--agree-within", str(doubt - 0.02)).returncode == 5
        assert resume(port, tmp_path, "--agree-within", str(doubt)).returncode == 0


def test_a_job_resumed_by_its_number_goes_on_by_its_number_at_each_stop(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1, 2]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
    # another winder at another port, which knows nothing and calls its start by the same number
    with simulated(job, tmp_path, "--pace", "20") as port:
        number = str(listed(tmp_path)[0]["job_id"])
        job.unlink()
        second = resume(port, tmp_path, number, "--agree")
        assert second.returncode == 5, second.stderr
        assert f"To go on: reelwright wind --resume {number} --port {port}\n" in second.stderr
        last = resume(port, tmp_path, number)
        assert last.returncode == 0, last.stderr
    assert json.loads(last.stdout.splitlines()[-1])["outcome"] == "reached"
    shown = json.loads(run(tmp_path, "ledger", "show", number, "--json").stdout)
    layers = [event["fields"]["layer"] for event in shown["events"] if event["verb"] == "layer_done"]
    assert layers == [1, 2]
    assert {event["series"] for event in shown["events"]} == {1, 2}


def test_a_job_last_heard_at_a_port_that_is_still_there_may_be_on_another_winders_spool(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as holds_it:
        assert wind(job, holds_it, tmp_path)[0] == 5
        number = str(listed(tmp_path)[0]["job_id"])
        with simulated(job, tmp_path, "--pace", "20") as another:
            asked = resume(another, tmp_path, number)
            assert asked.returncode == 5
            assert f"That was at {holds_it}, which is still there." in " ".join(asked.stderr.split())
            assert json.loads(asked.stdout.splitlines()[0])["ledger"]["port"] == holds_it
        assert resume(holds_it, tmp_path, number).returncode == 0


def test_a_count_by_eye_of_a_job_that_the_winder_counts_itself_is_refused(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        refused = resume(port, tmp_path, "--agree", "--counted-turns", "9")
        assert refused.returncode == 2
        assert "--counted-turns is for after a restart" in refused.stderr
        done = resume(port, tmp_path, "--agree")
        assert done.returncode == 0, done.stderr


def test_going_on_at_stops_holds_for_a_resumed_job_too(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1, 2]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
    with simulated(job, tmp_path, "--pace", "20") as port:
        number = str(listed(tmp_path)[0]["job_id"])
        done = resume(port, tmp_path, number, "--agree", "--go-on")
        assert done.returncode == 0, done.stderr


def test_a_trip_of_a_resumed_job_is_cleared_by_the_command_that_is_told(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
    with simulated(job, tmp_path, "--pace", "20", "--fault", "snag@9") as port:
        number = str(listed(tmp_path)[0]["job_id"])
        tripped = resume(port, tmp_path, number, "--agree")
        assert tripped.returncode == 4, tripped.stderr
        reason = json.loads(tripped.stdout.splitlines()[-1])["trip"]
        assert f"reelwright wind --resume {number} --port {port} --clear {reason}\n" in tripped.stderr
        again = resume(port, tmp_path, number, "--clear", reason)
        assert "nothing to resume" not in again.stderr
        assert f"Picks up job {number}" in again.stderr


def test_a_count_that_contradicts_an_exact_one_must_be_said_again(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
    with simulated(job, tmp_path, "--pace", "20") as port:
        number = str(listed(tmp_path)[0]["job_id"])
        vague = resume(port, tmp_path, number, "--agree", "--counted-turns", "9", "--give-or-take", "12")
        assert (vague.returncode, "may be off by 12.00 turns" in vague.stderr) == (5, True), vague.stderr
        wrong = resume(port, tmp_path, number, "--agree", "--counted-turns", "9")
        assert wrong.returncode == 5, wrong.stderr
        assert "outside of what is known" in wrong.stderr
        assert "Without your count it would have 21.0" in wrong.stderr
        assert "If you can count them" not in wrong.stderr
        within = json.loads(wrong.stdout.splitlines()[0])["agree_within_turns"]
        assert 11.4 < within < 11.6
        right = resume(port, tmp_path, number, "--counted-turns", "9", "--agree-within", str(within))
        assert right.returncode == 5, right.stderr  # at the stop of layer 1, which lies ahead again
        assert json.loads(right.stdout.splitlines()[-1])["counted_pulses"] == pytest.approx(420, abs=1)


def test_the_same_command_does_not_begin_a_forgotten_job_from_zero(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    port = str(tmp_path / "winder")
    with simulated(job, tmp_path, "--pace", "20") as device:
        (tmp_path / "winder").symlink_to(device)
        assert wind(job, port, tmp_path)[0] == 5
    (tmp_path / "winder").unlink()
    with simulated(job, tmp_path, "--pace", "20") as device:
        (tmp_path / "winder").symlink_to(device)
        number = str(listed(tmp_path)[0]["job_id"])
        code, told, err = wind(job, port, tmp_path)
        assert (code, [line["kind"] for line in told]) == (4, ["error"])  # and no wind
        assert f"reelwright wind --resume {number} --port {port}" in err
        assert "--drop-held" in err
        assert len(listed(tmp_path)) == 1
        assert resume(port, tmp_path, number, "--agree").returncode == 0
        assert wind(job, port, tmp_path)[0] == 5, "once that one is over, the same job may be wound anew"


def test_a_job_of_a_port_that_is_gone_is_not_begun_from_zero_at_another_one(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    before, port = tmp_path / "winder", str(tmp_path / "winder plugged in elsewhere")
    with simulated(job, tmp_path, "--pace", "20") as device:
        before.symlink_to(device)
        assert wind(job, str(before), tmp_path)[0] == 5
    before.unlink()
    with simulated(job, tmp_path, "--pace", "20") as device:
        (tmp_path / "winder plugged in elsewhere").symlink_to(device)
        number = listed(tmp_path)[0]["job_id"]
        code, _, err = wind(job, port, tmp_path)
        assert (code, len(listed(tmp_path))) == (4, 1), err
        assert f"last recorded at {before}, which is not there now" in " ".join(err.split())
        before.touch()  # a winder that is still there may be winding the job itself
        code, _, err = wind(job, port, tmp_path)
        assert code == 5, err
        told = " ".join(err.split())
        assert f"Job {number} is this one too, and is unfinished at {before}, at 21." in told
        assert f"reelwright wind --resume {number} --port '{port}'" in told
        assert told.count("is unfinished") == 1
        assert [each["job_id"] for each in listed(tmp_path)][1] == number
    before.unlink()
    with simulated(job, tmp_path, "--pace", "20") as device:
        assert wind(job, device, tmp_path, "--drop-held")[0] == 5
        assert not any(each["open"] for each in listed(tmp_path) if each["job_id"] == number)


def test_a_job_of_a_socket_that_refuses_is_not_begun_from_zero_at_another_one(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20", "--socket") as before:
        assert wind(job, before, tmp_path)[0] == 5
    with simulated(job, tmp_path, "--pace", "20", "--socket") as port:
        number = str(listed(tmp_path)[0]["job_id"])
        code, _, err = wind(job, port, tmp_path)
        assert (code, len(listed(tmp_path))) == (4, 1), err
        assert f"last recorded at {before}, which is not there now" in " ".join(err.split())
        asked = resume(port, tmp_path, number)
        assert "still there" not in " ".join((asked.stdout + asked.stderr).split())


def test_where_nothing_is_to_be_resumed_the_hint_names_the_file_that_was_given(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 0
        told = run(tmp_path, "wind", "--resume", str(job), "--port", port)
        assert told.returncode == 2
        begin = shlex.join(["reelwright", "wind", str(job), "--port", port])
        assert f"`{begin}`" in " ".join(told.stderr.split())

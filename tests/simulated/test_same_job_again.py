"""The same job once more at a port where it has just been wound: a full spool may still be on."""

from __future__ import annotations

import json
import signal
import subprocess
from contextlib import suppress
from typing import TYPE_CHECKING

import pytest

from reelwright.errors import EXIT_PAUSED
from reelwright.operation.before import strand_of_this_job
from simulated.lockstep import small_bench
from simulated.power_cuts import TARGET, found, power_fails
from simulated.winder import COMMAND, environment, listed, run, simulated, terminal, wind, write_job

if TYPE_CHECKING:
    from pathlib import Path

QUESTION = 'Type "empty" once an empty spool is on'


def pressed(program: subprocess.Popen[str]) -> str:
    """Ctrl-C until it ends, as an interpreter on its way into a read may miss one; what it says then."""
    for _ in range(20):
        program.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            return program.communicate(timeout=2)[1]
    raise AssertionError("it does not end")


def state(port: str, home: Path) -> str:
    return str(json.loads(run(home, "watch", "--port", port, "--json", "--once").stdout.splitlines()[0])["state"])


def test_at_a_terminal_the_same_job_begins_once_an_empty_spool_is_said_to_be_on(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        first = run(tmp_path, "wind", str(job), "--port", port, typed="\n")
        assert (first.returncode, QUESTION in first.stderr) == (0, False), first.stderr
        number = listed(tmp_path)[0]["job_id"]
        again = run(tmp_path, "wind", str(job), "--port", port, typed="\n")
        assert again.returncode == 5, again.stderr
        assert f"Job {number} was this one too, and left " in again.stderr
        assert "nothing has moved" in again.stderr
        assert (len(listed(tmp_path)), state(port, tmp_path)) == (1, "finished")
        said = run(tmp_path, "wind", str(job), "--port", port, typed="Empty\n")
        assert (said.returncode, QUESTION in said.stderr) == (0, True), said.stderr
    assert [each["outcome"] for each in listed(tmp_path)] == ["reached", "reached"]


def test_after_an_abandoned_wind_the_spool_is_asked_for_too(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    other = tmp_path / "other.toml"
    other.write_text(job.read_text().replace("layers = 2.5", "layers = 0.5"))
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        program = subprocess.run(
            [*COMMAND, "wind", "--resume", "--port", port, "--json"],
            input="abandon\n",
            capture_output=True,
            text=True,
            timeout=60,
            env=environment(tmp_path),
            check=False,
        )
        assert program.returncode == 6, program.stderr
        asked = run(tmp_path, "wind", str(job), "--port", port, typed="\n")
        assert (asked.returncode, QUESTION in asked.stderr) == (5, True), asked.stderr
        another = run(tmp_path, "wind", str(other), "--port", port, typed="\n")
        assert (another.returncode, QUESTION in another.stderr) == (0, False), another.stderr


@pytest.mark.parametrize("which", ["job", "other"])
def test_where_a_job_is_given_up_for_another_its_spool_is_asked_for(tmp_path: Path, which: str) -> None:
    job = write_job(tmp_path, pauses="[1]")
    other = tmp_path / "other.toml"
    other.write_text(job.read_text().replace("layers = 2.5", "layers = 0.5"))
    begun = {"job": job, "other": other}[which]
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        number = listed(tmp_path)[0]["job_id"]
        kept = run(tmp_path, "wind", str(begun), "--port", port, "--drop-held", typed="\n")
        assert (kept.returncode, QUESTION in kept.stderr) == (5, True), kept.stderr
        assert f"Job {number} is given up, and left " in kept.stderr
        assert (len(listed(tmp_path)), state(port, tmp_path)) == (1, "waiting")
        said = run(tmp_path, "wind", str(begun), "--port", port, "--drop-held", "--go-on", typed="empty\n")
        assert said.returncode in (0, 5), said.stderr
    assert [each["outcome"] for each in listed(tmp_path)][-1] == "abandoned"
    assert len(listed(tmp_path)) == 2


def test_ctrl_c_at_the_question_leaves_and_nothing_has_begun(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port, terminal("") as keyboard:
        assert wind(job, port, tmp_path)[0] == 0
        program = subprocess.Popen(
            [*COMMAND, "wind", str(job), "--port", port],
            stdin=keyboard,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(tmp_path),
        )
        assert program.stderr is not None
        told = ""
        while QUESTION not in told:
            more = program.stderr.read(1)
            assert more, told
            told += more
        err = pressed(program)
        assert program.returncode == 130, err
        assert "Traceback" not in err
        assert (len(listed(tmp_path)), state(port, tmp_path)) == (1, "finished")


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_a_script_is_told_in_a_note_and_begins(tmp_path: Path, words: tuple[str, ...]) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 0
        # with --json even a terminal is a script's
        done = run(tmp_path, "wind", str(job), "--port", port, *words, typed="\n" if words else "")
    assert done.returncode == 0, done.stderr
    assert QUESTION not in done.stderr
    assert "was this one too, and left" in done.stderr + done.stdout


def test_a_job_that_ended_when_nobody_heard_has_left_its_strand_on_the_spool_too(tmp_path: Path) -> None:
    with small_bench(tmp_path) as bench:

        def left(**remembered: object) -> str:
            return strand_of_this_job(bench.plan, bench.ledger, "lockstep", "", remembered.get("memory"))

        assert left() == ""
        assert bench.wind() == EXIT_PAUSED
        power_fails(bench)
        assert left(**found(bench)) == "", "it may go on"
        bench.resume(and_stop=False)
        for _ in range(100):
            bench.winder.pass_periods(100)
        assert abs(bench.true_pulses - TARGET) <= 1
        power_fails(bench)
        assert bench.ledger.winds()[0].open
        assert left() == ""
        assert "was this one too, and left 8." in left(**found(bench))

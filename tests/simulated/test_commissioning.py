"""The hardware's page, walked from top to bottom: each command that the simulated winder can answer is given, and what
it says is compared with the reading that the page promises.

A block ```sh simulated starts the winder for the blocks after it, ```sh is run, ```text below it is what it must print,
line by line and in order, "…" standing for what differs; ```sh board needs the real thing and is only looked at.
"""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click
import pytest
from click.testing import CliRunner

from hardware_page import FLOWING, PAGE
from reelwright.cli import COMMANDS, main
from reelwright.operation.motor_test import PASSWORD
from reelwright.profiles import build_job
from reelwright.winding.plan import make_plan
from simulated.winder import run, simulated
from windcore.protections import PROTECTIONS as TRIP_PROMISES
from windlink.codes import NO_PULSES
from windlink.sentences import TRIPS

if TYPE_CHECKING:
    import subprocess

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
FENCE = re.compile(r"^```(\w+)( \w+)?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
QUICKLY = ("--pace", "8")  # where the page has somebody wait for a hand's turns: no reading of it tells a time
JOB = next(body for kind, _, body in FENCE.findall(PAGE) if kind == "toml")


def flowing(text: str) -> str:
    """A text without its line breaks."""
    return " ".join(text.split())


class Step(NamedTuple):
    """One command and its reading. simulator: options of the simulated winder, None where none was started."""

    title: str
    command: str
    reading: list[str]
    simulator: list[str] | None


def steps() -> list[Step]:
    found: list[Step] = []
    simulator: list[str] | None = None
    commissioning = PAGE.split("\n## Commissioning")[1].split("\n## ")[0]
    for section in commissioning.split("\n### ")[1:]:
        title = section.splitlines()[0]
        for kind, how, body in FENCE.findall(section):
            if (kind, how) == ("sh", " simulated"):
                simulator = shlex.split(body)[3:]
            elif (kind, how) == ("sh", ""):
                assert len(body.splitlines()) == 1, "one command a block"
                found.append(Step(title, body.strip(), [], simulator))
            elif kind == "text":
                found[-1].reading.extend(body.splitlines())
    return found


def as_pattern(line: str) -> str:
    return ".*".join(re.escape(piece) for piece in " ".join(line.split()).split("…"))


def check_reading(said: str, reading: list[str]) -> None:
    lines = iter([" ".join(line.split()) for line in said.splitlines()])
    for wanted in reading:
        assert any(re.fullmatch(as_pattern(wanted), line) for line in lines), (
            f"no line {wanted!r}, in this order, in:\n{said}"
        )


def is_there(command: str) -> bool:
    return shlex.split(command)[1] in COMMANDS


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "commission.toml"
    path.write_text(JOB, encoding="utf-8")
    return path


def given(command: str, folder: Path, port: str) -> list[str]:
    """The command's words, with the files and the port of this place."""
    here = {"commission.toml": str(folder / "commission.toml"), "PORT": port}
    words = [here.get(word, word) for word in shlex.split(command)[1:]]
    return [str(HARDWARE.parent / word) if word.startswith("hardware/") else word for word in words]


def test_the_page_has_steps_that_the_simulated_winder_can_answer() -> None:
    assert [step.command.split()[1] for step in steps() if is_there(step.command)].count("wind") == 1
    assert all(step.reading for step in steps())
    numbers = re.findall(r"^### (\d+)\. ", PAGE, re.MULTILINE)
    assert numbers == [str(number) for number in range(1, len(numbers) + 1)]


@pytest.mark.parametrize("step", steps(), ids=lambda step: step.command.replace("reelwright ", ""))
def test_a_step_gives_the_reading_that_the_page_promises(step: Step, job: Path, tmp_path: Path) -> None:
    if not is_there(step.command):
        pytest.skip(f"{step.command}: this version has no such command yet")
    if step.simulator is None:
        done = run(tmp_path, *given(step.command, tmp_path, ""))
    else:
        pace = () if "--pace" in step.simulator else QUICKLY
        with simulated(job, tmp_path, *step.simulator, *pace) as port:
            done = run(tmp_path, *given(step.command, tmp_path, port))
    assert done.returncode == 0, done.stderr
    check_reading(done.stdout + done.stderr, step.reading)


PROTECTIONS = re.findall(r"^\| ([^|]+) \| `--fault (\w+@\d+)` \| `(\w+)` \|$", PAGE, re.MULTILINE)


@pytest.mark.parametrize(("deed", "fault", "word"), PROTECTIONS, ids=[word for _, _, word in PROTECTIONS])
def test_each_protection_trips_as_the_page_says(deed: str, fault: str, word: str, job: Path, tmp_path: Path) -> None:
    done, turns = wound(job, tmp_path, fault)
    assert done.returncode == 4, (deed, done.stderr)
    assert f"result: Tripped ({word})." in done.stdout
    assert f"--clear {word}" in done.stdout + done.stderr
    assert "the spool comes to rest within three turns" in FLOWING
    assert 3 <= turns < 6


def wound(job: Path, home: Path, fault: str) -> tuple[subprocess.CompletedProcess[str], float]:
    """The job on a simulated winder with that fault, and the turns that its spool truly made."""
    truth = home / "truth.jsonl"
    with simulated(job, home, "--pace", "20", "--fault", fault, "--truth", str(truth)) as port:
        done = run(home, "wind", str(job), "--port", port)
    return done, json.loads(truth.read_text(encoding="utf-8").splitlines()[-1])["true_turns"]


@pytest.mark.parametrize(
    ("was", "becomes", "told", "turns"),
    [
        ("", "", "two turns with 60 pulses a turn", 2.0),
        ("pulses_per_turn = 60", "pulses_per_turn = 6", "2.6 with 6", 2.6),
        ("max_spool_rpm = 60", "max_spool_rpm = 120", "at 120 rpm it would be four", 4.0),
    ],
)
def test_a_dead_sensor_lets_the_spool_run_on_as_far_as_the_page_says(
    was: str, becomes: str, told: str, turns: float, job: Path, tmp_path: Path
) -> None:
    assert told in FLOWING
    job.write_text(JOB.replace(was, becomes) if was else JOB, encoding="utf-8")
    _, made = wound(job, tmp_path, "sensor_dead@3")
    assert made - 3 == pytest.approx(turns, abs=0.2)


@pytest.mark.parametrize("fault", ["stop_pressed", "guard_open"])
def test_at_full_speed_the_winders_own_stops_take_as_little_as_the_page_says(
    fault: str, job: Path, tmp_path: Path
) -> None:
    last = FLOWING.partition("### 10. ")[2].partition("### 11. ")[0].partition("Then once more at the speed")[2]
    told_rpm = re.search(r"At (\d+) rpm the spool rests within one turn", last)[1]
    told_turns = re.search(r"`turns = (\d+)`", last)[1]
    faster = JOB.replace("max_spool_rpm = 60", f"max_spool_rpm = {told_rpm}")
    job.write_text(faster.replace("turns = 10", f"turns = {told_turns}"), encoding="utf-8")
    done, turns = wound(job, tmp_path, f"{fault}@10")
    assert f"result: Tripped ({fault})." in done.stdout, done.stderr
    # the ramp of the file would take two turns: v^2 / 2a from 120 rpm at 60 rpm/s, textbooks of mechanics
    assert 10.5 < turns < 11


def test_the_board_without_its_cable_comes_back_at_rest_and_the_job_is_resumed(job: Path, tmp_path: Path) -> None:
    fault = re.search(r"pull the USB plug at the third turn \(simulated as `--fault (\S+)`\)", FLOWING)[1]
    done, turns = wound(job, tmp_path, fault)
    assert done.returncode == 4, done.stderr
    assert "result: Tripped (restarted)." in done.stdout
    assert "--resume" in done.stdout + done.stderr
    assert turns < 6  # nothing turned again


def test_a_stepper_is_made_to_trip_on_lost_steps_without_a_hand_on_it(job: Path, tmp_path: Path) -> None:
    assert "in a job whose `steps_per_spool_turn` is a tenth too small" in FLOWING
    stepper = JOB.replace('drive = "dc"', 'drive = "stepper"\nsteps_per_spool_turn = {}')
    job.write_text(stepper.format(3200), encoding="utf-8")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(stepper.format(2880), encoding="utf-8")
    with simulated(job, tmp_path, "--pace", "20") as port:
        done = run(tmp_path, "wind", str(wrong), "--port", port)
    assert "result: Tripped (lost_steps)." in done.stdout, done.stderr
    assert float(re.search(r"by the count ([\d.]+) in", done.stdout, re.MULTILINE)[1]) < 3


@pytest.mark.parametrize(("ratchet", "word"), [("true", "Tripped (no_pulses)"), ("false", "The target was reached")])
def test_a_motor_that_turns_the_wrong_way_is_told_as_the_fault_table_says(
    ratchet: str, word: str, job: Path, tmp_path: Path
) -> None:
    assert "`backwards`; of one channel: `no_pulses` with a ratchet, and without one no trip, so look" in PAGE
    job.write_text(JOB.replace("ratchet = true", f"ratchet = {ratchet}"), encoding="utf-8")
    done, turns = wound(job, tmp_path, "swapped_leads@0")
    assert f"result: {word}." in done.stdout, done.stderr
    assert turns <= 0


def test_a_crank_goes_through_the_steps_that_the_table_gives_it(job: Path, tmp_path: Path) -> None:
    cranked = JOB.replace('drive = "dc"', 'drive = "hand"').replace('"stop_button", "guard_switch", ', "")
    job.write_text(cranked, encoding="utf-8")
    with simulated(job, tmp_path, "--pace", "20") as port:
        done = run(tmp_path, "wind", str(job), "--port", port)
        motor = run(tmp_path, "checkup", "--port", port, "--motor", str(job))
    assert "result: The target was reached." in done.stdout, done.stderr
    assert motor.returncode == 2, "step 8 is not for a crank"
    done, _ = wound(job, tmp_path, "run_out@3")
    assert "result: Tripped (run_out)." in done.stdout, done.stderr
    with simulated(job, tmp_path, "--turn-by-hand") as port:
        sensor = run(tmp_path, "checkup", "--port", port, "--sensor", str(job))
    assert sensor.returncode == 0, sensor.stderr


def test_the_table_of_drives_has_every_step() -> None:
    table = re.search(r"^\| step \| crank \|.*?\n\n", PAGE, re.MULTILINE | re.DOTALL)[0]
    named: set[int] = set()
    for first, last in re.findall(r"^\| (\d+)(?: to (\d+))? ", table, re.MULTILINE):
        named |= set(range(int(first), int(last or first) + 1))
    assert named == {int(number) for number in re.findall(r"^### (\d+)\. ", PAGE, re.MULTILINE)}


def test_the_emergency_stop_is_tried_before_any_other_protection() -> None:
    tenth = FLOWING.partition("### 10.")[2].partition("### 11.")[0]
    assert tenth.index("First the emergency stop") < tenth.index("Then each row") < tenth.index("| press the stop")
    assert tenth.index("Press the emergency stop** and see H0 out") < tenth.index("mend the cause")


def test_an_emergency_stop_is_told_at_once_and_the_job_goes_on_by_the_word_that_the_page_gives(
    job: Path, tmp_path: Path
) -> None:
    """Its second contact alone: the one that takes the motor's power needs no program."""
    tenth = FLOWING.partition("### 10.")[2].partition("Then each row")[0]
    fault = re.search(r"First the emergency stop\*\*, in mid-wind \(simulated as `--fault (\S+)`\)", tenth)[1]
    word = re.search(r"the word is `(\w+)`", tenth)[1]
    assert f"Only `--clear {word}` goes on" in tenth
    with simulated(job, tmp_path, "--pace", "20", "--fault", fault) as port:
        done = run(tmp_path, "wind", str(job), "--port", port)
        again = run(tmp_path, "wind", str(job), "--port", port)
        cleared = run(tmp_path, "wind", str(job), "--port", port, "--clear", word)
    assert f"result: Tripped ({word})." in done.stdout, done.stderr
    assert again.returncode != 0, "it went on without the word"
    assert f"--clear {word}" in again.stdout + again.stderr
    assert cleared.returncode == 0, cleared.stderr


def test_the_wait_after_an_emergency_stop_is_the_one_that_the_winder_keeps() -> None:
    assert "without `stop_button` winds on until it trips on `no_pulses`, a second and four pulses later" in FLOWING
    assert build_job(tomllib.loads(JOB)).machine.no_pulses_s == 1
    assert "four pulse periods" in TRIP_PROMISES[NO_PULSES].needs


def test_the_rows_follow_one_another_on_the_simulated_winder_as_the_page_says(job: Path, tmp_path: Path) -> None:
    """Each on a winder of its own; what mends itself goes on to the tenth turn, and the next row begins anew."""
    starts = shlex.split(re.search(r"start `(reelwright simulate [^`]*)` with the row's option", PAGE)[1])[3:]
    again = re.search(r"from the second row on give `(reelwright wind [^`]*)`", PAGE)[1]
    with simulated(job, tmp_path, *starts, "--fault", PROTECTIONS[0][1]) as port:
        assert run(tmp_path, "wind", str(job), "--port", port).returncode == 4
        gone_on = run(tmp_path, "wind", str(job), "--port", port, "--clear", PROTECTIONS[0][2])
    assert gone_on.returncode == 0, gone_on.stderr
    assert "turns: 10.00 in 1 layer" in gone_on.stdout
    for _, fault, word in PROTECTIONS[2:]:  # these leave a job that is not ended
        with simulated(job, tmp_path, *starts, "--fault", fault) as port:
            done = run(tmp_path, *given(again, tmp_path, port))
        assert f"result: Tripped ({word})." in done.stdout, done.stderr


def test_a_measuring_wheel_that_no_strand_turns_trips_so_that_the_page_leaves_it_out_until_the_first_strand(
    job: Path, tmp_path: Path
) -> None:
    fitted = tomllib.loads(JOB)["machine"]["fitted"]
    assert "measuring_wheel" not in fitted
    text = job.read_text(encoding="utf-8").replace('fitted = ["', 'fitted = ["measuring_wheel", "')
    job.write_text(text.replace("[target]", "measuring_wheel_mm_per_pulse = 11.874\n[target]"), encoding="utf-8")
    with simulated(job, tmp_path, "--pace", "20", "--fault", "wheel_dead@0") as port:
        done = run(tmp_path, "wind", str(job), "--port", port)
    assert (done.returncode, "result: Tripped (slip)." in done.stdout) == (4, True), done.stdout + done.stderr
    before, _, first_strand = PAGE.partition("### 11.")
    # what a step asks to be laid in or tied is taken out again where strand comes
    assert "lay it through the run-out switch" in flowing(before.partition("### 9.")[2])
    assert "Take the piece of strand out of the run-out switch" in flowing(first_strand)
    assert "add `measuring_wheel` to `fitted`" in flowing(first_strand)
    assert "with its `measuring_wheel_mm_per_pulse`" in flowing(first_strand)


def test_a_winder_that_no_hand_can_turn_winds_its_carriage_to_a_turning_point_as_the_page_says(
    job: Path, tmp_path: Path
) -> None:
    eleventh = FLOWING.partition("### 11. ")[2].partition("## What to measure")[0]
    left = re.search(r"after `(guide: [^`]*)`", eleventh)[1]
    command = re.search(r"by `(reelwright wind [^`]*)`", eleventh)[1]
    whole = re.search(r"a whole layer before the next one, ([\d.]+) turns", eleventh)[1]
    full = tmp_path / "full.toml"  # of the pay-off spool that there is then: the job's own has strand for it alone
    full.write_text(JOB.replace("turns = 10", "turns = 50"), encoding="utf-8")
    with simulated(full, tmp_path, "--pace", "20") as port:
        first = run(tmp_path, "wind", str(job), "--port", port)
        there = run(tmp_path, *given(command, tmp_path, port))
    assert left in first.stdout, first.stderr
    assert f"guide: {whole} turns before its next reversal" in there.stdout, there.stderr
    assert make_plan(build_job(tomllib.loads(JOB))).layer_turns == pytest.approx(float(whole))


def test_a_faultless_drive_needs_less_duty_than_the_page_blames_on_drag(job: Path, tmp_path: Path) -> None:
    assert "a tenth is common, above a fifth something drags" in PAGE
    with simulated(job, tmp_path, "--pace", "10") as port:
        done = run(tmp_path, "checkup", "--port", port, "--motor", "--tune", str(job), typed=PASSWORD + "\n")
    assert done.returncode == 0, done.stderr
    told = float(re.search(r"Least duty that turns the spool: ([\d.]+)% of full", done.stdout)[1])
    assert 7 < told < 14  # about a tenth, by friction and pull; a busy computer hears fewer samples, which shifts it


def test_the_simulated_motors_own_figures_forbid_the_fast_job_so_that_the_page_keeps_them_out(
    job: Path, tmp_path: Path
) -> None:
    eighth, _, tenth = FLOWING.partition("### 8. ")[2].partition("### 10. ")
    job_rpm = tomllib.loads(JOB)["machine"]["max_spool_rpm"]
    fast_rpm = re.search(r"At (\d+) rpm the spool rests within one turn", tenth)[1]
    assert f"a second run, at the job's `max_spool_rpm`, {job_rpm} here" in eighth
    assert "Those of the simulated winder stay out of this job" in eighth
    assert f"with its `no_load_rpm` the {fast_rpm} rpm at the end of step 10 are refused" in eighth
    with simulated(job, tmp_path, "--pace", "10") as port:
        done = run(tmp_path, "checkup", "--port", port, "--motor", "--tune", str(job), typed=PASSWORD + "\n")
    assert f"turns at {job_rpm} rpm. To begin" in done.stderr
    own = "\n".join(done.stdout.splitlines()[-3:])
    assert own.startswith("no_load_rpm = ")
    job.write_text(JOB.replace("max_spool_rpm = 60", f"max_spool_rpm = {fast_rpm}\n{own}"), encoding="utf-8")
    refused = run(tmp_path, "plan", str(job))
    assert refused.returncode == 2
    assert f"machine.no_load_rpm: a drive that reaches {own.split()[2]} rpm unloaded cannot wind" in refused.stderr


def test_all_protections_that_the_page_tries_are_found() -> None:
    assert [word for _, _, word in PROTECTIONS] == ["stop_pressed", "guard_open", "run_out", "no_pulses"]


def test_the_fault_table_has_a_row_for_every_trip() -> None:
    table = PAGE.split("## Fault finding")[1]
    words = re.findall(r"\| `(\w+)`[^|]*\|$", table, re.MULTILINE)
    missing = {saying.word for saying in TRIPS.values()} - set(words)
    assert not missing
    rows = [line for line in table.splitlines() if line.startswith("| ") and not line.startswith("| ---")][1:]
    assert all(len(row.split(" | ")) == 3 for row in rows)


def test_the_job_of_the_page_is_sound() -> None:
    plan = make_plan(build_job(tomllib.loads(JOB)))
    assert plan.target_pulses == 600
    assert "five whole passes of the carriage: the turns you count are five layers' worth, 174 here" in FLOWING
    assert 5 * plan.layer_turns == 174


def test_every_command_and_option_that_the_page_names_exists() -> None:
    lines = [line for _, _, body in FENCE.findall(PAGE) for line in body.splitlines() if line.startswith("reelwright ")]
    named = [*lines, *re.findall(r"`(reelwright [a-z][^`]*)`", PAGE)]
    assert len(named) > 10
    for line in named:
        words = shlex.split(line)
        if words[1] not in COMMANDS or "--loopback" in words:
            # told with their steps, and skipped there, until the version has them
            assert words[1] in ("checkup", "install", "machine"), line
            continue
        command = main.get_command(click.Context(main), words[1])
        within = words[2:3] if isinstance(command, click.Group) and len(words) > 2 else []
        help_text = CliRunner().invoke(main, [words[1], *within, "--help"]).output
        for option in re.findall(r"--[a-z-]+", line):
            assert option in help_text, line

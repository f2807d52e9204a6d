"""A command that fails, whichever it is: one exit code, prose for people, one object for scripts."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from reelwright.cli import AT_A_WINDER, COMMANDS
from simulated.winder import COMMAND, environment, listed, run, simulated, write_job

if TYPE_CHECKING:
    from pathlib import Path

LIST = """
[take_up]
spool = "kilo"
[strand]
profile = "pla-1.75"
[machine]
profile = "bench-dc"
[[pay_off]]
name = "tide clock 1"
held_m = 60
held_u_m = 1
[[wanted]]
name = "tide clock 2"
length_m = 20
"""


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "none.toml"),
        ("plan", "--length", "4"),
        ("split", "none.toml"),
        ("wind", "none.toml"),
        (
            "wind",
            "--spool",
            "kilo",
            "--machine",
            "bench-dc",
            "--strand",
            "pla-1.75",
            "--length",
            "1m",
            "--port",
            "none",
        ),
        ("watch", "--port", "none"),
        ("checkup", "--port", "none"),
        ("simulate", "none.toml"),
        ("gears", "check"),
        ("gears", "find", "--stages", "9"),
        ("ledger", "show", "5"),
        ("ledger", "show", "five"),
        ("calibrate", "diameter"),
        ("calibrate", "weight", "--job", "7", "--gross", "1kg"),
        ("install", "--dry-run"),
        ("machine", "check", "none.toml"),
    ],
)
def test_with_json_a_failed_command_ends_with_an_object_that_says_what_its_prose_says(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    prose = run(tmp_path, *words)
    done = run(tmp_path, *words, "--json")
    assert done.stderr == prose.stderr
    assert done.returncode == prose.returncode != 0
    told = json.loads(done.stdout.splitlines()[-1])
    assert list(told) == ["kind", "exit_code", "message", "remedy", "faults"]
    assert (told["kind"], told["exit_code"]) == ("error", done.returncode)
    assert f"Error: {told['message']}\n" in done.stderr
    assert told["remedy"] in done.stderr
    assert prose.stdout == ""


def test_each_fault_of_a_file_has_its_place_in_the_object(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("[machine]\ndrive = 'steam'\n[target]\nlayers = -1\n", encoding="utf-8")
    told = json.loads(run(tmp_path, "plan", str(tmp_path / "job.toml"), "--json").stdout)
    where = [fault["where"] for fault in told["faults"]]
    assert {"machine.drive", "target.layers", "take_up"} <= set(where)
    assert all(fault["message"] in told["message"] for fault in told["faults"])


@pytest.mark.parametrize(
    "words", [("demo",), ("--help",), ("plan", "--help"), ("ledger",), ("gears", "check", "--help")]
)
def test_a_reader_who_has_seen_enough_ends_any_command_without_a_fault(tmp_path: Path, words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*COMMAND, *words], stdout=writing, stderr=subprocess.PIPE, text=True, env=environment(tmp_path), check=False
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def working_on(home: Path, command: str, deed: str) -> subprocess.CompletedProcess[str]:
    """The command where this is what it comes to while it works."""
    code = (
        "import errno, os, signal, sys, types, click\n"
        "from reelwright.cli import COMMANDS, run\n"
        "stand_in = types.ModuleType('stand_in')\n"
        "def deed():\n"
        f"    {deed}\n"
        "stand_in.command = click.Command('it', callback=deed)\n"
        "sys.modules['stand_in'] = stand_in\n"
        "COMMANDS[sys.argv[1]] = ('stand_in', '')\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "run()"
    )
    return subprocess.run(
        [sys.executable, "-c", code, command],
        capture_output=True,
        text=True,
        env=environment(home) | {"PYTHONPATH": os.pathsep.join(sys.path)},
        check=False,
    )


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_only_a_command_at_a_winder_says_that_the_winder_goes_on(tmp_path: Path, command: str) -> None:
    done = working_on(tmp_path, command, "os.kill(os.getpid(), signal.SIGINT)")
    assert done.returncode == 128 + signal.SIGINT
    assert ("A winder that was under way" in done.stderr) == (command in AT_A_WINDER)
    assert done.stderr.startswith("Error: Interrupted.\n")


@pytest.mark.parametrize(
    ("number", "code", "sentence"),
    [
        ("ENOSPC", 3, "The output cannot be written: No space left on device."),
        ("EBADF", 2, "Standard output is closed"),
        ("EAGAIN", 3, "The computer failed: "),
        ("ENOMEM", 3, "The computer failed: "),
    ],
)
def test_only_what_an_output_can_fail_with_is_laid_to_the_output(
    tmp_path: Path, number: str, code: int, sentence: str
) -> None:
    done = working_on(tmp_path, "plan", f"raise OSError(errno.{number}, os.strerror(errno.{number}))")
    assert (done.returncode, done.stdout) == (code, "")
    assert done.stderr.startswith(f"Error: {sentence}")


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (
            ("plan", "--spool", "x", "--strand", "y", "--machine", "z", "--length", "4m"),
            ["--spool", "--strand", "--machine"],
        ),
        (("plan", "job.toml", "--pause-at-layer", "0", "--rpm", "0"), ["--rpm", "--pause-at-layer"]),
        (("plan", "job.toml", "--length", "900000m"), ["--length"]),
        (("checkup", "nomachine", "--port", "none"), ["MACHINE"]),
        (("calibrate", "diameter", "1.75mm", "--strand", "none"), ["--strand"]),
        (
            (
                "calibrate",
                *["weight", "--gross", "1kg", "--turns", "9", "--spool", "x", "--strand", "y", "--machine", "z"],
            ),
            ["--spool", "--strand", "--machine"],
        ),
    ],
)
def test_a_fault_of_the_command_line_is_told_by_what_was_typed(
    tmp_path: Path, words: tuple[str, ...], names: list[str]
) -> None:
    write_job(tmp_path)
    words = tuple(str(tmp_path / word) if word == "job.toml" else word for word in words)
    told = json.loads(run(tmp_path, *words, "--json").stdout)
    where = [fault["where"] for fault in told["faults"]]
    assert set(names) <= set(where)
    assert not {"take_up.spool", "strand.profile", "machine.profile"} & set(where)


def test_a_tension_sensor_of_which_one_limit_always_acts_is_refused(tmp_path: Path) -> None:
    words = ("simulate", str(write_job(tmp_path)), "--tension-level", "20", "400", "500", "--json")
    refused = run(tmp_path, *words)
    assert refused.returncode == 2
    assert "SLACK, 500, is not below SNAG, 400" in json.loads(refused.stdout)["message"]


def test_a_home_that_is_no_folder_is_told_and_not_taken_for_an_empty_ledger(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file", encoding="utf-8")
    done = run(tmp_path / "home", "ledger")
    assert (done.returncode, done.stdout) == (3, "")
    assert f"Error: The folder {tmp_path / 'home'} for the ledger cannot be made" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("split", "list.toml", "--seconds", "nan"),
        ("wind", "job.toml", "--link-wait", "nan"),
        ("wind", "--resume", "--counted-turns", "nan"),
        ("wind", "--resume", "--counted-turns", "3", "--give-or-take", "nan"),
        ("wind", "--resume", "--agree-within", "nan"),
    ],
)
def test_what_is_no_number_is_no_amount(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run(tmp_path, *words)
    assert done.returncode == 2
    assert "'nan' is no finite number" in done.stderr


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (("wind", "--resume", "--counted-turns", "three"), "number"),
        (("wind", "job.toml", "--link-wait", "long"), "number"),
        (("simulate", "--seed", "1.5"), "whole number"),
        (("ledger", "list", "--limit", "all"), "whole number"),
        (("checkup", "bench-dc", "--sensor", "--turns", "some"), "whole number"),
    ],
)
def test_what_is_no_number_is_told_in_a_persons_words(tmp_path: Path, words: tuple[str, ...], kind: str) -> None:
    done = run(tmp_path, *words)
    assert done.returncode == 2
    assert f"{words[-1]!r} is not a valid {kind}." in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="a stream is closed by the words of a POSIX shell")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
@pytest.mark.parametrize(
    ("words", "code", "code_unheard"),
    [
        (("ledger", "export", "--csv"), 0, 2),
        (("ledger",), 0, 2),
        (("split", "list.toml"), 0, 2),
        (("split", "list.toml", "-o", "kits"), 0, 2),
        (("plan", "job.toml"), 0, 2),
        (("plan", "job.toml", "--json"), 0, 2),
        (("plan", "job.toml", "-o", "answer"), 0, 0),
        (("plan", "list.toml"), 2, 2),
        (("--help",), 0, 2),
        (("wind", "job.toml", "--port", "none"), 3, 3),
    ],
)
def test_of_a_closed_stream_nothing_is_read_and_an_answer_that_it_cannot_take_is_a_failure(
    tmp_path: Path, words: tuple[str, ...], code: int, code_unheard: int, closed: str
) -> None:
    write_job(tmp_path)
    (tmp_path / "list.toml").write_text(LIST, encoding="utf-8")
    done = subprocess.run(
        ["/bin/sh", "-c", f"exec {shlex.join([*COMMAND, *words])} {closed}"],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
        env=environment(tmp_path),
        check=False,
    )
    is_unheard = ">&-" in closed.split()
    told = (done.returncode, "Traceback" in done.stderr, done.stdout == "" or not is_unheard)
    assert told == (code_unheard if is_unheard else code, False, True), done.stderr
    if closed == ">&-" and code != code_unheard:
        assert done.stderr.startswith("Error: Standard output is closed")


@pytest.mark.skipif(sys.platform == "win32", reason="a stream is closed by the words of a POSIX shell")
def test_a_wind_of_which_nobody_can_read_is_wound_and_recorded_all_the_same(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        command = shlex.join([*COMMAND, "wind", str(job), "--port", port])
        done = subprocess.run(
            ["/bin/sh", "-c", f"exec {command} >&- </dev/null"],
            capture_output=True,
            text=True,
            timeout=60,
            env=environment(tmp_path),
            check=False,
        )
    assert (done.returncode, "Traceback" in done.stderr) == (0, False), done.stderr
    assert listed(tmp_path)[0]["outcome"] == "reached"

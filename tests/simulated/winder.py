"""A simulated winder and the commands on it, as a person runs them: separate programs."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

COMMAND = (sys.executable, "-m", "reelwright")

# up to the end of [machine], where each job goes on
SMALL = """
[take_up]
barrel_diameter_mm = 50
flange_diameter_mm = 90
inside_width_mm = 40
[strand]
diameter_mm = 1.75
material = "PLA"
[machine]
turns_per_layer = "21"
drive = "dc"
"""

JOB = (
    SMALL
    + """
pulses_per_turn = 20
on_link_loss = "{link_loss}"
link_loss_s = 3
[target]
layers = 2.5
pause_at_layers = {pauses}
"""
)


def write_job(folder: Path, *, link_loss: str = "pause", pauses: str = "[]") -> Path:
    """A small dc job: 2.5 layers, 1050 pulses, about half a minute of turning."""
    path = folder / "job.toml"
    path.write_text(JOB.format(link_loss=link_loss, pauses=pauses), encoding="utf-8")
    return path


def environment(home: Path) -> dict[str, str]:
    """Every file of the commands in one folder."""
    return {**os.environ, "REELWRIGHT_HOME": str(home), "COLUMNS": "100"}


@contextmanager
def simulated(job: Path, home: Path, *options: str) -> Iterator[str]:
    """A simulated winder for a while; its port."""
    program = subprocess.Popen(
        [*COMMAND, "simulate", str(job), "--seed", "5", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(home),
    )
    assert program.stdout is not None
    first = program.stdout.readline()
    try:
        if not first:
            raise AssertionError(program.communicate()[1])
        yield json.loads(first)["port"]
    finally:
        program.terminate()
        program.communicate(timeout=10)


def start_wind(job: Path, port: str, home: Path, *options: str) -> subprocess.Popen[str]:
    """`wind --json`, running, with an open standard input that says nothing."""
    return subprocess.Popen(
        [*COMMAND, "wind", str(job), "--port", port, "--json", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(home),
    )


def wind(
    job: Path, port: str, home: Path, *options: str, timeout_s: float = 90
) -> tuple[int, list[dict[str, Any]], str]:
    """`wind --json` to its end: exit code, objects, standard error."""
    program = start_wind(job, port, home, *options)
    out, err = program.communicate(timeout=timeout_s)
    return program.returncode, [json.loads(line) for line in out.splitlines()], err


@contextmanager
def terminal(typed: str) -> Iterator[int]:
    """A terminal for a program's standard input, on which a person has typed this."""
    ours, theirs = pty.openpty()
    try:
        os.write(ours, typed.encode())
        yield theirs
    finally:
        os.close(ours)
        os.close(theirs)


def run(home: Path, *words: str, typed: str = "", timeout_s: float = 60) -> subprocess.CompletedProcess[str]:
    """Any command to its end. typed: what a person types; without, its standard input is no terminal and empty."""
    with terminal(typed) as keyboard:
        return subprocess.run(
            [*COMMAND, *words],
            stdin=keyboard if typed else subprocess.DEVNULL,
            capture_output=True,
            text=True,
            env=environment(home),
            timeout=timeout_s,
            check=False,
        )


def listed(home: Path) -> list[dict[str, Any]]:
    """What `ledger list --json` tells."""
    done = run(home, "ledger", "list", "--json")
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def truth(path: Path) -> list[dict[str, Any]]:
    """What the simulator wrote of the plant itself, second by second."""
    return [json.loads(line) for line in path.read_text().splitlines()]

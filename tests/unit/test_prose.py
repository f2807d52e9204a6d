"""Sentences of the command line on a narrow terminal, and in a pipe."""

from __future__ import annotations

import os
import subprocess
from typing import TYPE_CHECKING

import pytest

from reelwright.cli.prose import wrapped
from simulated.winder import COMMAND, environment

if TYPE_CHECKING:
    from pathlib import Path

WORDS = ("plan", "none.toml", "--rpm", "20", "--strand", "pla-1.75", "--turns", "5", "--layers", "4")
SENTENCE = "Error: --layers and --turns are given together."


@pytest.mark.parametrize("columns", [12, 20, 40, 79, 200])
def test_no_word_is_broken_and_none_is_lost(columns: int) -> None:
    text = (
        "Fault: the sensor's no-pulse time is 1.5 s.\n\n  Set machine.no_pulses_s = 2, or /a/long/path/without-a-blank."
    )
    shown = wrapped(text, columns)
    assert shown.split() == text.split()
    longest = max(map(len, text.split()))
    assert all(len(line.strip()) <= max(columns, longest) for line in shown.splitlines())
    assert all(line.startswith("  ") for line in shown.split("\n\n")[1].splitlines())


def test_a_line_that_fits_stays_as_it_is() -> None:
    text = "one  two:\n  three"
    assert wrapped(text, 20) == text


def at_terminal(home: Path, columns: str) -> str:
    """What the command shows on a terminal's standard error."""
    person, program = os.openpty()
    env = environment(home) | {"COLUMNS": columns}
    subprocess.run([*COMMAND, *WORDS], stdout=subprocess.DEVNULL, stderr=program, env=env, check=False)
    os.close(program)
    shown = b""
    while True:
        try:
            more = os.read(person, 4096)
        except OSError:  # how Linux tells that the other end is closed
            break
        if not more:
            break
        shown += more
    os.close(person)
    return shown.decode().replace("\r\n", "\n")


def test_an_error_is_wrapped_by_words_on_a_narrow_terminal_and_whole_in_a_pipe(tmp_path: Path) -> None:
    shown = at_terminal(tmp_path, "30")
    assert all(len(line) <= 30 for line in shown.splitlines())
    piped = subprocess.run([*COMMAND, *WORDS], capture_output=True, text=True, env=environment(tmp_path), check=False)
    assert shown.split() == piped.stderr.split()
    assert piped.stderr.splitlines()[0] == SENTENCE


def test_a_command_is_not_broken_and_so_is_pasted_whole() -> None:
    command = "`reelwright wind --resume 270408430 --port /dev/pts/0 --counted-turns TURNS --agree`"
    shown = wrapped(f"If you can count them: {command}. Nothing has moved since, and nothing moves.", 60).split("\n")
    assert shown == ["If you can count them:", f"{command}.", "Nothing has moved since, and nothing moves."]
    assert wrapped("Give `plan a` or `plan b` again.", 20) == "Give `plan a` or\n`plan b` again."

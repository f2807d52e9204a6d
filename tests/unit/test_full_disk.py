"""An output that cannot be written: the command fails, and says why."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from boards.truth_file import TruthFile
from plant.truth import Overshoot
from plant.winder import Plant
from reelwright.ledger.sqlite import SqliteLedger
from simulated.machines import machine_spec
from simulated.winder import write_job

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device here is always full")


@pytest.mark.parametrize(
    "words",
    [
        ("ledger",),
        ("ledger", "show"),
        ("ledger", "show", "--json"),
        ("ledger", "export", "--csv"),
        ("plan", "job.toml"),
        ("plan", "job.toml", "--json"),
        ("plan", "job.toml", "-o", "/dev/full"),
        ("simulate", "job.toml"),
        ("--help",),
    ],
)
def test_a_command_whose_output_cannot_be_written_fails_and_says_why(tmp_path: Path, words: tuple[str, ...]) -> None:
    write_job(tmp_path)
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.open_wind(7, job={}, plan={}, port="p", board="b", firmware="f", protocol="1.0", boot=1)
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "reelwright", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=tmp_path,
            env={**os.environ, "REELWRIGHT_HOME": str(tmp_path)},
            timeout=60,
            check=False,
        )
    assert done.returncode == 3
    place = words[-1] if "-o" in words else "The output"
    assert done.stderr.splitlines() == [
        f"Error: {place} cannot be written: No space left on device.",
        "Make room there, or write to another place.",
    ]


@pytest.mark.parametrize("place", ["/dev/full", "/dev/null"])
def test_a_truth_that_cannot_be_read_back_is_refused_with_what_to_do(tmp_path: Path, place: str) -> None:
    write_job(tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "reelwright", "simulate", "job.toml", "--truth", place],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"Error: The truth cannot be kept in {place}: it is no file.\nName a file.\n"


def test_a_truth_file_that_fills_the_disk_ends_early_and_the_run_goes_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    plant = Plant(machine_spec(), 10)
    truth = TruthFile("/dev/full", plant, Overshoot([1], lambda: None))
    for elapsed_ms in range(0, 3000, 10):
        truth.sample(elapsed_ms, 0, "off")
    truth.close()
    assert capsys.readouterr().err == "The truth file ends early: [Errno 28] No space left on device.\n"

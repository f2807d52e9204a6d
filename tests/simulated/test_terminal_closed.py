"""The terminal of a wind is closed: the spool comes to rest, as after any other request to end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest

from simulated.winder import COMMAND, environment, listed, simulated, write_job

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="there is no such signal here")


def started(job: Path, port: str, home: Path, **how: Any) -> subprocess.Popen[bytes]:
    """`wind`, from a shell's point of view a program in a session of its own."""
    command = [*COMMAND, "wind", str(job), "--port", port]
    streams = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}
    return subprocess.Popen(command, env=environment(home), start_new_session=True, **(streams | how))


def until_it_turns(descriptor: int) -> None:
    """Read what it shows, until it tells of a turn."""
    shown = b""
    while b"Winding from 0.00 turns on." not in shown:
        shown += os.read(descriptor, 4096)


@pytest.mark.parametrize("times", [1, 2])
def test_a_hangup_rests_the_spool_and_never_abandons_its_job(tmp_path: Path, times: int) -> None:
    job = write_job(tmp_path, link_loss="wind_on")
    with simulated(job, tmp_path, "--pace", "10") as port:
        program = started(job, port, tmp_path)
        assert program.stdout is not None
        until_it_turns(program.stdout.fileno())
        for _ in range(times):
            program.send_signal(signal.SIGHUP)
        program.communicate(timeout=60)
    assert program.returncode == 5
    (record,) = listed(tmp_path)
    assert (record["state"], record["uncertain"], record["open"]) == ("waiting", False, True)


@pytest.mark.skipif(sys.platform != "linux", reason="takes its controlling terminal as Linux gives it")
def test_a_terminal_that_is_closed_rests_the_spool(tmp_path: Path) -> None:
    job = write_job(tmp_path, link_loss="wind_on")
    with simulated(job, tmp_path, "--pace", "10") as port:
        person, theirs = os.openpty()
        # the first terminal that a session's leader opens is its controlling one
        ours = os.ttyname(theirs)
        program = started(
            job,
            port,
            tmp_path,
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            preexec_fn=lambda: os.close(os.open(ours, os.O_RDWR)),
        )
        os.close(theirs)
        shown = b""
        while b"Winding from 0.00 turns on." not in shown:
            shown += os.read(person, 4096)
        os.close(person)
        program.wait(60)
    (record,) = listed(tmp_path)
    assert (record["state"], record["uncertain"], record["open"]) == ("waiting", False, True)


def test_a_wind_that_shall_outlive_its_terminal_does(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        program = started(job, port, tmp_path, preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
        assert program.stdout is not None
        until_it_turns(program.stdout.fileno())
        program.send_signal(signal.SIGHUP)
        program.communicate(timeout=60)
    assert program.returncode == 0
    assert listed(tmp_path)[0]["outcome"] == "reached"

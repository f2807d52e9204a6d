"""`watch` at a terminal, beside a winder whose own host was killed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
from typing import TYPE_CHECKING

import pytest

from simulated.test_host_killed import killed_when
from simulated.winder import COMMAND, environment, simulated, start_wind, write_job

if TYPE_CHECKING:
    from pathlib import Path

CONTROL_SEQUENCE = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]")  # ECMA-48


@pytest.mark.parametrize(
    ("link_loss", "does"),
    [("pause", "Eases to rest and waits."), ("wind_on", "Goes on to its next stop."), ("trip", "drive off at once.")],
)
def test_watch_shows_the_one_key_that_it_has_and_says_what_the_winder_does_without_it(
    tmp_path: Path, link_loss: str, does: str
) -> None:
    job = write_job(tmp_path, link_loss=link_loss)
    with simulated(job, tmp_path, "--pace", "2") as port:
        killed_when(start_wind(job, port, tmp_path), "began")
        shown, code = watched(tmp_path, port)
    assert code == 0
    assert "Ctrl-C leave, and touch nothing" in shown
    assert "pause" not in shown.partition("note: ")[0]
    told = " ".join(shown.partition("note: Stopped watching.")[2].split())
    assert "hears no host for 3 s:" in told
    assert does in told


def watched(home: Path, port: str) -> tuple[str, int]:
    """What a person sees of `watch` who presses Ctrl-C once the picture is there, and its exit code."""
    person, program = os.openpty()
    command = [*COMMAND, "watch", "--port", port]
    environ = {**environment(home), "TERM": "xterm", "COLUMNS": "200"}
    shown = b""
    with subprocess.Popen(
        command, stdin=program, stdout=program, stderr=program, env=environ, start_new_session=True
    ) as running:
        os.close(program)
        while b"Ctrl-C" not in shown.partition(b"whole job")[2]:
            shown += os.read(person, 4096)
        running.send_signal(signal.SIGINT)
        while True:
            try:
                more = os.read(person, 4096)
            except OSError:  # the other end is closed
                break
            if not more:
                break
            shown += more
        code = running.wait(20)
    os.close(person)
    return CONTROL_SEQUENCE.sub("", shown.decode()), code

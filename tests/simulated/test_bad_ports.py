"""Ports that are not there, not free, or not a winder: one paragraph, no traceback, nothing recorded."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from simulated.winder import COMMAND, environment, listed, run, write_job
from windlink.frame import seal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

HOLD = """
import sys
from reelwright.device.port import Port
port = Port(sys.argv[1])
print("held", flush=True)
sys.stdin.read()
"""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stands in for a serial port with a pty")


@contextmanager
def something_else(answer: Callable[[bytes], bytes]) -> Iterator[str]:
    """A serial port with something on it that answers as told; its name."""
    import tty

    ours, theirs = os.openpty()
    tty.setraw(theirs)
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            if select.select([ours], [], [], 0.05)[0]:
                reply = answer(os.read(ours, 4096))
                if reply:
                    os.write(ours, reply)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield os.ttyname(theirs)
    finally:
        over.set()
        thread.join()
        os.close(ours)
        os.close(theirs)


def refused(home: Path, port: str) -> str:
    done = run(home, "wind", str(write_job(home)), "--port", port)
    assert done.returncode == 3, (done.returncode, done.stderr)
    assert done.stderr.startswith("Error: ")
    assert "Traceback" not in done.stderr
    assert port in done.stderr
    assert listed(home) == []
    return done.stderr


def test_a_port_that_does_not_exist(tmp_path: Path) -> None:
    assert "There is no port" in refused(tmp_path, "/dev/ttyNOWHERE")


def test_a_port_that_another_program_holds(tmp_path: Path) -> None:
    with something_else(lambda _: b"") as port:
        holder = subprocess.Popen(
            [
                sys.executable,
                "-c",
                HOLD,
                port,
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment(tmp_path),
        )
        assert holder.stdout is not None
        holder.stdout.readline()
        try:
            assert "busy: another program holds it" in refused(tmp_path, port)
        finally:
            holder.communicate(b"")


def test_a_port_with_something_else_on_it(tmp_path: Path) -> None:
    with something_else(lambda data: b"\x1b[31mlogin: " + data + b"\r\n") as port:
        error = refused(tmp_path, port)
    assert "does not answer as a winder" in error
    assert "\x1b" not in error


@pytest.mark.parametrize(
    "answer",
    [
        lambda data: data,
        lambda _: bytes(range(256)) * 8,
        lambda _: "\u202e\x1b]0;title\x07$GPGGA,1,2*47\r\n".encode(),
    ],
    ids=["echo", "binary", "sentences"],
)
def test_a_device_of_another_kind(tmp_path: Path, answer: Callable[[bytes], bytes]) -> None:
    with something_else(answer) as port:
        error = refused(tmp_path, port)
    assert "does not answer as a winder" in error
    assert error.replace("\n", "").isprintable()


def test_a_silent_port(tmp_path: Path) -> None:
    with something_else(lambda _: b"") as port:
        assert "does not answer as a winder" in refused(tmp_path, port)


def test_a_winder_of_another_major_version(tmp_path: Path) -> None:
    def answer(data: bytes) -> bytes:
        sequence = data.split()[0][1:].decode()
        return seal(f"<{sequence} hello 4 2 whatever the future brings")

    with something_else(answer) as port:
        error = refused(tmp_path, port)
    assert "version 4.2 of the link, this program 1.0" in error


def test_a_folder_in_place_of_a_port(tmp_path: Path) -> None:
    refused(tmp_path, str(tmp_path))


def test_no_port_named_and_none_that_fits(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "wind", str(write_job(tmp_path))],
        capture_output=True,
        text=True,
        env=environment(tmp_path),
        timeout=30,
        check=False,
    )
    if "Several ports" in done.stderr or done.returncode == 0:
        pytest.skip("boards are plugged in here")
    assert done.returncode == 3
    assert "--port" in done.stderr

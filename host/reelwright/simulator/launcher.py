"""Starts the firmware on a simulated machine as a process of its own, and ends it on every path."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Self

from attrs import evolve

from reelwright.errors import DeviceError, UsageError, unwritable
from reelwright.firmware_folders import firmware_folder, windlink_folder
from reelwright.simulator.spec import SimulatorOptions, machine_spec

if TYPE_CHECKING:
    from types import TracebackType

    from reelwright.winding.job import Job
    from reelwright.winding.plan import Plan

MICROPYTHON = "micropython"
CPYTHON = "cpython"

# The wheel is the MicroPython unix port as a module of CPython; this runs it with the arguments that follow.
# By the name of its library: other packages bring a module `micropython` too, and would stand in its way.
_LIBRARY = "micropython_module"
_RUN_MICROPYTHON = f"import sys; from {_LIBRARY} import run_main; sys.exit(run_main(sys.argv))"
_HEAP = "heapsize=1M"  # of floats that live for one step

_TRUTH_ROOM = 4096  # bytes, that must be there to begin with

_START_S = 15.0
_END_S = 3.0


class Simulator:
    """A winder behind a port, as a context manager. The process lives from `__enter__` to `__exit__`.

    port: what to give as --port. interpreter: "micropython" or "cpython". notice: a sentence when something
    is not as asked for, else "". truth_path: JSON lines of what truly happened, gone after the exit unless the options
    name a file.

    Raises UsageError when the truth file cannot be written, DeviceError when the firmware does not start.
    """

    def __init__(self, job: Job, plan: Plan, options: SimulatorOptions | None = None) -> None:
        self._job = job
        self._plan = plan
        self.options = options or SimulatorOptions()
        self.port = ""
        self.notice = ""
        self.interpreter = _choose_interpreter(self.options.interpreter)
        if self.interpreter == CPYTHON and self.options.interpreter != CPYTHON:
            self.notice = "No MicroPython wheel is installed: the simulated winder runs on CPython."
        self.truth_path = Path(self.options.truth_path).absolute() if self.options.truth_path else Path()
        self._folder: Path | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._held_open: int | None = None  # our own end of the pseudo-terminal, so that a client may come and go

    def __enter__(self) -> Self:
        try:
            self._launch()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, failure: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def poll(self) -> int | None:
        """The exit code of the winder's process, or None while it runs."""
        return None if self._process is None else self._process.poll()

    def wait(self, timeout_s: float) -> int | None:
        """Wait for the process to end by itself; its exit code, or None when it still runs after that time."""
        if self._process is None:
            return None
        try:
            return self._process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            return None

    def truth(self) -> dict[str, object]:
        """The newest object of the truth file: it carries the totals so far."""
        return last_truth(self.truth_path)

    def complaint(self) -> str:
        """What the winder's process wrote so far, which is nothing while all is well."""
        if self._folder is None:
            return ""
        return (self._folder / "errors.txt").read_text(errors="replace").strip()[-1500:]

    def stop(self) -> None:
        """End the process, and wait for it; its last word is then in the truth file. Harmless when it has ended."""
        process = self._process
        if process is None:
            return
        if process.stdin is not None:
            process.stdin.close()  # its lifeline
        for number in (signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGKILL", signal.SIGTERM)):
            if process.poll() is not None:
                break
            process.send_signal(number)
            try:
                process.wait(_END_S)
            except subprocess.TimeoutExpired:
                continue
        if self._held_open is not None:
            os.close(self._held_open)
            self._held_open = None

    def close(self) -> None:
        """End the process and forget its files."""
        self.stop()
        self._process = None
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    # --- within ------------------------------------------------------------------------------------------

    def _launch(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="reelwright-"))
        shutil.copytree(windlink_folder(), self._folder / "windlink", ignore=shutil.ignore_patterns("__pycache__"))
        self._prepare_truth(self._folder)
        if self.options.transport == "socket" or not hasattr(os, "openpty"):
            self._behind_socket(self._folder)
        else:
            self._behind_terminal(self._folder)
        self._await_start()

    def _prepare_truth(self, folder: Path) -> None:
        if not self.options.truth_path:
            self.truth_path = folder / "truth.jsonl"
        if self.truth_path.exists() and not self.truth_path.is_file():
            # it is read back while it is written
            raise UsageError(f"The truth cannot be kept in {self.truth_path}: it is no file.", "Name a file.")
        try:
            self.truth_path.write_bytes(b" " * _TRUTH_ROOM)  # whether the disk has room shows only now
            self.truth_path.write_bytes(b"")
        except OSError as failure:
            raise unwritable(
                f"The truth in {self.truth_path}", failure, "Name a file in a folder that exists and that you may use."
            ) from failure

    def _behind_terminal(self, folder: Path) -> None:
        import tty

        winder_end, self._held_open = os.openpty()
        try:
            tty.setraw(self._held_open)
            os.set_blocking(winder_end, False)
            self._start(folder, {"tcp_port": 0, "terminal": winder_end})
            self.port = os.ttyname(self._held_open)
        finally:
            os.close(winder_end)

    def _behind_socket(self, folder: Path) -> None:
        if self.options.transport != "socket":
            self.notice = f"{self.notice} There are no pseudo-terminals here: the port is a socket.".strip()
        number = _free_tcp_port()
        self._start(folder, {"tcp_port": number})
        self.port = f"socket://127.0.0.1:{number}"

    def _start(self, folder: Path, port: dict[str, int]) -> None:
        options = evolve(self.options, truth_path=str(self.truth_path))
        spec = folder / "machine.json"
        spec.write_text(json.dumps({**machine_spec(self._job, self._plan, options), **port}))
        firmware = firmware_folder()
        paths = (str(folder), str(firmware))
        runner = ["-c", _RUN_MICROPYTHON, "-X", _HEAP] if self.interpreter == MICROPYTHON else []
        with (folder / "errors.txt").open("wb") as errors:
            self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and files
                [sys.executable, *runner, str(firmware / "main.py"), str(spec)],
                stdin=subprocess.PIPE,  # its lifeline: it ends when this program does, even by SIGKILL
                stdout=errors,  # where MicroPython writes its tracebacks
                stderr=errors,
                pass_fds=[number for name, number in port.items() if name == "terminal"],
                start_new_session=True,  # a Ctrl-C in the terminal is ours to pass on
                env={
                    **os.environ,
                    "MICROPYPATH": ":".join((".frozen", *paths)),
                    "PYTHONPATH": os.pathsep.join(
                        (*paths, *_micropython_folder()) if self.interpreter == MICROPYTHON else paths
                    ),
                    "PYTHONDONTWRITEBYTECODE": "1",
                },
            )

    def _await_start(self) -> None:
        """The first line of the truth says that the port is served."""
        deadline_s = time.monotonic() + _START_S
        while not self.truth_path.stat().st_size:
            if self.poll() is not None or time.monotonic() > deadline_s:
                words = self.complaint() or "it said nothing"
                raise DeviceError(
                    f"The simulated winder did not start on {self.interpreter}: {words}",
                    "Report it with this text; it should not happen.",
                )
            time.sleep(0.005)


def last_truth(path: Path) -> dict[str, object]:
    """The last whole object of a truth file, {} where there is none."""
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError:
        return {}
    for line in reversed(lines[:-1]):
        found = json.loads(line)
        if isinstance(found, dict):
            return found
    return {}


def _choose_interpreter(wished: str) -> str:
    if wished:
        return wished
    return MICROPYTHON if importlib.util.find_spec(_LIBRARY) is not None else CPYTHON


def _micropython_folder() -> tuple[str, ...]:
    """The folder of the wheel's module, for a Python that found it on a path of its own."""
    found = importlib.util.find_spec(_LIBRARY)
    return (str(Path(found.origin).parent),) if found is not None and found.origin else ()


def _free_tcp_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])

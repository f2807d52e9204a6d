"""The program mpremote, run for each step. Its Python modules change without notice, so that they are not imported."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reelwright.device.patience import PATIENCE, patience
from reelwright.errors import DeviceError, PortError, UsageError

if TYPE_CHECKING:
    from reelwright.install.manifest import BoardFile

LEAST_VERSION = (1, 26)
_LONGEST_QUOTE = 200
_START_S = 60.0  # for the program to start and the board to answer
_BYTES_S = 200.0  # slowest that a file is taken by a board that works
_ON_BOARD = Path(__file__).with_name("on_board.py")
_ANSWER = re.compile(r"<answer>(.*)</answer>")


class BoardSilentError(DeviceError):
    """Nothing on the port answers as MicroPython does."""


class Mpremote:
    """One board, reached by running mpremote anew for each step. Raises UsageError where that is missing or too old."""

    def __init__(self, port_name: str) -> None:
        self.port_name = port_name
        self._program = _program()
        found = re.search(r"(\d+)\.(\d+)", self._run(["--version"], _START_S))
        version = tuple(map(int, found.groups())) if found else (0, 0)
        if version < LEAST_VERSION:
            raise UsageError(
                f"mpremote {'.'.join(map(str, version))} is too old; {'.'.join(map(str, LEAST_VERSION))} is needed.",
                "Run `pip install --upgrade mpremote`.",
            )

    def ask(self, call: str) -> Any:
        """What a function of `on_board` gives for this call, written as in Python. Raises DeviceError."""
        with tempfile.TemporaryDirectory() as folder:
            script = Path(folder, "step.py")
            script.write_text(f"{_ON_BOARD.read_text(encoding='utf-8')}\n\nanswer({call})\n", encoding="utf-8")
            told = self._connected(["run", str(script)], 2 * _START_S)
        found = _ANSWER.search(told)
        if found is None:
            raise BoardSilentError(
                f"The board on {self.port_name} did not answer: {_last_line(told)}",
                "Press its reset button, then give the command again.",
            )
        return json.loads(found[1])

    def copy(self, file: BoardFile, to: str) -> None:
        """Write a file on the board. Raises DeviceError."""
        with tempfile.TemporaryDirectory() as folder:
            source = Path(folder, "file")
            source.write_bytes(file.content)
            self._connected(["cp", str(source), f":{to}"], _START_S + file.size / _BYTES_S)

    def reset(self) -> None:
        """Restart the board as its reset button does. Raises DeviceError."""
        self._connected(["reset"], _START_S)

    def _connected(self, steps: list[str], longest_s: float) -> str:
        # resume: no soft reset by mpremote, which would leave a pin at the level that it happens to have
        return self._run(["connect", self.port_name, "resume", *steps], longest_s)

    def _run(self, arguments: list[str], longest_s: float) -> str:
        longest_s *= patience()
        try:
            done = subprocess.run(  # noqa: S603 - the program that the person has installed
                [*self._program, *arguments],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                encoding="utf-8",
                errors="replace",
                timeout=longest_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise BoardSilentError(
                f"The board on {self.port_name} did not finish a step within {longest_s:.0f} s.",
                "Press its reset button, then give the command again; if it is only slow, as an emulated board may be,"
                f" set {PATIENCE} to how many times slower.",
            ) from None
        except OSError as failure:
            raise UsageError(
                f"mpremote cannot be started: {failure}.", "Run `pip install --upgrade mpremote`."
            ) from None
        told = f"{done.stdout}\n{done.stderr}"
        if done.returncode:
            raise self._why(told)
        return told

    def _why(self, told: str) -> DeviceError:
        """The failure that a text of mpremote's means."""
        again = "Give the command again: what has arrived is not sent twice."
        if "failed to access" in told or "in use by another" in told or "could not open port" in told:
            return PortError(
                f"The port {self.port_name} is busy or not there: {_last_line(told)}",
                "Close the other program, or plug the board in, then give the command again.",
            )
        if "raw repl" in told or "raw paste" in told or "could not exec" in told:
            return BoardSilentError(
                f"The port {self.port_name} does not answer as a MicroPython board: {_last_line(told)}",
                "Check that it is the board's port and that MicroPython is on it, press its reset button, try again.",
            )
        if "ENOSPC" in told or "Errno 28" in told:
            return DeviceError("The board's file system is full.", "Remove what is not needed there, then try again.")
        return DeviceError(f"mpremote failed: {_last_line(told)}", again)


def _program() -> list[str]:
    """mpremote from the search path, or else beside the Python that runs this. Raises UsageError."""
    found = shutil.which("mpremote") or shutil.which("mpremote", path=str(Path(sys.executable).parent))
    if found is None:
        raise UsageError("The program mpremote is not installed.", "Run `pip install mpremote`.")
    return [found]


def _last_line(told: str) -> str:
    lines = [line.strip() for line in told.splitlines() if line.strip()]
    return lines[-1][:_LONGEST_QUOTE] if lines else "it said nothing."

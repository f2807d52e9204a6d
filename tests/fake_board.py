"""A board without hardware: a folder for its file system, the firmware's own link service on a pty, and a mpremote.

mpremote cannot talk to a desktop's MicroPython, so that this one works on the folder. What the host sends to be run is
run here, in a world of names in which the folder is the board's root.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sys
import threading
import time
import tty
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from boards.slot_files import SlotFiles
from windcore.journal import WORDS
from windcore.loop import run
from windcore.service import Identity
from windlink import codes

if TYPE_CHECKING:
    from types import CodeType

    from windcore.signals import Inputs, Outputs

VERSION = (1, 28, 0)
MACHINES = {"pico": ("rp2", "Raspberry Pi Pico with RP2040"), "pico2": ("rp2", "Raspberry Pi Pico2 with RP2350")}


class FakeBoard:
    """A board of a kind, with what a test may set: what fails, what is there, whether the spool turns."""

    def __init__(self, folder: Path, kind: str = "pico", capabilities: int = 1023) -> None:
        self.files = folder / "files"
        self.files.mkdir(parents=True)
        self.platform, self.machine = MACHINES[kind]
        self.version: tuple[int, ...] = VERSION
        self.interpreter = "micropython"
        self.free_bytes = 1_000_000
        self.renames_onto = True  # as littlefs does, and FAT does not
        self.steps: list[list[str]] = []  # what mpremote was asked for, but for its version
        self.fail_at = 0  # the step that fails, from 1
        self.fail_after = False  # whether it has done its work by then
        self.turns = False
        self.loads_s = 0.0  # that a start takes to load its program, before it can leave the port
        self._loads_until_s = 0.0
        self.identity = Identity(kind, capabilities, 7, codes.POWER_ON, 1)
        self.backup = [0] * WORDS
        self.store = SlotFiles(str(self.files))
        self.blind_ms = 0
        self.motor_off = 0
        self.registers = {0x40058000: 0, 0x400D8000: 0}
        self.watchdogs: list[int] = []  # timeouts asked for
        self._running = threading.Event()
        self._ends = False
        self._started_s = time.monotonic()
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.port_name = os.ttyname(slave)
        self._slave = slave
        os.set_blocking(self._master, False)
        self.reset()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    # --- power ----------------------------------------------------------------------------------------

    def reset(self) -> None:
        """As by its button: the program starts where there is one, and knows its pins."""
        if (self.files / "main.py").is_file() and (self.files / "machine.json").is_file():
            self._running.set()
        else:
            self._running.clear()

    def close(self) -> None:
        """Cut the power."""
        self._ends = True
        self._running.clear()
        self._thread.join(10)
        os.close(self._master)
        os.close(self._slave)

    def _live(self) -> None:
        while not self._ends:
            if not self._running.wait(0.02):
                with contextlib.suppress(BlockingIOError):
                    if os.read(self._master, 4096) and time.monotonic() > self._loads_until_s:  # as a prompt does
                        os.write(self._master, b"\r\n>>> ")
                continue
            if run(self):
                self._loads_until_s = time.monotonic() + self.loads_s
                self._running.clear()

    # --- what the loop needs of a board -----------------------------------------------------------------

    def now_ms(self) -> int:
        return int(1000 * (time.monotonic() - self._started_s)) & (1 << 30) - 1

    def read(self, inputs: Inputs) -> None:
        inputs.pulses += self.turns

    def apply(self, outputs: Outputs) -> None:
        assert not outputs.duty

    def off(self) -> None:
        self.motor_off += 1

    def feed(self) -> None:
        pass

    def collect(self) -> bool:
        return False

    def receive(self, room: bytearray) -> int:
        try:
            data = os.read(self._master, len(room))
        except BlockingIOError:
            return 0
        room[: len(data)] = data
        return len(data)

    def send(self, line: bytes) -> bool:
        return os.write(self._master, line) == len(line)

    def wait(self) -> bool:
        time.sleep(0.002)
        return self._running.is_set()

    # --- mpremote ---------------------------------------------------------------------------------------

    def start_watchdog(self, timeout: int) -> None:
        self.watchdogs.append(timeout)

    def mpremote(self, arguments: list[str]) -> SimpleNamespace:
        """What a run of mpremote with these arguments would do: its exit code and what it prints."""
        if arguments == ["--version"]:
            return SimpleNamespace(returncode=0, stdout="mpremote 1.29.0\n", stderr="")
        assert arguments[:3] == ["connect", self.port_name, "resume"], arguments
        step = arguments[3:]
        self.steps.append(step)
        fails = len(self.steps) == self.fail_at
        assert time.monotonic() >= self._loads_until_s, "Ctrl-C meets a program that still loads"
        self._running.clear()  # it interrupts whatever runs
        out = ""
        if not fails or self.fail_after:
            out = self._do(step)
        elif step[0] == "cp":
            # the cable goes in the middle
            data = Path(step[1]).read_bytes()
            self._path(step[2].removeprefix(":")).write_bytes(data[: len(data) // 2])
        if fails:
            return SimpleNamespace(returncode=1, stdout=out, stderr="mpremote: no connection\n")
        return SimpleNamespace(returncode=0, stdout=out, stderr="")

    def _do(self, step: list[str]) -> str:
        if step[0] == "reset":
            self.reset()
        elif step[0] == "cp":
            shutil.copyfile(step[1], self._path(step[2].removeprefix(":")))
        elif step[0] == "run":
            return self._run(Path(step[1]).read_text(encoding="utf-8"))
        else:
            raise AssertionError(f"mpremote knows no {step}")
        return ""

    def _run(self, script: str) -> str:
        """Run a script of the host's as the board would."""
        definitions, _, call = script.rpartition("\n\nanswer(")
        out = io.StringIO()
        world: dict[str, Any] = {"__name__": "step"}
        exec(_compiled(definitions), world)  # noqa: S102 - our own file, sent by our own host
        world["gc"] = SimpleNamespace(collect=lambda: 0)  # what the tests have left is not on the board
        world["os"] = _Os(self)
        world["open"] = lambda path, *rest: open(self._path(path), *rest)  # noqa: SIM115 - as the script's own
        world["__import__"] = {"machine": SimpleNamespace(mem32=self.registers, WDT=self.start_watchdog)}.__getitem__
        world["sys"] = SimpleNamespace(
            stdout=out,
            platform=self.platform,
            implementation=SimpleNamespace(
                name=self.interpreter, version=self.version, _machine=self.machine, _mpy=6 | 3 << 8
            ),
        )
        exec(compile(f"answer({call}", "step", "exec"), world)  # noqa: S102 - as above
        return out.getvalue()

    def _path(self, path: str) -> Path:
        return self.files / path


@cache
def _compiled(definitions: str) -> CodeType:
    return compile(definitions, "step", "exec")


class _Os:
    """The module os of a board, its root in a folder."""

    def __init__(self, board: FakeBoard) -> None:
        self._board = board

    def _at(self, path: str) -> Path:
        return self._board.files / path

    def stat(self, path: str) -> os.stat_result:
        return os.stat(self._at(path))

    def statvfs(self, _: str) -> tuple[int, ...]:
        return (1, 1, 2_000_000, self._board.free_bytes)

    def mkdir(self, path: str) -> None:
        self._at(path).mkdir()

    def rmdir(self, path: str) -> None:
        self._at(path).rmdir()

    def remove(self, path: str) -> None:
        self._at(path).unlink()

    def listdir(self, path: str = "") -> list[str]:
        return os.listdir(self._at(path))

    def rename(self, source: str, target: str) -> None:
        if not self._board.renames_onto and self._at(target).exists():
            raise FileExistsError(17, "EEXIST")
        self._at(source).rename(self._at(target))


EXECUTABLE = f"""#!{sys.executable}
import sys
print("mpremote", "MAJOR.MINOR.0")
sys.exit(CODE)
"""


def an_executable(folder: Path, version: str, code: int = 0) -> None:
    """A program mpremote in a folder that tells its version."""
    folder.mkdir(exist_ok=True)
    program = folder / "mpremote"
    program.write_text(EXECUTABLE.replace("MAJOR.MINOR", version).replace("CODE", str(code)), encoding="utf-8")
    program.chmod(0o755)

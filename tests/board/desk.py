"""The board on the desk: what the tests ask of it, by mpremote and by the link, and how it is left as it was found."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.device.client import Client
from reelwright.device.patience import PATIENCE, patience
from reelwright.device.port import Port
from reelwright.errors import DeviceError
from reelwright.install import on_board
from reelwright.install.delivery import ReturningPort, wait_for_prompt
from reelwright.install.installation import free_for_uploads
from reelwright.machines import load_machine_file
from reelwright.operation.maintenance import free_port
from windlink.pins import MOTOR_ROLES

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
ON_BOARD = Path(on_board.__file__)
STEP_S = 120.0
FIRST_STEP_S = 900.0  # before it is known how slow a board is
ANSWERS_S = 40.0
SLOW = 2.0  # times the clock: a real board runs by it
SPARE = 1.5  # of the patience with a slow one
SETTLE_S = 2.0
LOOK_S = 0.3
SLOWER = (
    f"If it is only slow, as an emulated one may be, set {PATIENCE} to how many times slower than a real one it is."
)


class Desk:
    """One board. port_name changes when the port comes back under another name."""

    def __init__(self, port_name: str, machine_path: Path, folder: Path) -> None:
        self.port_name = port_name
        self.machine_path = machine_path
        self.machine = load_machine_file(machine_path)
        self.pins = self.machine.board.pins
        self.motor_pins = [self.pins[role] for role in MOTOR_ROLES if role in self.pins]
        self._saved = folder
        self._names: list[str] = []

    # --- by mpremote ----------------------------------------------------------------------------------

    def mpremote(self, *steps: str) -> str:
        """Run mpremote on the board, without a reset. What it prints; fails the test when it fails, or never ends."""
        try:
            done = subprocess.run(
                [sys.executable, "-m", "mpremote", "connect", self.port_name, "resume", *steps],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                timeout=STEP_S * patience(),
                check=False,
            )
        except subprocess.TimeoutExpired:
            # on a pseudo terminal mpremote waits for ever for a board that has started anew meanwhile
            told = f"the board did not answer `mpremote {steps[0]}` within {STEP_S * patience():.0f} s. {SLOWER}"
            raise AssertionError(told) from None
        assert done.returncode == 0, f"mpremote {' '.join(steps)}:\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
        return done.stdout

    def ask(self, script: str, call: str) -> Any:
        """What a call of a script of this folder gives, run on the board."""
        program = self._saved / "step.py"
        texts = [path.read_text(encoding="utf-8") for path in (ON_BOARD, HERE / script)]
        program.write_text("\n".join([texts[0], "stretch_watchdog()", texts[1], f"answer({call})", ""]))
        told = self.mpremote("run", str(program))
        found = re.search("<answer>(.*)</answer>", told)
        assert found, told[-2000:]
        return json.loads(found[1])

    def to_prompt(self) -> None:
        """At the interpreter's prompt, with no watchdog that would bite there."""
        self.reset()
        port = ReturningPort(self.port_name)
        with self.client() as client:
            # after a bite of the watchdog it waits until the spool stands for sure
            free_port(client, stands_within_s=ANSWERS_S)
        self.port_name = port.wait()
        wait_for_prompt(self.port_name)
        if self.ask("pins.py", f"watchdog_runs({self.machine.board.facts.chip!r})"):
            pytest.skip("this board keeps no registers over a reset, so that it cannot be told to leave its port free")

    def motor_is_low(self) -> bool:
        """Whether the chip drives every pin of the motor low, read without touching them."""
        low = self.ask("pins.py", f"held_low({self.machine.board.facts.chip!r}, {self.motor_pins!r})")
        return all(low.values())

    def reset(self) -> None:
        """As by the reset button."""
        port = ReturningPort(self.port_name)
        self.mpremote("reset")
        self.port_name = port.wait()

    def shaft_pins(self) -> list[int]:
        """The pins that reach the sensor's: by jumpers, or where there are none its own; none where only one is.

        A counter of the chip reads a pin whoever drives it, so that the chip itself can be the shaft.
        """
        jumpers = self.jumpers()
        if any(jumpers):
            return [pin for pin in jumpers if pin is not None] if all(pin is not None for pin in jumpers) else []
        sensor = [self.pins[f"sensor_{each}"] for each in "ab"]
        return sensor if all(self.ask("pins.py", f"sees_itself({pin})") for pin in sensor) else []

    def jumpers(self) -> list[int | None]:
        """Of each channel the pin that a jumper joins to its sensor's; None where it is missing."""
        pairs = [(self.pins[f"loopback_{each}"], self.pins[f"sensor_{each}"]) for each in "ab"]
        return [source if self.ask("pins.py", f"follows({source}, {target})") else None for source, target in pairs]

    def learn_patience(self) -> None:
        """Give every wait the time that this board needs, unless the environment tells how much.

        An emulated chip has a clock of its own, many times slower than the desk's; all that it does is as slow.
        """
        if PATIENCE in os.environ:
            return
        words = self._times_of_words(["begun", "ended"])
        slower = words["ended"] - words["begun"]
        if slower > SLOW:
            os.environ[PATIENCE] = str(math.ceil(SPARE * slower))
            print(f"A second of this board takes {slower:.1f} s: {PATIENCE} is {os.environ[PATIENCE]} from here on.")

    def _times_of_words(self, words: list[str]) -> dict[str, float]:
        """When each of these lines of clock.py came, seconds."""
        found: dict[str, float] = {}
        steps = [sys.executable, "-m", "mpremote", "connect", self.port_name, "resume", "run", str(HERE / "clock.py")]
        with subprocess.Popen(steps, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True) as run:
            end = threading.Timer(FIRST_STEP_S, run.kill)
            end.start()
            try:
                assert run.stdout is not None
                for line in run.stdout:
                    found.setdefault(line.strip(), time.monotonic())
            finally:
                end.cancel()
        assert set(words) <= set(found), f"the board did not run clock.py within {FIRST_STEP_S:.0f} s: {found}"
        return found

    def start_shaft(self, pins: list[int], full_rate: int) -> None:
        """Run the firmware's loop with a shaft behind these pins. It runs until it is interrupted."""
        program = self._saved / "shaft_step.py"
        program.write_text(
            (HERE / "shaft.py").read_text(encoding="utf-8")
            + f"""
import machine
from main import LOADING_BYTES, collect_after

collect_after(LOADING_BYTES)
from boards.pico import open_board
from windcore.loop import run

collect_after(-1)
board = open_board([])
channels = [machine.Pin(pin, machine.Pin.OUT, value=0) for pin in {pins!r}]


def levels(a, b):
    channels[0].value(a)
    channels[1].value(b)


try:
    run(Shaft(board, levels, {full_rate}))
except KeyboardInterrupt:
    pass
finally:
    board.close()
    for channel in channels:
        channel.init(machine.Pin.IN, machine.Pin.PULL_DOWN)
"""
        )
        self.mpremote("run", "--no-follow", str(program))

    # --- by the link ----------------------------------------------------------------------------------

    @contextmanager
    def client(self) -> Iterator[Client]:
        """A connection to the winder, once it answers."""
        until_s = time.monotonic() + ANSWERS_S * patience()
        while True:
            try:
                port = Port(self.port_name)
            except DeviceError as failure:
                silence = failure  # it is there, but not for us yet
            else:
                client = Client(port)
                try:
                    client.hello()
                    break
                except DeviceError as failure:
                    silence = failure
                    port.close()
            if time.monotonic() > until_s:
                pytest.fail(f"no winder answered within {ANSWERS_S * patience():.0f} s: {silence}. {SLOWER}")
            time.sleep(LOOK_S)
        try:
            yield client
        finally:
            port.close()

    def press_ctrl_c(self) -> None:
        """As any terminal does."""
        port = Port(self.port_name)
        try:
            port.write(b"\x03")
            # it ends its loop and shows a prompt; whoever hangs up at once may take the byte along
            told = b""
            until_s = time.monotonic() + 3 * patience()
            while not told.rstrip().endswith(b">") and time.monotonic() < until_s:
                told += port.read(0.1)
        finally:
            port.close()

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """The command line, as a person gives it."""
        return subprocess.run(
            [sys.executable, "-c", "from reelwright.cli import run; run()", *arguments],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=900 * patience(),
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "REELWRIGHT_HOME": str(self._saved / "home")},
            check=False,
        )

    # --- as it was found ------------------------------------------------------------------------------

    def save(self) -> None:
        """Keep every file of the board."""
        self.port_name = free_for_uploads(self.port_name, at_rest=True, tell=print)
        self.learn_patience()
        self._names = self.ask("files.py", "every_file()")
        for number, name in enumerate(self._names):
            self.mpremote("cp", f":{name}", str(self._saved / f"{number}.saved"))

    def restore(self) -> None:
        """Put every file back, and no other."""
        self.port_name = free_for_uploads(self.port_name, at_rest=True, tell=print)
        try:
            self.ask("files.py", "clear()")
        except AssertionError:
            # a watchdog that still ran has bitten: it starts anew, and this time with time enough
            time.sleep(SETTLE_S)
            self.ask("files.py", "clear()")
        # without main.py and a reset nothing runs, and no watchdog bites while the files are on their way
        self.reset()
        time.sleep(SETTLE_S)
        self.ask("files.py", f"make_folders({self._names!r})")
        for number, name in sorted(enumerate(self._names), key=lambda entry: entry[1] == "main.py"):
            self.mpremote("cp", str(self._saved / f"{number}.saved"), f":{name}")
        assert sorted(self.ask("files.py", "every_file()")) == sorted(self._names)
        self.reset()

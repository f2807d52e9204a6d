"""python -m stand_in FOLDER [--pace N] [--lacks reset|registers]: a Pico with MicroPython on a pseudo terminal.

It prints the terminal's name and lives until it is ended. FOLDER is its file system. What a program does with pins,
counters, PWM and watchdog happens on the fakes; its time is the clock's, N times as fast. Pins 14 and 15 are wired to 2
and 3. --lacks: what an emulated chip may not have: a start anew when told to, registers that outlive it, the wires.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import select
import sys
import time
import traceback
import tty
from contextlib import redirect_stdout
from errno import errorcode
from pathlib import Path
from typing import Any, NoReturn

import fakes.board_modules
import fakes.clock
import fakes.console
import fakes.machine
from fakes.world import WORLD, Bitten
from stand_in.file_system import Seen, interpreter
from stand_in.prompt import Prompt, RestartedError

WIRES = {14: 2, 15: 3}
_MOST_SLICE_S = 0.02
_MOST_BEHIND_S = 1.0
_ROOM = 256  # of the port, for what the host has not fetched
_LOOK_US = 5  # that a look at the clock takes


class ResetError(BaseException):
    """The chip starts anew: what was running is gone."""


class WiredPin(fakes.machine.Pin):
    """A pin that another may follow, and that counters see whoever drives it."""

    wired = True

    def init(self, mode: int, pull: int | None = None, value: int | None = None) -> None:
        super().init(mode, pull, value=value)
        self._spread()

    def value(self, level: int | None = None) -> Any:
        if level is not None:
            for machine in WORLD.machines.values():
                machine.catch_up()
        found = super().value(level)
        self._spread()
        return found

    def _spread(self) -> None:
        if self.wired and self.number in WIRES:
            pin = WORLD.pin(self.number)
            WORLD.set_level(WIRES[self.number], pin.level() if pin.driven_by == "out" else None)


class StandIn:
    """The board, from power on."""

    def __init__(self, root: Path, pace: float, lacks: str) -> None:
        self._root = root
        self._pace = pace
        self._lacks = lacks
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.port_name = os.ttyname(slave)
        self._begun_s = time.monotonic()
        WiredPin.wired = lacks != "jumpers"
        fakes.machine.Pin = WiredPin
        fakes.machine.reset = self._reset
        fakes.clock.ticks_us = self._ticks_us
        self._out = _Cooked(self._tell)
        board_sys = interpreter(fakes.console.stdin, self._out)
        self._seen = Seen(root, {"sys": board_sys, "time": fakes.clock, "select": fakes.console})
        WORLD.begin("rp2")
        WORLD.between = self._pass_time

    def live(self) -> NoReturn:
        """One start after the other."""
        raw = False
        while True:
            try:
                self._start(raw=raw)
            except RestartedError:
                raw = self._prompt.raw
                self._tell(b"MPY: soft reboot\r\n")
                WORLD.soft_reset()
            except (ResetError, Bitten):
                raw = False
                WORLD.typed.clear()
                WORLD.told.clear()

    def _start(self, *, raw: bool) -> None:
        self._seen.forget_modules()
        importlib.invalidate_caches()
        self._names = {"__name__": "__main__", "__file__": str(self._root / "program")}
        self._prompt = Prompt(self._read, self._tell, self._run, raw=raw)
        for name in ("boot.py",) if raw else ("boot.py", "main.py"):
            path = self._root / name
            if path.is_file():
                self._tell(self._run(path.read_bytes()))
        self._prompt.serve()

    def _run(self, program: bytes) -> bytes:
        try:
            with redirect_stdout(self._out):
                exec(compile(program, "<stdin>", "exec"), self._names)  # noqa: S102 - what a board does
        except OSError as failure:
            number = failure.errno or 0
            return f"OSError: [Errno {number}] {errorcode.get(number, '')}\r\n".encode()
        except SystemExit:
            raise RestartedError from None
        except (Exception, KeyboardInterrupt):
            return traceback.format_exc().replace("\n", "\r\n").encode()
        return b""

    def _reset(self) -> NoReturn:
        self._pump()
        if self._lacks == "reset":
            while True:
                self._idle()
        if self._lacks == "registers":
            WORLD.registers.clear()
        WORLD.chip_reset(True)
        raise ResetError

    # --- port and time --------------------------------------------------------------------------------

    def _read(self) -> int:
        while not WORLD.typed:
            self._idle()
        return int(WORLD.typed.pop(0))

    def _tell(self, data: bytes) -> None:
        WORLD.told.extend(data)
        self._pump()

    def _pump(self) -> None:
        """Let the port pass on what waits in either direction."""
        try:
            while WORLD.told:
                del WORLD.told[: os.write(self._master, WORLD.told)]
        except BlockingIOError:
            pass
        WORLD.room = max(0, _ROOM - len(WORLD.told))
        if select.select([self._master], [], [], 0)[0]:
            WORLD.typed.extend(os.read(self._master, 4096))

    def _pass_time(self) -> None:
        """Called whenever the program sleeps: its time does not run ahead of the clock's."""
        self._pump()
        ahead_s = WORLD.now_us / 1e6 / self._pace - (time.monotonic() - self._begun_s)
        if ahead_s > 0:
            time.sleep(ahead_s)
        elif ahead_s < -_MOST_BEHIND_S:
            self._begun_s -= ahead_s  # it was busy, and does not catch up

    def _ticks_us(self) -> int:
        """A busy program's look at the clock, which goes no faster for it."""
        WORLD.pass_quietly(_LOOK_US)
        ahead_s = WORLD.now_us / 1e6 / self._pace - (time.monotonic() - self._begun_s)
        if ahead_s > _MOST_SLICE_S:
            self._pump()
            time.sleep(ahead_s)
        return int(WORLD.now_us) % (1 << 30)

    def _idle(self) -> None:
        """Nothing runs but the chip."""
        self._pump()
        if not WORLD.typed:
            select.select([self._master], [], [], _MOST_SLICE_S)
        behind_s = time.monotonic() - self._begun_s - WORLD.now_us / 1e6 / self._pace
        if behind_s > 0:
            WORLD.advance(round(min(behind_s, _MOST_BEHIND_S) * 1e6 * self._pace))


class _Cooked(io.TextIOBase):
    """Standard output: what is printed gets the line ends of a terminal; its buffer sends bytes as they are."""

    buffer = fakes.console.stdout

    def __init__(self, tell: Any) -> None:
        self._to = tell

    def write(self, text: str) -> int:
        self._to(text.replace("\n", "\r\n").encode())
        return len(text)


def main() -> None:
    """Live until ended."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--pace", type=float, default=1.0)
    parser.add_argument("--lacks", choices=("", "reset", "registers", "jumpers"), default="")
    given = parser.parse_args()
    root = given.folder.resolve()
    # its programs come from its own files, and nothing of theirs from this checkout
    checkout = str(Path(__file__).resolve().parents[2])
    sys.path[:] = [str(root), str(Path(checkout, "tests"))] + [
        each for each in sys.path if each and not each.startswith(checkout)
    ]
    sys.dont_write_bytecode = True
    board = StandIn(root, given.pace, given.lacks)
    print(board.port_name, flush=True)
    board.live()


if __name__ == "__main__":
    main()

"""A cable between a simulated winder and its host that can be pulled and plugged in again under another name."""

from __future__ import annotations

import os
import select
import threading
import time
import tty
from types import SimpleNamespace
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType

SERIAL_NUMBER = "E66-17"
STALE = b"=900 progress 2 77 1 4000 500 0 BAD\n+9 ended 1 1 10"  # what an old connection may leave in a buffer


class Relay:
    """As a context manager: a port `name`, which is pulled when `pull_when(winder's bytes so far)` says so.

    away_s: real seconds until it is there again; math.inf for never. same_name: plugged in where it was.
    """

    def __init__(
        self, winder_port: str, folder: os.PathLike[str], pull_when: Callable[[bytes], bool], away_s: float
    ) -> None:
        self._winder = os.open(winder_port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self._winder)
        self._folder = folder
        self._pull_when = pull_when
        self._away_s = away_s
        self._ends = (-1, -1)
        self._over = threading.Event()
        self._heard = b""
        self.on_pull: Callable[[], None] = lambda: None
        self.plugged = 0
        self.name = ""
        self.from_host: list[bytes] = []  # what the host said, by connection
        self._thread = threading.Thread(target=self._serve)

    def comports(self) -> list[SimpleNamespace]:
        """What the system lists: this device, where it is now, and another one."""
        other = SimpleNamespace(device="/dev/null", serial_number="E66-99", vid=0x2E8A)
        here = SimpleNamespace(device=self.name, serial_number=SERIAL_NUMBER, vid=0x2E8A)
        return [other, here] if self.name else [other]

    def __enter__(self) -> Self:
        self._plug(b"")
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, failure: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()
        self._unplug()
        os.close(self._winder)

    def _plug(self, stale: bytes) -> None:
        self._ends = os.openpty()
        tty.setraw(self._ends[1])
        os.set_blocking(self._ends[0], False)
        self.plugged += 1
        name = os.path.join(self._folder, f"ttyWINDER{self.plugged}")
        os.symlink(os.ttyname(self._ends[1]), name)
        self.from_host.append(b"")
        os.write(self._ends[0], stale)
        self.name = name

    def _unplug(self) -> None:
        if self.name:
            os.unlink(self.name)
            self.name = ""
            for end in self._ends:
                os.close(end)

    def _serve(self) -> None:
        while not self._over.is_set():
            ends = [self._winder, self._ends[0]] if self.name else [self._winder]
            for ready in select.select(ends, [], [], 0.02)[0]:
                try:
                    data = os.read(ready, 4096)
                except OSError:  # nobody has the other end open
                    continue
                if ready == self._winder:
                    self._heard += data
                    if self.name:
                        os.write(self._ends[0], data)
                else:
                    self.from_host[-1] += data
                    os.write(self._winder, data)
            if self.plugged == 1 and self.name and self._pull_when(self._heard):
                self._unplug()
                threading.Timer(0.5, self.on_pull).start()  # when the host has noticed
                threading.Thread(target=self._plug_later, daemon=True).start()

    def _plug_later(self) -> None:
        back_at_s = time.monotonic() + self._away_s
        while time.monotonic() < back_at_s and not self._over.is_set():
            time.sleep(0.01)
        if not self._over.is_set():
            self._plug(STALE + b"\n")

"""A simulated winder in this process, whole from the control loop to the plant, in step with the host's own clock.

The loop runs in a thread of its own, and only while the host waits for bytes: so a minute passes in a second, and a
run repeats to the bit.
"""

from __future__ import annotations

import threading
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from boards.simulated import SimulatedBoard
from reelwright.errors import LinkLostError
from simulated.lockstep import BoardEnd
from windcore import loop
from windcore.ticks import LOOP_MS

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self


class _SteppedBoard(SimulatedBoard):
    """Waits, after each period, until the host lets the next one begin."""

    def __init__(
        self, spec: dict[str, Any], wire: BoardEnd, begin: threading.Semaphore, over: threading.Semaphore
    ) -> None:
        super().__init__(spec, wire)
        self._begin = begin
        self._over = over

    def wait(self) -> bool:
        going = super().wait()
        self._over.release()
        self._begin.acquire()
        return going


class SteppedWinder:
    """Stands in for the port of a client; as a context manager. `time` stands in for the host's time module."""

    def __init__(self, spec: dict[str, Any]) -> None:
        self._wire = BoardEnd()
        self._begin = threading.Semaphore(0)
        self._over = threading.Semaphore(0)
        self._board = _SteppedBoard(spec, self._wire, self._begin, self._over)
        self._now_ms = 0
        self._thread = threading.Thread(target=self._run)
        self.name = "stepped"
        self.serial_number = ""
        self.time = SimpleNamespace(monotonic=self.clock, sleep=self._sleep)

    def __enter__(self) -> Self:
        self._thread.start()
        self._over.acquire()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, failure: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._wire.gone = True
        self._begin.release()
        while self._thread.is_alive():
            self._begin.release()
            self._thread.join(0.01)
        self._board.close()

    def clock(self) -> float:
        """Seconds since the start."""
        return self._now_ms / 1000

    def write(self, data: bytes) -> None:
        """Take what the host says."""
        self._wire.to_board += data

    def read(self, wait_s: float = 0.02) -> bytes:
        """Let time go by until something arrives, for at most wait_s."""
        until_ms = self._now_ms + max(LOOP_MS, round(wait_s * 1000))
        while self._now_ms < until_ms:
            self._period()
            if self._wire.to_host:
                data = bytes(self._wire.to_host)
                self._wire.to_host.clear()
                return data
        return b""

    def reopen(self) -> None:
        """The port is there all the time."""

    def _sleep(self, seconds: float) -> None:
        until_ms = self._now_ms + round(seconds * 1000)
        while self._now_ms < until_ms:
            self._period()

    def _period(self) -> None:
        if not self._thread.is_alive():
            raise LinkLostError("The winder has ended.")
        self._now_ms += LOOP_MS
        self._begin.release()
        self._over.acquire()

    def _run(self) -> None:
        try:
            loop.run(self._board)
        finally:
            self._over.release()

"""Frames a second that the host can take in, and how much of that a winder sends."""

from __future__ import annotations

import time

from reelwright.device.client import Client
from windcore.service import PROGRESS_MS
from windlink.codec import encode

FRAMES = 20000


class Spool:
    """Stands in for the port: hands out progress in blocks, as a fast port does."""

    name = "spool"
    serial_number = ""

    def __init__(self) -> None:
        lines = [encode("=", n % 1000, "progress", (2, n, 3, 4000, 500, 7)) for n in range(FRAMES)]
        self._blocks = [b"".join(lines[at : at + 50]) for at in range(0, FRAMES, 50)]

    def read(self, wait_s: float = 0.02) -> bytes:
        """The next block, however short the wait."""
        del wait_s
        return self._blocks.pop(0) if self._blocks else b""


def rows() -> list[tuple[str, str]]:
    """One row."""
    client = Client(Spool())
    begun_s = time.perf_counter()
    taken = 0
    while taken < FRAMES:
        client.listen()
        taken += len(client.inbox)
        client.inbox.clear()
    each_s = (time.perf_counter() - begun_s) / FRAMES
    sent = 1000 / PROGRESS_MS
    return [("progress frames that the host takes in a second", f"{1 / each_s:,.0f} (a winder sends {sent:.1f})")]

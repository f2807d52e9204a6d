"""A lock-step winder whose power fails, and what it says of itself after that."""

from __future__ import annotations

from typing import Any

from reelwright.errors import EXIT_PAUSED
from reelwright.operation.resume import memory_of
from simulated.lockstep import RESTART_PERIODS, HostBench
from windlink import codes

STOP = 420  # pulses of the job's one stop
TARGET = 1050


def power_fails(bench: HostBench) -> None:
    """A power cut, and the start after it."""
    bench.winder.strike("power_cut")
    bench.winder.pass_periods(RESTART_PERIODS)


def found(bench: HostBench) -> dict[str, Any]:
    """What the winder says of itself after its start."""
    client = bench.client()
    who = client.hello()
    assert who.cause == codes.POWER_ON
    status = client.request("status")
    memory = memory_of(client)
    return {"status": status, "memory": memory}


def at_the_stop(bench: HostBench) -> None:
    """Wind to the one stop."""
    assert bench.wind() == EXIT_PAUSED
    assert abs(bench.true_pulses - STOP) <= 1

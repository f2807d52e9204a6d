"""The sensor, held against turns that a person makes by hand. Nothing moves but by that hand."""

from __future__ import annotations

import time
from statistics import fmean
from typing import TYPE_CHECKING

from reelwright.condition import SensorResult
from reelwright.operation.held import free_status
from reelwright.verdicts import verdict
from windlink.fields import SMALL

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.device.client import Client
    from reelwright.verdicts import Verdict
    from reelwright.winding.job import Machine

REST_MS = 4000  # without a pulse, before the first turn
TURN_ENDS_MS = 2000  # without a pulse: the turn is over
BURST_ENDS_MS = 1000
WAIT_S = 60.0  # for rest, and for each turn
POLL_S = 0.1

# By common experience, without a source: a hand that turns a spool from a mark back to it is right within ten degrees,
# and comes back to much the same place each time.
HAND_TURNS = 1 / 36
AGAIN_TURNS = 1 / 60
EARLY_SHARE = 0.25  # of a turn's pulses: more than that at rest is a hand, and no interference
ILLEGAL_ALLOWED = 3  # a speck of dust makes one


class SensorTest:
    """Asks for turns and counts them. `tell` shows a line to the operator. All times are the winder's own."""

    def __init__(
        self,
        client: Client,
        pulses_per_turn: float,
        tell: Callable[[str], None],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """pulses_per_turn: of the spool, as expected."""
        self._client = client
        self._early = max(2.0, EARLY_SHARE * pulses_per_turn)
        self._tell = tell
        self._clock = clock
        self._stray = 0

    def run(self, turns: int) -> SensorResult:
        """Count so many turns, each by itself. Raises DeviceError when a job is under way in the winder."""
        free_status(self._client)
        counted: list[int] = []
        begin = self._read()
        self._tell("Let the spool stand.")
        rested = self._wait_for_rest()
        while rested and len(counted) < turns:
            self._tell(
                f"Turn {len(counted) + 1} of {turns}: turn the spool once, in its winding direction, from a mark back"
                " to that mark. Then let it stand."
            )
            before = self._read()
            if not self._wait_for_pulse(before):
                counted.append(0)
                break
            rested = self._wait(lambda: self._read()["quiet_ms"] >= TURN_ENDS_MS)
            counted.append(_counted(before, self._read()))
            self._tell(f"Counted {counted[-1]}.")
        end = self._read()
        return SensorResult(
            turns=tuple(counted),
            stray=self._stray,
            illegal=_counted(begin, end, "illegal"),
            wheel_pulses=_counted(begin, end, "wheel_pulses"),
            restless=not rested,
        )

    def _wait_for_rest(self) -> bool:
        """Whether the spool stands. Few pulses out of a rest are interference; many are a hand that came early."""
        begun_s = self._clock()
        deadline_s = begun_s + self._client.virtual(WAIT_S)
        watched_s = begun_s + self._client.virtual(REST_MS / 1000)
        last = self._read()
        while last["quiet_ms"] < REST_MS or self._clock() < watched_s:
            if self._clock() > deadline_s:
                return False
            now = self._read()
            if now["pulses"] != last["pulses"] and last["quiet_ms"] >= BURST_ENDS_MS:
                if not self._wait(lambda: self._read()["quiet_ms"] >= BURST_ENDS_MS):
                    return False
                now = self._read()
                burst = abs(_counted(last, now))
                self._stray += burst if burst < self._early else 0
            last = now
        return True

    def _wait_for_pulse(self, before: dict[str, int]) -> bool:
        return self._wait(lambda: self._read()["pulses"] != before["pulses"])

    def _wait(self, reached: Callable[[], bool]) -> bool:
        deadline_s = self._clock() + self._client.virtual(WAIT_S)
        while not reached():
            if self._clock() > deadline_s:
                return False
        return True

    def _read(self) -> dict[str, int]:
        self._client.listen(self._client.virtual(POLL_S))
        self._client.inbox.clear()
        return self._client.request("sensor")


def judge_sensor(result: SensorResult, machine: Machine) -> list[Verdict]:
    """What the counts say of the sensor and of the machine's profile, the gravest first."""
    expected = float(machine.pulses_per_spool_turn)
    noise = [verdict("sensor_restless", wait_s=round(WAIT_S))] if result.restless else []
    if result.stray or result.illegal > ILLEGAL_ALLOWED:
        noise.append(verdict("sensor_noisy", stray=result.stray, illegal=result.illegal))
    if noise or not result.turns:
        return noise
    if not any(result.turns):
        return [verdict("sensor_silent", expected=f"{expected:g}")]
    found = []
    if all(count <= 0 for count in result.turns):
        found.append(verdict("sensor_backwards"))
    found.append(_judge_counts([abs(count) for count in result.turns], expected, machine))
    if machine.sensor == "single":
        found.append(verdict("direction_unseen"))
    return found


def _judge_counts(counts: list[int], expected: float, machine: Machine) -> Verdict:
    mean = fmean(counts)
    fit = max(1, round(mean / float(machine.shaft_turns_per_spool_turn)))
    said = {"counted": _listed(counts), "expected": f"{expected:g}"}
    if all(abs(count - expected) <= 1 + HAND_TURNS * expected for count in counts):
        return verdict("sensor_right", **said)
    if len(counts) == 1:
        return verdict("sensor_off_once", fit=fit, **said)
    if max(counts) - min(counts) <= 2 + AGAIN_TURNS * max(mean, expected):
        return verdict("sensor_wrong_ppr", fit=fit, hint=_hint(mean / expected, fit), **said)
    return verdict("sensor_misses" if mean < expected else "sensor_adds", **said)


def _hint(ratio: float, fit: int) -> str:
    for times in (2, 4):
        if abs(ratio / times - 1) < HAND_TURNS:
            return f" That is {times} times as many: it may count both edges, or those of both channels."
        if abs(ratio * times - 1) < HAND_TURNS:
            return f" That is one in {times}."
    # dirt on a disc hides the same slots in every turn, which no count can tell from a disc without them
    return f" Where the disc has not {fit} slots, the sensor misses the same ones in every turn." if ratio < 1 else ""


def _listed(counts: list[int]) -> str:
    return str(counts[0]) if len(set(counts)) == 1 else ", ".join(str(count) for count in counts)


def _counted(before: dict[str, int], after: dict[str, int], counter: str = "pulses") -> int:
    """What a counter of the winder has counted between two answers, signed, across its wrap."""
    return (after[counter] - before[counter] + SMALL // 2) % SMALL - SMALL // 2

"""The counter, held against known numbers of pulses that the board itself makes and jumpers lead to the sensor's pins.

Nothing turns: it shows what counter, pins and wires can do before there is a sensor.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.operation.held import refuse_finished
from reelwright.verdicts import verdict
from windlink import codes
from windlink.catalogue import LONGEST_LOOPBACK_US
from windlink.fields import SMALL

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.device.client import Client
    from reelwright.verdicts import Verdict

# Times that a channel keeps a level, from a hand at the spool to the fastest that a board can make: each some half of
# the one before.
GAPS_US = (5000, 2000, 1000, 700, 500, 300, 200, 100, 50, 25, 10, 1)
SLOW_US = GAPS_US[0]
PULSES = 200
BOUNCES = 3
SETTLE_S = 0.2  # the winder's own: a control period, and the window of the last edge


@frozen
class LoopbackRow:
    """One burst. expected and counted: pulses, signed where there are two channels. rate: pulses a second, as made."""

    gap_us: int
    bounces: int
    expected: int
    counted: int
    rate: float

    @property
    def right(self) -> bool:
        """Whether every pulse was counted, and nothing else."""
        return self.counted == self.expected


def run_loopback(client: Client, capabilities: int, tell: Callable[[LoopbackRow], None]) -> list[LoopbackRow]:
    """Bursts slow and fast, with bounce, and with two channels in both directions, until one is lost.

    tell: called with each row. Raises DeviceError where the winder holds a job; RefusedError where the board has no
    loopback pins.
    """
    refuse_finished(client)
    two_channels = bool(capabilities & codes.CAN_QUADRATURE)
    ways = (codes.PULSES_ON, codes.PULSES_BACK) if two_channels else (codes.ONE_CHANNEL,)
    rows: list[LoopbackRow] = []

    def burst(way: int, gap_us: int, bounces: int) -> bool:
        count = min(PULSES, LONGEST_LOOPBACK_US // (2 * gap_us))
        before = client.request("sensor")["pulses"]
        lasted_us = client.request("loopback", way, count, gap_us, bounces)["lasted_us"]
        client.listen(client.virtual(SETTLE_S))
        client.inbox.clear()
        moved = client.request("sensor")["pulses"] - before
        counted = (moved + SMALL // 2) % SMALL - SMALL // 2
        expected = -count if way == codes.PULSES_BACK else count
        row = LoopbackRow(gap_us, bounces, expected, counted, round(count / max(1, lasted_us) * 1e6, 1))
        rows.append(row)
        tell(row)
        return row.right

    for way in ways:
        burst(way, SLOW_US, 0)
        burst(way, SLOW_US, BOUNCES)
    if all(row.right for row in rows):
        for gap_us in GAPS_US[1:]:
            # no faster than the first that is lost
            if not all(burst(way, gap_us, 0) for way in ways):
                break
    return rows


def highest_rate(rows: list[LoopbackRow]) -> float:
    """The highest rate, pulses a second, up to which nothing was lost in either direction; 0 for none."""
    best = 0.0
    plain = [row for row in rows if not row.bounces]
    for gap_us in sorted({row.gap_us for row in plain}, reverse=True):
        as_fast = [row for row in plain if row.gap_us == gap_us]
        if not all(row.right for row in as_fast):
            break
        best = min(row.rate for row in as_fast)
    return best


def judge_loopback(rows: list[LoopbackRow], limit_pulses_s: float) -> list[Verdict]:
    """What the rows say of counter and jumpers. limit_pulses_s: the most that a job may ask of this winder.

    Not one pulse may be lost up to the highest rate. The series goes on beyond the limit, to the first that is lost: a
    counter that keeps up with more has something in hand, and its last row says nothing against it.
    """
    slow = [row for row in rows if row.gap_us == SLOW_US]
    plain = [row for row in slow if not row.bounces]
    if not any(row.counted for row in slow):
        return [verdict("loopback_silent")]
    if all(row.counted == -row.expected for row in plain):
        return [verdict("loopback_backwards")]
    if not all(row.right for row in plain):
        worst = next(row for row in plain if not row.right)
        return [verdict("loopback_wrong", expected=worst.expected, counted=worst.counted)]
    bounced = [row for row in slow if row.bounces and not row.right]
    if bounced:
        return [verdict("loopback_bounces", expected=bounced[0].expected, counted=bounced[0].counted)]
    rate = highest_rate(rows)
    lost = next((row for row in rows if not row.right), None)
    beyond = (
        "nothing was lost at all" if lost is None else f"the first loss came at {lost.rate:.0f}, where the test ends"
    )
    code = "loopback_right" if rate >= limit_pulses_s else "loopback_slow"
    return [verdict(code, rate=f"{rate:.0f}", limit=f"{limit_pulses_s:.0f}", beyond=beyond)]

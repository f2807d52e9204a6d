"""Known numbers of pulses on spare pins, which jumpers lead to the sensor's: the counter is tried without a shaft.

The program makes them itself and does nothing else meanwhile, so they come in short bursts, with the motor off.
"""

import time

from windlink.codes import ONE_CHANNEL, PULSES_BACK

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Callable


def make_pulses(
    channel_a: "Callable[[int], object]",
    channel_b: "Callable[[int], object]",
    way: int,
    count: int,
    gap_us: int,
    bounce: int,
) -> int:
    """So many pulses, and how long they took in microseconds.

    channel_a, channel_b: set the level of a pin. way: of windlink.codes. gap_us: how long one channel keeps a level, at
    least. bounce: how often a contact springs back at each edge, as fast as the program can make it.
    """
    ahead, behind = (channel_b, channel_a) if way == PULSES_BACK else (channel_a, channel_b)
    edges = [(ahead, 1), (behind, 1), (ahead, 0), (behind, 0)]
    if way == ONE_CHANNEL:
        edges = [(ahead, 1), (ahead, 0)]
    quarter_us = 2 * gap_us // len(edges)
    ticks_us = time.ticks_us
    ticks_diff = time.ticks_diff
    begun = edge_at = ticks_us()
    for _ in range(count):
        for channel, level in edges:
            channel(level)
            for _ in range(bounce):
                channel(1 - level)
                channel(level)
            while ticks_diff(ticks_us(), edge_at) < quarter_us:
                pass
            edge_at = ticks_us()
    return int(ticks_diff(ticks_us(), begun))

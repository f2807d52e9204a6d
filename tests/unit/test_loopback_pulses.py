"""The pulses that a board makes on its loopback pins: as many as asked for, in order, no faster than asked."""

from __future__ import annotations

from itertools import pairwise
from types import SimpleNamespace

import pytest

from boards import loopback
from unit.test_board_shaft import Edges
from windlink import codes


class Clock:
    """Microseconds that go by as they are asked for."""

    def __init__(self) -> None:
        self.now_us = (1 << 30) - 50  # about to wrap

    def ticks_us(self) -> int:
        self.now_us += 1
        return self.now_us % (1 << 30)

    @staticmethod
    def ticks_diff(later: int, earlier: int) -> int:
        return (later - earlier + (1 << 29)) % (1 << 30) - (1 << 29)


class Channels:
    """Two pins, and when each changed."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.level = [0, 0]
        self.changes: list[tuple[int, int, int]] = []

    def channel(self, which: int) -> object:
        def value(level: int) -> None:
            if level != self.level[which]:
                self.level[which] = level
                self.changes.append((self._clock.now_us, which, level))

        return value


@pytest.fixture
def channels(monkeypatch: pytest.MonkeyPatch) -> Channels:
    clock = Clock()
    monkeypatch.setattr(loopback, "time", SimpleNamespace(ticks_us=clock.ticks_us, ticks_diff=clock.ticks_diff))
    return Channels(clock)


def made(channels: Channels, way: int, count: int, gap_us: int, bounce: int = 0) -> int:
    return loopback.make_pulses(channels.channel(0), channels.channel(1), way, count, gap_us, bounce)


@pytest.mark.parametrize(("way", "sign"), [(codes.PULSES_ON, 1), (codes.PULSES_BACK, -1)])
def test_two_channels_give_a_signed_count_one_change_at_a_time(channels: Channels, way: int, sign: int) -> None:
    lasted_us = made(channels, way, 25, 100)
    edges = Edges()
    levels = [0, 0]
    for _, which, level in channels.changes:
        levels[which] = level
        edges.see(*levels)
    assert edges.edges == sign * 50
    assert channels.level == [0, 0]
    assert lasted_us >= 25 * 2 * 100


def test_one_channel_leaves_the_other_alone_and_keeps_each_level_for_the_gap(channels: Channels) -> None:
    made(channels, codes.ONE_CHANNEL, 10, 40)
    assert [which for _, which, _ in channels.changes] == [0] * 20
    times = [at for at, _, _ in channels.changes]
    assert min(after - before for before, after in pairwise(times)) >= 40


def test_each_bounce_adds_an_edge_there_and_one_back(channels: Channels) -> None:
    made(channels, codes.ONE_CHANNEL, 4, 40, bounce=3)
    assert len(channels.changes) == 4 * 2 * (1 + 2 * 3)
    assert channels.level == [0, 0]

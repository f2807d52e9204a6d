"""The shaft that turns on a board's pins is one that the firmware can wind with; tried here before any board is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from board.desk import HERE
from board.shaft import QUARTERS, Shaft
from board.test_on_a_board import FULL_RATE, job_for
from reelwright.machines import load_machine_file
from windcore.job import Job
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windlink import codes
from windlink.job import job_crc

if TYPE_CHECKING:
    from collections.abc import Iterator


class Edges:
    """Counts the edges of channel A up or down by channel B, as a counter does that sees one pulse in two of them."""

    def __init__(self) -> None:
        self.before = (0, 0)
        self.edges = 0

    def see(self, a: int, b: int) -> None:
        assert (a != self.before[0]) != (b != self.before[1])
        if a != self.before[0]:
            self.edges += 1 if a != b else -1
        self.before = (a, b)


class Pins:
    """A board that has nothing to drive."""

    def apply(self, outputs: Outputs) -> None:
        assert 0 <= outputs.duty <= 1000


class Machine:
    """As much of the desk as a job needs."""

    machine = load_machine_file(HERE / "pico.toml")


def passes(session: Session) -> Iterator[int]:
    """Run the loop's three calls; the time after each pass."""
    edges = Edges()
    shaft = Shaft(Pins(), edges.see, FULL_RATE)
    inputs, outputs = Inputs(), Outputs()
    for now_ms in range(0, 120_000, 10):
        inputs.pulses = edges.edges // 2
        session.step(inputs, outputs, now_ms)
        shaft.apply(outputs)
        yield now_ms


def test_the_quarters_follow_one_another_with_one_change_each() -> None:
    for before, after in zip(QUARTERS, (*QUARTERS[1:], QUARTERS[0]), strict=True):
        assert sum(b != a for b, a in zip(before, after, strict=True)) == 1


def test_a_job_ends_on_its_exact_pulse_with_a_pause_at_each_layer() -> None:
    session = Session()
    values = job_for(Machine, 8, pause_every_layer=True)
    run = passes(session)
    next(run)
    assert session.accept(Job(1, job_crc(values), values)) == 0
    assert session.start() == 0
    stops = []
    for _ in run:
        if session.state == codes.WAITING:
            stops.append(session.count)
            session.go_on(session.wait)
        if session.state in (codes.FINISHED, codes.TRIPPED):
            break
    assert (session.state, session.count) == (codes.FINISHED, 160)
    assert stops == [80]

"""The firmware on its simulated board and the host's own code in one process, in lock-step: no pty, no waiting.

The firmware runs in a thread that only moves while the host reads its port, so a wind takes as long as its steps.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from boards.simulated import SimulatedBoard
from reelwright.device.client import Client
from reelwright.errors import EXIT_PAUSED, EXIT_TRIPPED, ReelwrightError
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.arrival import Arrival
from reelwright.operation.resume import Rejoin, Resumption
from reelwright.operation.wind import Interrupts, Wind
from reelwright.profiles import load_job
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.winding.plan import make_plan
from simulated.winder import write_job
from windcore.loop import run
from windcore.ticks import LOOP_MS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from reelwright.ledger import Ledger
    from reelwright.snapshot import Happening, Snapshot, WindResult
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

PACE = 50  # what the winder tells; the host's timers go by it
RESTART_PERIODS = 600  # the longest restart, a hang until the watchdog bites, takes 2.3 s
LONGEST_TURN_S = 60.0  # of the other thread, on a busy machine


class BoardEnd:
    """The board's end of the port."""

    def __init__(self) -> None:
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.gone = False

    def receive(self, room: bytearray) -> int:
        data = bytes(self.to_board[: len(room)])
        del self.to_board[: len(data)]
        room[: len(data)] = data
        return len(data)

    def write(self, data: bytes) -> int:
        self.to_host += data
        return len(data)

    def pause(self, wait_ms: int) -> None:
        """Time goes by in steps alone."""


class _Stepped(SimulatedBoard):
    """A board that takes its turns with the host."""

    def __init__(self, spec: dict[str, Any], end: BoardEnd, winder: LockstepWinder) -> None:
        self._winder = winder
        super().__init__(spec, end)

    def wait(self) -> bool:
        self._winder.take_turns()
        return super().wait()


class LockstepWinder:
    """A winder in this process, as a context manager; `port` is what a client talks to, `board` what is true."""

    def __init__(self, spec: dict[str, Any]) -> None:
        self._end = BoardEnd()
        self._mine = threading.Semaphore(0)
        self._theirs = threading.Semaphore(0)
        self._periods = 0
        self._failure: BaseException | None = None
        self.board = _Stepped({**spec, "pace": PACE, "truth_path": "", "tcp_port": 0}, self._end, self)
        self.port = HostEnd(self)
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> LockstepWinder:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.gone = True
        self.pass_periods(10)
        self._thread.join(LONGEST_TURN_S)

    def pass_periods(self, count: int, *, until_heard: bool = False) -> None:
        """Let the firmware run for some periods of its loop, or until it has said something."""
        self._periods = count
        self._until_heard = until_heard
        if not self._thread.is_alive():
            return
        self._theirs.release()
        assert self._mine.acquire(timeout=LONGEST_TURN_S), "the firmware hangs"
        if self._failure is not None:
            raise AssertionError("the firmware ended") from self._failure

    def take_turns(self) -> None:
        """Called by the firmware's thread in every period."""
        self._periods -= 1
        if self._periods <= 0 or (self._until_heard and self._end.to_host):
            self._mine.release()
            self._theirs.acquire()

    def now(self) -> datetime:
        """The time by which a ledger beside this winder goes: the winder's own, at the pace that it tells."""
        return datetime(2031, 5, 4, tzinfo=UTC) + timedelta(milliseconds=self.board._elapsed_ms / PACE)

    def strike(self, kind: str) -> None:
        """Something goes wrong, now."""
        self.board.plant.faults._strike(kind)

    def _run(self) -> None:
        self._theirs.acquire()
        try:
            run(self.board)
            while self.board.starts_again():
                run(self.board)
        except BaseException as failure:
            self._failure = failure
        self._mine.release()


class HostEnd:
    """A port in the shape that the client takes."""

    name = "lockstep"
    serial_number = ""

    def __init__(self, winder: LockstepWinder) -> None:
        self._winder = winder

    def read(self, wait_s: float) -> bytes:
        """What arrives within the time, by the winder's clock."""
        end = self._winder._end
        if not end.to_host:
            self._winder.pass_periods(max(1, int(wait_s * 1000 * PACE / LOOP_MS)), until_heard=True)
        data = bytes(end.to_host)
        end.to_host.clear()
        return data

    def write(self, data: bytes) -> None:
        """Send."""
        self._winder._end.to_board += data

    def close(self) -> None:
        """Nothing to close."""


class SilentKeys:
    """An operator who says nothing, and leaves at the first stop."""

    at_end = True

    def poll(self) -> str | None:
        """No key."""
        return None


class Witness:
    """A view that keeps what it was told, of progress the last."""

    def __init__(self) -> None:
        self.snapshot: Snapshot | None = None
        self.notices: list[str] = []
        self.events: list[Happening] = []
        self.results: list[WindResult] = []

    def progress(self, snapshot: Snapshot) -> None:
        """Keep it."""
        self.snapshot = snapshot

    def silence(self) -> None:
        """Nothing to keep."""

    def event(self, happening: Happening) -> None:
        """Keep it."""
        self.events.append(happening)

    def notice(self, text: str) -> None:
        """Keep it."""
        self.notices.append(text)

    def result(self, result: WindResult) -> None:
        """Keep it."""
        self.results.append(result)


class HostBench:
    """The host's own code on a lock-step winder: one job, one ledger, and an operator who agrees."""

    def __init__(
        self, winder: LockstepWinder, job: Job, plan: Plan, ledger: Ledger, port_name: str = "lockstep"
    ) -> None:
        self.winder = winder
        self.port_name = port_name
        self.job = job
        self.plan = plan
        self.ledger = ledger
        self.view = Witness()
        self._under_way: Wind | None = None

    @property
    def true_pulses(self) -> int:
        return self.winder.board.plant.passed

    def client(self) -> Client:
        """A new connection, before its greeting."""
        return Client(self.winder.port)

    def wind(self, *, drop_held: bool = False) -> int:
        """Start or go on, to the next stop, a restart, or the end; the exit code."""
        return self._follow(self._begin(drop_held=drop_held))

    def wind_error(self) -> tuple[str, str]:
        """Name and remedy of the failure that `wind` meets."""
        try:
            self.wind()
        except ReelwrightError as failure:
            return type(failure).__name__, failure.remedy
        raise AssertionError("it winds")

    def begin(self) -> Wind:
        """Start, and follow nothing."""
        return self._begin(drop_held=False)

    def client_status(self) -> dict[str, Any]:
        """What the winder answers to a connection of its own."""
        client = self.client()
        client.hello()
        return client.request("status")

    def go_on_and_leave(self) -> None:
        """Go on, and be gone at once."""
        self._begin(drop_held=False)

    def restart_while_turning(self, kind: str) -> None:
        """Wind a few turns, then restart; the host sees it."""
        begun = self.winder.board.plant.turns
        under_way = self._begin(drop_held=False) if not self._under_way else self._under_way
        while self.winder.board.plant.turns < begun + 3:
            self.winder.pass_periods(10)
        self.winder.strike(kind)
        self.winder.pass_periods(RESTART_PERIODS)
        assert self._follow(under_way) == EXIT_TRIPPED

    def begin_by(self, words: Sequence[str], *, clear: str, drop_held: bool = False) -> Wind:
        """Clear a trip and start, as these words of a command line ask."""
        return self._begin(drop_held=drop_held, clear=clear, words=words)

    def _begin(self, *, drop_held: bool, clear: str | None = None, words: Sequence[str] = ()) -> Wind:
        client = self.client()
        known = client.hello()
        arrival = Arrival(
            self.job,
            self.plan,
            client,
            self.ledger,
            self.view,
            known,
            self.port_name,
            Interrupts(),
            words,
        )
        return arrival.begin(clear=clear, drop_held=drop_held)

    def find(self, job: Job | None = None, job_id: int | None = None) -> tuple[Resumption, Any]:
        """What --resume finds."""
        resumption, _ = self.resumption()
        return resumption, resumption.find(job, job_id)

    def resumption(self) -> tuple[Resumption, Client]:
        """A resumption, and the connection that it asks on."""
        client = self.client()
        return Resumption(client, self.ledger, client.hello(), self.port_name), client

    def resume_job(self, job_id: int, uncertain_turns: float | None = None) -> int:
        """Agree to what is proposed of a job, give or take so many turns, and follow it to its next rest: exit code."""
        resumption, rejoin = self.find(None, job_id)
        off_turns = rejoin.uncertain_turns if uncertain_turns is None else uncertain_turns
        return self._follow(resumption.carry_out(rejoin, rejoin.standing.best, off_turns, self.view))

    def resume(self, *, and_stop: bool = True, counted_pulses: int | None = None) -> tuple[Rejoin, int, int]:
        """Agree to what is proposed: the proposal, the error at that moment in pulses, the exit code.

        counted_pulses: what a person counts, in place of the best estimate. and_stop: follow it to its next rest; else
        the code is EXIT_PAUSED, and `restart_while_turning` goes on with it.
        """
        resumption, rejoin = self.find()
        assert isinstance(rejoin, Rejoin)
        before = self.true_pulses
        error = before - rejoin.standing.best
        self.winder.pass_periods(200)
        assert self.true_pulses == before, "it moves before anybody has agreed"
        agreed = max(0, rejoin.standing.best) if counted_pulses is None else counted_pulses
        under_way = resumption.carry_out(rejoin, agreed, rejoin.uncertain_turns, self.view)
        if not and_stop:
            self._under_way = under_way
            return rejoin, error, EXIT_PAUSED
        return rejoin, error, self._follow(under_way)

    def _follow(self, under_way: Any) -> int:
        return under_way.follow(
            SilentKeys(), Interrupts(), go_on_at_stops=False, stay_on_trip=False, link_wait_s=0.0
        ).exit_code


def go_on_or_drop(job_id: int) -> str:
    """The remedy that names both ways on for a job that a winder had when it restarted, each as a whole command."""
    return (
        f"Go on with it by `reelwright wind --resume {job_id} --port lockstep`, or give it up by"
        " `reelwright wind JOB.toml --port lockstep --drop-held`."
    )


@contextmanager
def small_bench(folder: Path, faults: tuple[tuple[str, float], ...] = ()) -> Iterator[HostBench]:
    """A winder of the small job with one stop, and a ledger that goes by its clock. faults: kind and turns of each."""
    job = load_job(write_job(folder, link_loss="wind_on", pauses="[1]"), {})
    plan = make_plan(job)
    with (
        LockstepWinder(machine_spec(job, plan, SimulatorOptions(seed=5, faults=faults))) as winder,
        SqliteLedger(folder / "ledger.sqlite3", now=winder.now) as ledger,
    ):
        yield HostBench(winder, job, plan, ledger)

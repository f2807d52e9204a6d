"""Going on with a job after its winder has restarted: join what both know, have it agreed, load it again, recount it.

Nothing here moves the spool before the operator has agreed to a count.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from attrs import frozen

from reelwright.device.client import RefusedError
from reelwright.device.job_values import job_values
from reelwright.errors import DeviceError, UsageError
from reelwright.operation.commands import Ways, resume_command
from reelwright.operation.doubted import SETTLES_TRIPS, beside, doubt_of, ends_with_trip
from reelwright.operation.moved import MovedJobError, begin_stay
from reelwright.operation.recorded import (
    LOOKED_THROUGH,
    heard_of,
    is_unfinished,
    kept_to_its_end,
    last_pulses_heard,
    plan_of,
    was_begun,
)
from reelwright.operation.standing import Memory, standing
from reelwright.operation.telling import (
    RESUMED,
    happenings_of,
    in_series,
    to_be_agreed_anew,
    uncertain_turns_of,
)
from reelwright.operation.whereabouts import is_another, whereabouts
from reelwright.operation.wind import Wind
from reelwright.snapshot import Happening
from windlink import codes
from windlink.sentences import CAUSES, SOURCES, STATES, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.device.client import Client, Winder
    from reelwright.ledger import Ledger, Stay, WindRecord
    from reelwright.operation.standing import Heard, Standing
    from reelwright.operation.whereabouts import Whereabouts
    from reelwright.snapshot import WindResult
    from reelwright.views import View
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

STANDS_S = 30.0  # granted to a spool for coming to rest after the restart
QUIET_S = 3.0  # without a pulse, by the winder's clock: a spool that gives few of them may still turn


@frozen
class Rejoin:
    """A job that can go on: its record, its plan, what the winder remembers of it, and where that leaves its count.

    heard: the last count that the ledger has of this winder's spool, which the standing counts with. by_ledger: the
    standing from the ledger alone, which lists and results tell. before_turns: what earlier restarts have left unknown
    of the count, either way. elsewhere: the stay at which the job was last heard, where that may be at another winder.
    moved: the stay at another winder to which the job went on from this one, and its last count there; the winder here
    remembers it from before. unheard_trip: the winder had tripped, and nobody has heard why.
    """

    record: WindRecord
    plan: Plan
    memory: Memory | None
    heard: Heard | None
    standing: Standing
    by_ledger: Standing | None
    before_turns: float
    cause: int
    port_name: str
    elsewhere: Stay | None = None
    moved: tuple[Stay, int] | None = None
    unheard_trip: bool = False

    @property
    def uncertain_turns(self) -> float:
        """How far the count may be off, either way, this restart and the earlier ones together."""
        return self.before_turns + self.plan.turns_at(self.standing.uncertain_pulses)


def memory_of(client: Client) -> Memory | None:
    """What the winder remembers from before its last start; None for nothing, or for a winder that has no memory."""
    try:
        memory = Memory(**client.request("memory"))
    except RefusedError as refusal:
        if refusal.code == codes.UNKNOWN_REQUEST:
            return None
        raise
    return memory if memory.job_id else None


def owes_count(status: dict[str, Any], record: WindRecord, memory: Memory | None) -> bool:
    """Whether the job that the winder holds is one that an earlier command loaded to resume it, and got no further.

    A winder remembers a job until it begins; one that forgot it all would start such a job from zero.
    """
    if status["state"] == codes.LOADED and last_pulses_heard(record):
        return True
    loaded = status["state"] in (codes.LOADED, codes.TRIPPED)
    return loaded and memory is not None and memory.job_id == status["job_id"]


class Resumption:
    """Finds the job that a winder was at when it restarted, and puts it there again."""

    def __init__(
        self, client: Client, ledger: Ledger, winder: Winder, port_name: str, words: Sequence[str] = ()
    ) -> None:
        """words: those that begin the job from its beginning, for hints; none where only a person knows its file."""
        self._ways = Ways(port_name, words)
        self._client = client
        self._ledger = ledger
        self._winder = winder
        self._port_name = port_name
        self._told: Memory | None = None  # what the winder remembered when the operator was asked

    def held(self, job: Job | None, job_id: int | None, *, agreed: bool = False) -> WindRecord | None:
        """The record of a job that the winder still holds, at a count that it knows: to be picked up as it is.

        agreed: the operator takes a job back that another winder has gone on with since. None where the winder holds
        none, or owes it a count. Raises UsageError when it holds another job than the operator means, or one that is
        over or unknown here; MovedJobError where another winder has it now, and it was not agreed to take it back.
        """
        status = self._client.request("status")
        if not status["job_id"]:
            return None
        record = self._ledger.find(status["job_id"])
        if record is not None and owes_count(status, record, memory_of(self._client)):
            return None
        another = job_id not in (None, status["job_id"]) or (
            job is not None and (record is None or record.job != job.to_dict())
        )
        if record is not None and is_unfinished(record) and not another:
            self._take_back(record, status["pulses"], agreed=agreed)
            return record
        moved = self._whereabouts(record).moved if record is not None and not another else None
        if record is not None and moved:
            raise MovedJobError.of(record, self._ledger, moved, status["pulses"], self._ways)
        if status["state"] == codes.FINISHED and another and (record is None or not is_unfinished(record)):
            return None  # that one is over, and nothing of it is lost
        if record is not None and is_unfinished(record):
            way = f"`{resume_command(status['job_id'], self._port_name)}` goes on with that one."
        elif status["state"] == codes.FINISHED:
            way = f"`{self._ways.begin}` begins a job: what is over needs no more."
        else:
            way = f"`{self._ways.drop}` gives up what it holds, and begins a job in its place."
        raise UsageError(
            f"There is nothing to resume: the winder holds {'another job' if another else 'job'} {status['job_id']}; it"
            f" is {say(STATES, status['state']).word}.",
            way,
        )

    def find(self, job: Job | None, job_id: int | None) -> Rejoin | WindResult:
        """The job to go on with: the one that the winder remembers, else the newest open one of this port.

        job, job_id: what the operator named, if anything; not one that is `held`. A result where the winder had ended
        it before. Raises UsageError when there is nothing to resume, DeviceError when it is another job than the
        operator means or the ledger does not have it.
        """
        memory = self._told = self._still_memory()
        record = self._remembered(memory, job, job_id) if memory else self._newest_open(job, job_id)
        if record is None and memory is not None:
            memory = None
            record = self._newest_open(job, job_id)
        if record is None:
            raise UsageError(
                "There is nothing to resume: the winder remembers no job that was under way, and the ledger has no open"
                f" one {'that this is' if job or job_id else f'at {self._port_name}'}.",
                "`reelwright ledger list` shows the jobs. A new wind needs no --resume.",
            )
        if memory is not None and memory.job_id == record.job_id and self._whereabouts(record).moved:
            memory = memory if memory.under_way else None  # how it ended here is history, where another went on with it
        if memory is not None and not memory.under_way:
            result = kept_to_its_end(record, self._ledger, memory)
            self._ledger.close_wind(record.job_id, result)
            return result
        return self._join(record, memory)

    def carry_out(self, rejoin: Rejoin, pulses: int, uncertain_turns: float, view: View) -> Wind:
        """Load the job again at the count that was agreed to, and go on.

        Raises RefusedError, LinkLostError, and DeviceError when the winder is not as it was when the operator was
        asked.
        """
        self._look_again()
        job_id = rejoin.record.job_id
        turns = rejoin.plan.turns_at(pulses)
        status = self._client.request("status")
        heard = 0
        here = self._whereabouts(rejoin.record).here
        if status["job_id"] == job_id and here is not None and here.series == rejoin.record.series:
            # a resumption that broke off: its numbering goes on
            self._ledger.adopt(
                job_id, self._winder.boot, port=self._port_name, serial_number=self._winder.serial_number
            )
        else:
            if status["job_id"] not in (0, job_id):
                # another job, which is over: what the winder still tells of it is not of this one
                heard = self._client.request("events")["newest"]
                self._client.request("ack", heard)
            self._begin_series(job_id)
        sentence = (
            f"Resumed at {self._port_name} from {turns:.2f} turns, give or take {uncertain_turns:.2f}: agreed by the"
            " operator."
        )
        source = say(SOURCES, rejoin.memory.source if rejoin.memory else codes.FROM_NOWHERE).word
        fields = {"pulses": pulses, "uncertain_turns": uncertain_turns, "source": source, SETTLES_TRIPS: 1}
        resumed = Happening(0, RESUMED, sentence, fields)
        # before the winder takes it, so that no length is ever told without this
        self._ledger.record_event(job_id, self._winder.boot, resumed)
        view.event(resumed)
        if status["state"] == codes.TRIPPED:
            self._client.request("clear", status["reason"])
        self._client.load(job_id, job_values(rejoin.plan.job, rejoin.plan))
        self._recount(job_id, pulses)
        self._client.inbox.clear()
        wind = Wind(rejoin.plan, job_id, self._winder.boot, self._client, self._ledger, view, heard)
        wind.go_on()  # where that is refused it waits, and the operator may go on once the switch is released
        return wind

    # --- within ------------------------------------------------------------------------------------------

    def _whereabouts(self, record: WindRecord) -> Whereabouts:
        return whereabouts(record, self._ledger, self._winder, self._port_name)

    def _begin_series(self, job_id: int) -> None:
        self._ledger.begin_series(
            job_id, self._winder.boot, port=self._port_name, serial_number=self._winder.serial_number
        )

    def _take_back(self, record: WindRecord, pulses: int, *, agreed: bool) -> None:
        """Have the job with this winder again, which holds it since before another went on with it."""
        where = self._whereabouts(record)
        if where.moved is None:
            return
        if not agreed:
            raise MovedJobError.of(record, self._ledger, where.moved, pulses, self._ways)
        begin_stay(record, self._ledger, self._winder, self._port_name, where, pulses)

    def _look_again(self) -> None:
        """An operator may take an hour to agree, and turn the spool meanwhile."""
        if self._client.hello().boot != self._winder.boot or memory_of(self._client) != self._told:
            raise DeviceError(
                "The winder restarted once more, or its spool was turned, while you were asked. Nothing has moved by"
                " itself.",
                "Give the same command again.",
            )

    def _still_memory(self) -> Memory | None:
        """What the winder remembers, once its spool stands: it counts on what the spool still coasts."""
        memory = memory_of(self._client)
        deadline_s = time.monotonic() + STANDS_S
        while memory is not None and time.monotonic() < deadline_s:
            before = memory
            self._wait(QUIET_S)
            memory = memory_of(self._client)
            if memory == before:
                return memory
        return memory

    def _recount(self, job_id: int, pulses: int) -> None:
        deadline_s = time.monotonic() + STANDS_S
        while True:
            try:
                self._client.request("recount", job_id, pulses)
                return
            except RefusedError as refusal:
                if refusal.code != codes.STILL_TURNS or time.monotonic() > deadline_s:
                    raise
                self._wait(QUIET_S)

    def _wait(self, seconds: float) -> None:
        """Let so much of the winder's own time pass."""
        until_s = time.monotonic() + self._client.virtual(seconds)
        while time.monotonic() < until_s:
            self._client.listen()

    def _remembered(self, memory: Memory, job: Job | None, job_id: int | None) -> WindRecord | None:
        """The record of the job that the winder remembers; None where that one is over and settled."""
        record = self._ledger.find(memory.job_id)
        if record is None:
            if not memory.under_way:
                return None
            raise unknown_job(memory, self._ways)
        if not is_unfinished(record):
            return None
        if (job is not None and record.job != job.to_dict()) or job_id not in (None, record.job_id):
            raise DeviceError(
                f"The winder remembers another job, {record.job_id}: {_where(plan_of(record), memory)}.",
                f"Resume that one with `{resume_command(record.job_id, self._port_name)}`, or give it up with"
                f" `{self._ways.drop}`.",
            )
        return record

    def _newest_open(self, job: Job | None, job_id: int | None) -> WindRecord | None:
        """The newest wind of the ledger that may go on: of the number or the job that was named, else of this port."""
        if job_id is not None:
            record = self._ledger.find(job_id)
            if record is None:
                raise UsageError(
                    f"The ledger holds no job {job_id}.", "`reelwright ledger list` shows the jobs that it holds."
                )
            if not is_unfinished(record):
                raise UsageError(f"Job {job_id} is over.", f"`reelwright ledger show {job_id}` tells how it ended.")
            return record
        for record in self._ledger.winds(LOOKED_THROUGH):
            if not is_unfinished(record) or not was_begun(record):
                continue
            if record.job == job.to_dict() if job is not None else record.port == self._port_name:
                return record
        return None

    def _join(self, record: WindRecord, memory: Memory | None) -> Rejoin:
        """What both know. A winder that remembers a job from before it moved on knows of its own spool alone."""
        plan = plan_of(record)
        seen = self._whereabouts(record)
        is_history = memory is not None and seen.moved is not None
        series = seen.series if is_history else None
        events = to_be_agreed_anew(in_series(self._ledger.events(record.job_id), series), self._winder.boot)
        heard = heard_of(record, self._ledger, series)
        where = standing(plan.job, plan, memory, heard)
        if where is None:
            raise UsageError(
                f"Job {record.job_id} cannot be resumed: it was never heard to turn.", "Wind it from its beginning."
            )
        by_ledger = standing(plan.job, plan, None, heard)
        doubt = doubt_of(plan, happenings_of(events), where.best)
        moved = None
        if seen.moved is not None and is_history:
            there = heard_of(record, self._ledger)
            moved = seen.moved, there.pulses if there else 0
        elsewhere = None
        if memory is None and seen.last is not None:
            may_be_another = is_another(seen.last, self._port_name, self._winder.serial_number)
            elsewhere = seen.last if may_be_another else None
        has_tripped = memory is not None and memory.state == codes.TRIPPED
        return Rejoin(
            record,
            plan,
            memory,
            heard,
            beside(where, doubt, plan),
            by_ledger and beside(by_ledger, doubt_of(plan, happenings_of(events), by_ledger.best), plan),
            uncertain_turns_of(events),
            self._winder.cause,
            self._port_name,
            elsewhere,
            moved,
            has_tripped and not ends_with_trip(happenings_of(events)),
        )


def unknown_job(memory: Memory, ways: Ways) -> DeviceError:
    """The refusal of a job that another computer's ledger has."""
    return DeviceError(
        f"The winder remembers job {memory.job_id}, at {memory.pulses} pulses, and this computer's ledger does not"
        " know it.",
        f"Resume it on the computer that started it, or give it up with `{ways.drop}`.",
    )


def left_off(memory: Memory, record: WindRecord, cause: int) -> str:
    """What a winder that restarted in the middle of a job was at, in a sentence."""
    why = say(CAUSES, cause).sentence
    return f"The winder restarted in the middle of job {record.job_id}: {_where(plan_of(record), memory)}. {why}"


def _where(plan: Plan, memory: Memory) -> str:
    spool = plan.job.take_up.name or "a spool"
    return (
        f"{plan.length_m:.2f} m onto {spool}, last kept while {say(STATES, memory.state).word} at"
        f" {plan.turns_at(memory.pulses):.2f} of {plan.counted_turns:.2f} turns"
    )

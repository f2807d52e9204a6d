"""Going on with a job after its winder has restarted: join what both know, have it agreed, load it again, recount it.

Nothing here moves the spool before the operator has agreed to a count.
"""

from __future__ import annotations

import os
import shlex
import time
from datetime import datetime
from typing import TYPE_CHECKING, Any

from attrs import frozen

from reelwright.device.client import RefusedError
from reelwright.device.job_values import job_values
from reelwright.errors import DeviceError, UsageError
from reelwright.operation.standing import Heard, Memory, Standing, standing
from reelwright.operation.telling import RESTARTED, RESUMED, doubts_of, ending_of, result_of, uncertain_turns_of
from reelwright.operation.wind import Wind
from reelwright.snapshot import Happening
from windlink import codes
from windlink.sentences import CAUSES, OUTCOMES, SOURCES, STATES, say

if TYPE_CHECKING:
    from reelwright.device.client import Client, Winder
    from reelwright.ledger import Ledger, WindRecord
    from reelwright.snapshot import WindResult
    from reelwright.views import View
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

STANDS_S = 30.0  # granted to a spool for coming to rest after the restart
QUIET_S = 3.0  # without a pulse, by the winder's clock: a spool that gives few of them may still turn
LOOKED_THROUGH = 200  # winds of the ledger, the newest first


@frozen
class Rejoin:
    """A job that can go on: its record, its plan, what the winder remembers of it, and where that leaves its count.

    heard: the last count that the ledger has, which the standing counts with. before_turns: what earlier restarts have
    left unknown of the count, either way. elsewhere: the port at which the job was last heard, where that is another
    one and is there, so that it may be another winder's; else empty.
    """

    record: WindRecord
    plan: Plan
    memory: Memory | None
    heard: Heard | None
    standing: Standing
    before_turns: float
    cause: int
    elsewhere: str

    @property
    def uncertain_turns(self) -> float:
        """How far the count may be off, either way, this restart and the earlier ones together."""
        return self.before_turns + self.plan.turns_at(self.standing.uncertain_pulses)


def is_gone(port_name: str) -> bool:
    """Whether a port that is a file of the system is not there; of others, such as COM3, that is not known."""
    return os.path.isabs(port_name) and not os.path.exists(port_name)


def resume_command(job_id: int, port_name: str = "") -> str:
    """The command that goes on with a job, wherever its winder has got to."""
    port = ["--port", port_name] if port_name else []
    return shlex.join(["reelwright", "wind", "--resume", str(job_id), *port])


def memory_of(client: Client) -> Memory | None:
    """What the winder remembers from before its last start; None for nothing, or for a winder that has no memory."""
    try:
        memory = Memory(**client.request("memory"))
    except RefusedError as refusal:
        if refusal.code == codes.UNKNOWN_REQUEST:
            return None
        raise
    return memory if memory.job_id else None


def plan_of(record: WindRecord) -> Plan:
    """The plan of a recorded wind, made anew from its job."""
    from reelwright.profiles import build_job
    from reelwright.winding.plan import make_plan

    return make_plan(build_job(record.job, "the ledger"))


def is_unfinished(record: WindRecord) -> bool:
    """Whether a wind may go on: one that was given up for lost may, when the winder turns up with it after all."""
    return record.open or (record.result is not None and record.result.uncertain)


def owes_count(status: dict[str, Any], record: WindRecord, memory: Memory | None) -> bool:
    """Whether the job that the winder holds is one that an earlier command loaded to resume it, and got no further.

    A winder remembers a job until it begins; one that forgot it all would start such a job from zero.
    """
    if status["state"] == codes.LOADED and last_pulses_heard(record):
        return True
    loaded = status["state"] in (codes.LOADED, codes.TRIPPED)
    return loaded and memory is not None and memory.job_id == status["job_id"]


def kept_to_its_end(record: WindRecord, ledger: Ledger, memory: Memory) -> WindResult:
    """The result of a job that the winder ended before it restarted, whoever was there to hear of it."""
    outcome = say(OUTCOMES, memory.outcome).word
    events = ledger.events(record.job_id)
    return result_of(
        plan_of(record),
        record.job_id,
        codes.FINISHED,
        memory.pulses,
        outcome=outcome,
        before_turns=uncertain_turns_of(events),
        doubts=doubts_of(events),
    )


class Resumption:
    """Finds the job that a winder was at when it restarted, and puts it there again."""

    def __init__(self, client: Client, ledger: Ledger, winder: Winder, port_name: str) -> None:
        self._client = client
        self._ledger = ledger
        self._winder = winder
        self._port_name = port_name

    def held(self, job: Job | None, job_id: int | None) -> WindRecord | None:
        """The record of a job that the winder still holds, at a count that it knows: to be picked up as it is.

        None where the winder holds none, or owes it a count. Raises UsageError when it holds another job than the
        operator means, or one that is over or unknown here.
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
            return record
        if status["state"] == codes.FINISHED and another and (record is None or not is_unfinished(record)):
            return None  # that one is over, and nothing of it is lost
        raise UsageError(
            f"There is nothing to resume: the winder holds {'another job' if another else 'job'} {status['job_id']}; it"
            f" is {say(STATES, status['state']).word}.",
            f"`{resume_command(status['job_id'], self._port_name)}` goes on with that one."
            if record is not None and is_unfinished(record)
            else "Give the command without --resume.",
        )

    def find(self, job: Job | None, job_id: int | None) -> Rejoin | WindResult:
        """The job to go on with: the one that the winder remembers, else the newest open one of this port.

        job, job_id: what the operator named, if anything; not one that is `held`. A result where the winder had ended
        it before. Raises UsageError when there is nothing to resume, DeviceError when it is another job than the
        operator means or the ledger does not have it.
        """
        memory = self._still_memory()
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
        self._look_again(rejoin)
        job_id = rejoin.record.job_id
        turns = rejoin.plan.turns_at(pulses)
        status = self._client.request("status")
        heard = 0
        if status["job_id"] == job_id:
            self._ledger.adopt(job_id, self._winder.boot)  # a resumption that broke off: its numbering goes on
        else:
            if status["job_id"]:
                # another job, which is over: what the winder still tells of it is not of this one
                heard = self._client.request("events")["newest"]
                self._client.request("ack", heard)
            self._ledger.begin_series(job_id, self._winder.boot)
        sentence = f"Resumed from {turns:.2f} turns, give or take {uncertain_turns:.2f}: agreed by the operator."
        source = say(SOURCES, rejoin.memory.source if rejoin.memory else codes.FROM_NOWHERE).word
        fields = {"pulses": pulses, "uncertain_turns": uncertain_turns, "source": source}
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

    def _look_again(self, rejoin: Rejoin) -> None:
        """An operator may take an hour to agree, and turn the spool meanwhile."""
        if self._client.hello().boot != self._winder.boot or memory_of(self._client) != rejoin.memory:
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
            raise unknown_job(memory)
        if not is_unfinished(record):
            return None
        if (job is not None and record.job != job.to_dict()) or job_id not in (None, record.job_id):
            raise DeviceError(
                f"The winder remembers another job, {record.job_id}: {_where(plan_of(record), memory)}.",
                f"Resume that one with `{resume_command(record.job_id, self._port_name)}`, or give it up with"
                " `reelwright wind JOB.toml --drop-held`.",
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
        plan = plan_of(record)
        events = self._ledger.events(record.job_id)
        heard = self._heard(record)
        where = standing(plan.job, plan, memory, heard)
        if where is None:
            raise UsageError(
                f"Job {record.job_id} cannot be resumed: it was never heard to turn.", "Wind it from its beginning."
            )
        before = uncertain_turns_of(events, boot_anew=self._winder.boot)
        is_elsewhere = memory is None and record.port != self._port_name and not is_gone(record.port)
        elsewhere = record.port if is_elsewhere else ""
        return Rejoin(record, plan, memory, heard, where, before, self._winder.cause, elsewhere)

    def _heard(self, record: WindRecord) -> Heard | None:
        """The last count that the ledger has, and how long after it the restart was noticed."""
        pulses = last_pulses_heard(record)
        if record.last_count_at is None or pulses is None:
            return None
        noticed = [each.at for each in self._ledger.events(record.job_id) if each.happening.verb == RESTARTED]
        heard_at = datetime.fromisoformat(record.last_count_at)
        silent_s = None
        if noticed and self._winder.pace:
            passed_s = (datetime.fromisoformat(noticed[-1]) - heard_at).total_seconds()
            silent_s = passed_s * self._winder.pace if passed_s >= 0 else None
        return Heard(pulses, record.last_state, silent_s)


def unknown_job(memory: Memory) -> DeviceError:
    """The refusal of a job that another computer's ledger has."""
    return DeviceError(
        f"The winder remembers job {memory.job_id}, at {memory.pulses} pulses, and this computer's ledger does not"
        " know it.",
        "Resume it on the computer that started it, or give it up with `reelwright wind JOB.toml --drop-held`.",
    )


def left_off(memory: Memory, record: WindRecord, cause: int) -> str:
    """What a winder that restarted in the middle of a job was at, in a sentence."""
    why = say(CAUSES, cause).sentence
    return f"The winder restarted in the middle of job {record.job_id}: {_where(plan_of(record), memory)}. {why}"


def _where(plan: Plan, memory: Memory) -> str:
    spool = plan.job.take_up.name or "a spool"
    return (
        f"{plan.length_m:.2f} m onto {spool}, last kept while {say(STATES, memory.state).word} at"
        f" {plan.turns_at(memory.pulses):.2f} of {plan.turns_at(plan.target_pulses):.2f} turns"
    )


def last_pulses_heard(record: WindRecord) -> int | None:
    """The last count heard, whichever of the record's figures is later."""
    uncertain = record.result is not None and record.result.uncertain
    if record.result is not None and uncertain:
        return max(record.last_pulses or 0, record.result.counted_pulses)
    return record.last_pulses


def was_begun(record: WindRecord) -> bool:
    """Whether its spool may hold strand: a count was heard, or the winder was told to wind and nothing heard since."""
    return bool(last_pulses_heard(record)) or record.last_state == STATES[codes.WINDING].word


def given_up(record: WindRecord, ledger: Ledger, memory: Memory | None = None) -> WindResult:
    """The result of a job that nobody goes on with: what the winder remembers of it, else what the ledger heard."""
    plan = plan_of(record)
    events = ledger.events(record.job_id)
    last = last_pulses_heard(record)
    heard = None if last is None else Heard(last, record.last_state, None)
    ended = None if memory else ending_of(each.happening for each in events)
    where = None if ended else standing(plan.job, plan, memory, heard)
    pulses, outcome = ended or (where.best if memory and where else last or 0, "abandoned")
    return result_of(
        plan,
        record.job_id,
        codes.EMPTY,
        pulses,
        outcome=outcome,
        uncertain=where is not None and not memory,
        ends=where.ends if where else None,
        before_turns=uncertain_turns_of(events),
        doubts=doubts_of(events),
    )

"""Taking a job to the winder, or picking it up where the winder holds it.

The winder may hold nothing, this very job from an earlier command, another job, or a trip. Each is settled
in the ledger before anything new begins.
"""

from __future__ import annotations

import time
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import attrs

from reelwright.device.client import RefusedError
from reelwright.device.job_values import job_values
from reelwright.errors import EXIT_PAUSED, DeviceError, LinkLostError, UsageError
from reelwright.ledger import new_job_id
from reelwright.operation.before import tell_before, tell_elsewhere
from reelwright.operation.commands import Ways
from reelwright.operation.doubted import doubt_of
from reelwright.operation.forgotten import TrippedError, refuse_forgotten, settle_unfinished
from reelwright.operation.moved import MovedJobError, begin_stay
from reelwright.operation.recorded import (
    given_up,
    is_unfinished,
    kept_to_its_end,
    plan_of,
)
from reelwright.operation.resume import left_off, memory_of, owes_count, unknown_job
from reelwright.operation.telling import (
    ending_of,
    happening_of,
    happenings_of,
    result_of,
    uncertain_turns_of,
)
from reelwright.operation.whereabouts import Whereabouts, whereabouts
from reelwright.operation.wind import Interrupts, Wind
from windlink import codes
from windlink.frame import EVENT
from windlink.sentences import STATES, TRIPS, code_of, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.device.client import Client, Winder
    from reelwright.ledger import Ledger, Stay, WindRecord
    from reelwright.views import View
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

EASE_S = 60.0  # granted to a winder for coming to rest
DRAIN_S = 30.0  # granted to it for telling what it still keeps, over a bad cable


class InterruptedWindError(DeviceError):
    """The operator pressed Ctrl-C before the spool was set in motion."""

    exit_code = EXIT_PAUSED


class Arrival:
    """Brings one job to one winder."""

    def __init__(
        self,
        job: Job,
        plan: Plan,
        client: Client,
        ledger: Ledger,
        view: View,
        winder: Winder,
        port_name: str,
        interrupts: Interrupts,
        words: Sequence[str] = (),
    ) -> None:
        """words: the command line that brought the job, after the program's name, for hints that repeat it."""
        self._ways = Ways(port_name, words)
        self._job = job
        self._plan = plan
        self._client = client
        self._ledger = ledger
        self._view = view
        self._winder = winder
        self._port_name = port_name
        self._interrupts = interrupts

    def begin(self, *, clear: str | None, drop_held: bool) -> Wind:
        """Start the job, or pick it up.

        clear: word of the trip that the operator says is mended. drop_held: abandon what the winder holds, or was
        at when it restarted, this very job too. Raises TrippedError; DeviceError when the winder is held by another job
        or refuses; and UsageError when there is no trip to clear.
        """
        status = self._client.request("status")
        if clear is not None:
            if status["state"] != codes.TRIPPED:
                raise UsageError("There is no trip to clear.", "Give the command without --clear.")
            self._named_trip(clear)  # before anything is changed
        held = status["job_id"]
        if not held:
            status = self._settle_memory(status, drop_held=drop_held)
        record = self._ledger.find(held) if held else None
        if record is not None and (moved := self._moved(record)):
            if not drop_held and status["state"] != codes.FINISHED:
                raise MovedJobError.of(record, self._ledger, moved, status["pulses"], self._ways)
            return self._begin_beside(record, status, clear, drop_held=drop_held)
        is_this_one = record is not None and is_unfinished(record) and record.job == self._job.to_dict()
        ours = is_this_one and not drop_held  # what is given up is nobody's
        under_way = status["state"] not in (codes.EMPTY, codes.FINISHED, codes.LOADED) and held
        if under_way and not ours and not drop_held:
            # before anything is changed
            raise self._held_by_another(status, record)
        if not ours and not drop_held:
            refuse_forgotten(self._plan, self._ledger, self._ways)
        if status["state"] == codes.TRIPPED:
            status = self._clear(clear)
        if record is not None and owes_count(status, record, memory_of(self._client)):
            record = self._settle_owed(record, drop_held=drop_held)
        elif ours:
            return self._pick_up(held, status)
        if under_way and status["state"] != codes.FINISHED:
            status = self._drop(held)
        heard = self._drain(record)
        if record is not None and record.open:
            self._close(record, status)
        settle_unfinished(self._plan, self._ledger, self._ways, self._view, drop_held=drop_held)
        return self._load(heard)

    def _moved(self, record: WindRecord) -> Stay | None:
        """The stay at another winder that has gone on with a job since this one had it."""
        return self._seen(record).moved

    def _seen(self, record: WindRecord) -> Whereabouts:
        return whereabouts(record, self._ledger, self._winder, self._port_name)

    def _begin_beside(self, moved: WindRecord, status: dict[str, Any], clear: str | None, *, drop_held: bool) -> Wind:
        """Give up what this winder holds of a job that is with another one, whose record stays as it is; then begin."""
        if status["state"] == codes.TRIPPED:
            status = self._clear(clear)
        if status["state"] not in (codes.EMPTY, codes.FINISHED):
            self._drop(moved.job_id)
        here = self._seen(moved).here
        heard = self._drain(moved, None if here is None else here.series)
        settle_unfinished(self._plan, self._ledger, self._ways, self._view, drop_held=drop_held)
        return self._load(heard)

    def _settle_memory(self, status: dict[str, Any], *, drop_held: bool) -> dict[str, Any]:
        """Deal with a job from before the winder's last start: it is over, is given up here, or must be resumed."""
        memory = memory_of(self._client)
        record = self._ledger.find(memory.job_id) if memory else None
        if memory is None or (record is not None and not is_unfinished(record)):
            return status
        moved = None if record is None else self._moved(record)
        if moved and not memory.under_way:
            return status
        if not memory.under_way:
            if record is not None:
                self._ledger.close_wind(record.job_id, kept_to_its_end(record, self._ledger, memory))
                self._view.notice(f"Job {record.job_id} had ended by itself: `reelwright ledger show {record.job_id}`.")
            return status
        if not drop_held:
            if record is None:
                raise unknown_job(memory, self._ways)
            if moved:
                raise MovedJobError.of(record, self._ledger, moved, memory.pulses, self._ways)
            raise TrippedError(left_off(memory, record, self._winder.cause), self._ways.go_on_or_drop(record))
        if record is not None and not moved:
            self._ledger.close_wind(record.job_id, given_up(record, self._ledger, memory))
        if status["state"] == codes.TRIPPED and status["reason"] == codes.RESTARTED:
            self._client.request("clear", codes.RESTARTED)
        return self._client.request("status")

    def _settle_owed(self, record: WindRecord, *, drop_held: bool) -> WindRecord:
        """Deal with a job that was loaded to be resumed, and was not: given up here, or resumed once more."""
        if not drop_held:
            raise TrippedError(
                f"Job {record.job_id} was loaded again after a restart of the winder, and has no count yet.",
                self._ways.go_on_or_drop(record),
            )
        memory = memory_of(self._client)
        known = memory if memory is not None and memory.job_id == record.job_id else None
        result = given_up(record, self._ledger, known)
        self._ledger.close_wind(record.job_id, result)
        return attrs.evolve(record, open=False, result=result)

    def _load(self, heard: int) -> Wind:
        values = job_values(self._job, self._plan)
        self._check_room(values)
        tell_before(self._plan, self._ledger, self._port_name, self._winder.serial_number, self._view)
        tell_elsewhere(self._plan, self._ledger, self._port_name, self._view)
        job_id = new_job_id(self._ledger)
        self._ledger.open_wind(
            job_id,
            job=self._job.to_dict(),
            plan=self._plan.to_dict(),
            port=self._port_name,
            board=self._winder.board,
            firmware=self._winder.firmware,
            protocol=self._winder.protocol,
            boot=self._winder.boot,
            serial_number=self._winder.serial_number,
        )
        try:
            self._client.load(job_id, values)
            self._leave_if_interrupted()
            # what is still in it tells of the time before this job
            self._client.inbox.clear()
            self._start(job_id)
        except RefusedError:
            # the winder said no, so nothing was wound, and nothing shall be without a record
            self._take_back(job_id)
            self._ledger.close_wind(job_id, result_of(self._plan, job_id, codes.EMPTY, 0, outcome="abandoned"))
            raise
        return self._wind(job_id, heard)

    def _wind(self, job_id: int, heard: int = 0) -> Wind:
        return Wind(self._plan, job_id, self._winder.boot, self._client, self._ledger, self._view, heard)

    def _leave_if_interrupted(self) -> None:
        if self._interrupts.count:
            raise InterruptedWindError(
                "Interrupted before the spool was set in motion: the winder stands still.",
                "Give the same command again to start it.",
            )

    def _take_back(self, job_id: int) -> None:
        with suppress(RefusedError):  # it was never accepted
            self._client.request("abandon", job_id)

    def _check_room(self, values: list[int]) -> None:
        if len(values) > self._winder.most_job_values:
            raise DeviceError(
                f"The job has {len(values)} values, the winder takes {self._winder.most_job_values}.",
                "Ask for fewer stops.",
            )
        if len(self._plan.layers) > self._winder.most_layers:
            raise DeviceError(
                f"The job has {len(self._plan.layers)} layers, the winder takes {self._winder.most_layers}.",
                "Wind it onto a larger barrel, or in two jobs.",
            )

    def _pick_up(self, job_id: int, status: dict[str, Any]) -> Wind:
        record = self._ledger.find(job_id)
        seen = self._seen(record) if record else None
        if record and seen and seen.here and seen.here.series != record.series:
            begin_stay(record, self._ledger, self._winder, self._port_name, seen, status["pulses"])
        else:
            self._ledger.adopt(
                job_id, self._winder.boot, port=self._port_name, serial_number=self._winder.serial_number
            )
        state = status["state"]
        turns = self._plan.turns_at(max(0, status["pulses"]))
        self._view.notice(f"Picks up job {job_id} at {turns:.2f} turns; the winder is {say(STATES, state).word}.")
        if state in (codes.LOADED, codes.WAITING):
            self._leave_if_interrupted()
        wind = self._wind(job_id)
        if state == codes.LOADED:
            self._start(job_id)
        elif state == codes.WAITING:
            wind.go_on()  # where that is refused it stays where it is, and the operator may still abandon it
        return wind

    def _start(self, job_id: int) -> None:
        # before the winder takes it: whether it did may never be heard
        self._ledger.record_count(job_id, 0, STATES[codes.WINDING].word)
        try:
            self._client.request("start", job_id)
        except RefusedError:
            self._ledger.record_count(job_id, 0, STATES[codes.LOADED].word)
            raise

    def _clear(self, clear: str | None) -> dict[str, Any]:
        word = self._named_trip(clear)
        self._client.request("clear", code_of(TRIPS, word))
        self._ways = self._ways.once_cleared
        return self._client.request("status")

    def _named_trip(self, clear: str | None) -> str:
        """Word of the trip that holds the winder. Raises TrippedError unless that is the one to be cleared."""
        word, sentence, remedy = self._client.trip_sentence()
        held = self._client.request("status")["job_id"]
        how = f"{remedy} Then clear it and go on: `{self._ways.clear(word, held)}`."
        if clear is None:
            raise TrippedError(f"The winder is tripped ({word}). {sentence}", how)
        if clear != word:
            raise TrippedError(f"The winder is tripped by {word}, not by {clear}. {sentence}", how)
        return word

    def _held_by_another(self, status: dict[str, Any], record: WindRecord | None) -> DeviceError:
        known = ""
        finish = "Finish it on the computer that started it, or abandon"
        if record is not None:
            plan = plan_of(record)
            known = f" ({plan.length_m:.2f} m onto {plan.job.take_up.name or 'a spool'})"
            finish = f"{self._ways.go_on(record)}, or abandon" if is_unfinished(record) else "It is over: abandon"
        return DeviceError(
            f"The winder holds another job, {status['job_id']}{known}: it is {say(STATES, status['state']).word}"
            f" at {status['pulses']} pulses.",
            f"{finish} it and begin this one by `{self._ways.drop}`.",
        )

    def _drain(self, record: WindRecord | None, series: int | None = None) -> int:
        """Take the events that the winder still keeps into the record of their job; the number of the newest.

        series: that they belong to, where it is not the job's present one.

        Raises LinkLostError when they do not get through: the winder then keeps them.
        """
        kept = self._client.request("events")
        heard = kept["acknowledged"]
        plan = self._plan if record is None else plan_of(record)
        deadline_s = time.monotonic() + DRAIN_S
        while heard < kept["newest"] and time.monotonic() < deadline_s:
            self._client.listen()
            while self._client.inbox:
                received = self._client.inbox.popleft()
                if received.kind != EVENT:
                    continue
                heard = max(heard, received.sequence)
                if record is not None:
                    told = happening_of(plan, received)
                    self._ledger.record_event(record.job_id, self._winder.boot, told, series=series)
                self._client.request("ack", received.sequence)
            if self._client.keep_alive_due:
                self._client.request("status")
        if record is not None and heard < kept["newest"]:
            raise LinkLostError(
                f"The winder still keeps {kept['newest'] - heard} events of job {record.job_id}, which do not get"
                " through.",
                "Check the cable, then give the same command again. No event is lost.",
            )
        self._client.request("ack", kept["newest"])
        self._client.inbox.clear()
        return int(kept["newest"])

    def _drop(self, held: int) -> dict[str, Any]:
        self._client.request("abandon", held)
        deadline_s = time.monotonic() + EASE_S
        status = self._client.request("status")
        while status["state"] != codes.FINISHED:
            if status["state"] == codes.TRIPPED:
                # refused again, now with the reason
                self._clear(None)
            if time.monotonic() > deadline_s:
                raise DeviceError(f"The winder does not come to rest after job {held}.", "Stop it by hand.")
            self._client.listen()
            status = self._client.request("status")
        return status

    def _close(self, record: WindRecord, status: dict[str, Any]) -> None:
        """Close the record of a job that the winder still holds but this command does not go on with."""
        events = self._ledger.events(record.job_id)
        here = [each.happening for each in events if each.series == record.series]
        pulses, outcome = ending_of(here) or (status["pulses"], "abandoned")
        plan = plan_of(record)
        result = result_of(
            plan,
            record.job_id,
            status["state"],
            pulses,
            outcome=outcome,
            before_turns=uncertain_turns_of(events),
            doubt=doubt_of(plan, happenings_of(events), pulses),
        )
        self._ledger.close_wind(record.job_id, result)

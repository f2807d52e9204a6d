"""Following a wind to rest. The ledger is written before the view is told.

Nothing here moves the spool but `go_on`, and it follows a key, an option or a command of the operator.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.device.client import RefusedError
from reelwright.errors import (
    EXIT_ABANDONED,
    EXIT_DEVICE,
    EXIT_DONE,
    EXIT_PAUSED,
    EXIT_TRIPPED,
    DeviceError,
    LinkLostError,
)
from reelwright.operation.doubted import doubt_of
from reelwright.operation.recorded import heard_of
from reelwright.operation.standing import Heard, standing
from reelwright.operation.steady_rate import SteadyRate
from reelwright.operation.telling import (
    RESTARTED,
    ending_of,
    happening_of,
    happenings_of,
    result_of,
    snapshot_of,
    uncertain_turns_of,
)
from reelwright.snapshot import Happening
from reelwright.views.keys import key_of
from windlink import codes
from windlink.frame import EVENT
from windlink.sentences import STATES, STOPS, TRIPS, say

if TYPE_CHECKING:
    from reelwright.device.client import Client, Received
    from reelwright.ledger import Ledger
    from reelwright.snapshot import WindResult
    from reelwright.views import View
    from reelwright.views.keys import Keys
    from reelwright.winding.planned import Plan

COUNT_EVERY_S = 1.0
STANDSTILL_S = 1.0  # of the winder's clock, without a pulse, that counts as rest after a trip
SETTLE_S = 30.0  # granted for the last events to get through a bad cable once the winder is at rest

SECOND_PRESS_S = 2.0  # in which a second Ctrl-C abandons a spool that stands; own choice
AGAIN_S = 0.25  # between two looks for a port that is not there

AT_REST = (codes.FINISHED, codes.TRIPPED, codes.WAITING)
_PLANNED_STOPS = (STOPS[codes.STOP_AT_LAYER].word, STOPS[codes.STOP_AT_MARK].word)


@frozen
class Ending:
    """Why following a job ended. held: the winder still has it, and it can go on. trip: what must be cleared first."""

    exit_code: int
    job_id: int
    held: bool = False
    trip: str = ""


class Interrupts:
    """How often the operator has pressed Ctrl-C; counted by a signal handler, so that no exchange is torn."""

    def __init__(self) -> None:
        self.count = 0


class Wind:
    """A wind that the winder holds under job_id. heard: the newest event that belongs to what was before it."""

    def __init__(
        self, plan: Plan, job_id: int, boot: int, client: Client, ledger: Ledger, view: View, heard: int = 0
    ) -> None:
        self._plan = plan
        self._job_id = job_id
        self._boot = boot
        self._client = client
        self._ledger = ledger
        self._view = view
        self._state = codes.LOADED
        self._last_state = codes.LOADED  # that came with the last count
        self._pulses = 0
        self._wait = 0
        events = ledger.events(job_id)
        self._before_turns = uncertain_turns_of(events)
        record = ledger.find(job_id)
        series = record.series if record else 0
        # what the host noted itself has no number; a ledger of before the series tells restarts apart by their boots
        heard_now = [each for each in events if (each.series, each.boot) == (series, boot)]
        recorded = [each.happening for each in heard_now if each.happening.number]
        self._heard = max((each.number for each in recorded), default=heard)
        self._ending = ending_of(recorded)
        self._reason = 0
        self._steady = SteadyRate()
        self._stop = ""
        self._counted_at_s = 0.0
        self._settled_at = (-1, -1)
        self._go_on_tried = -1
        self._interrupts_answered = 0
        self._unanswered: str | None = None
        self._leave_at_s = 0.0

    def follow(
        self, keys: Keys, interrupts: Interrupts, *, go_on_at_stops: bool, stay_on_trip: bool, link_wait_s: float
    ) -> Ending:
        """Follow the wind until it is over, tripped, or at rest with nobody to go on.

        go_on_at_stops: end each planned stop by itself. stay_on_trip: an operator is there to mend the cause and
        clear the trip. link_wait_s: how long to wait for a lost link to come back. Raises LinkLostError when it does
        not; the ledger then has the last count.
        """
        while True:
            try:
                return self._until_rest(keys, interrupts, go_on_at_stops=go_on_at_stops, stay_on_trip=stay_on_trip)
            except LinkLostError as lost:
                if not self._regain(lost, interrupts, link_wait_s):
                    # the winder goes on without us; this is the last that was heard of it
                    self._leave(self._result(uncertain=True), EXIT_DEVICE)
                    raise

    def _until_rest(self, keys: Keys, interrupts: Interrupts, *, go_on_at_stops: bool, stay_on_trip: bool) -> Ending:
        while True:
            self._hear()
            if self._state == codes.EMPTY:
                return self._lost_count()
            if self._state in AT_REST and self._settled():
                ending = self._at_rest(keys, go_on_at_stops=go_on_at_stops, stay_on_trip=stay_on_trip)
                if ending is not None:
                    return ending
            action = self._unanswered or keys.poll()
            # asked again after a lost link, but for what moves the spool: that was for the moment of the press
            self._unanswered = action if action in ("pause", "abandon") else None
            self._obey(action)
            self._unanswered = None
            self._obey_interrupts(interrupts)

    def _regain(self, lost: LinkLostError, interrupts: Interrupts, link_wait_s: float) -> bool:
        """Wait for the winder to be there again, and look where it is; nothing is asked of it that moves the spool.

        False when it does not come back in time, or the operator presses Ctrl-C meanwhile.
        """
        self._view.notice(f"{lost.message} Waits {link_wait_s:g} s for it to come back. Ctrl-C ends the waiting.")
        self._view.silence()
        pressed = interrupts.count
        deadline_s = time.monotonic() + link_wait_s
        while time.monotonic() < deadline_s and interrupts.count == pressed:
            try:
                winder = self._client.reconnect()
                if winder.boot != self._boot:
                    self._state = codes.EMPTY  # it has restarted, or is another one
                else:
                    self._settled_at = (-1, -1)
                    self._ask()
            except DeviceError:
                time.sleep(AGAIN_S)
                continue
            self._view.notice(f"The winder is back, at {self._client.port_name}: {say(STATES, self._state).word}.")
            return True
        return False

    def go_on(self) -> None:
        """Ask the winder to go on from where it waits; where it does not, that is told. Raises LinkLostError."""
        self._ask()
        if self._state == codes.WAITING:
            self._request("go_on", self._job_id, self._wait)
        elif self._state == codes.TRIPPED:
            self._view.notice(
                f"The winder is tripped ({say(TRIPS, self._reason).word}). Once its cause is mended,"
                f" {key_of('clear')} clears the trip, and then {key_of('go_on')} goes on."
            )
        else:
            self._view.notice(f"There is nothing to go on from: the winder is {say(STATES, self._state).word}.")

    # --- hearing ------------------------------------------------------------------------------------------

    def _hear(self) -> None:
        self._client.listen()
        while self._client.inbox:
            self._take(self._client.inbox.popleft())
        if self._client.keep_alive_due:
            self._ask()

    def _ask(self) -> None:
        status = self._client.request("status")
        if status["job_id"] != self._job_id:
            self._state = codes.EMPTY
            return
        self._state = status["state"]
        self._pulses = status["pulses"]
        self._wait = status["wait"]
        self._reason = status["reason"]
        self._count()

    def _take(self, received: Received) -> None:
        if received.kind == EVENT:
            self._take_event(received)
            return
        fields = received.fields
        if not fields["layer"]:
            # a winder without a job: it has restarted, and only its status can say so for certain
            self._ask()
            return
        self._state = fields["state"]
        self._pulses = fields["pulses"]
        self._count()
        mean_rate = self._steady.tell(self._state, fields["rate"])
        self._view.progress(snapshot_of(self._plan, self._state, self._pulses, fields["rate"], mean_rate))

    def _take_event(self, received: Received) -> None:
        if received.sequence > self._heard:
            happening = happening_of(self._plan, received)
            self._heard = happening.number
            if happening.verb in ("began", "stopped"):
                self._stop = str(happening.fields.get("stop", ""))
            self._ending = self._ending or ending_of((happening,))
            if self._ledger.record_event(self._job_id, self._boot, happening):
                self._view.event(happening)
        # recorded, so the winder may forget it
        self._client.request("ack", received.sequence)

    def _count(self) -> None:
        is_other = self._state != self._last_state  # the state that was heard last decides what may have followed
        self._last_state = self._state
        now_s = time.monotonic()
        if is_other or now_s - self._counted_at_s >= COUNT_EVERY_S:
            self._counted_at_s = now_s
            self._ledger.record_count(self._job_id, self._pulses, say(STATES, self._state).word)

    def _settled(self) -> bool:
        """Whether the winder is still in the state of rest that was heard, and has told all its events."""
        # progress that was under way may tell of the time before the last request; an answer cannot
        self._ask()
        state = self._state
        if state not in AT_REST:
            return False
        if self._settled_at == (state, self._heard):
            return True
        kept = self._client.request("events")
        deadline_s = time.monotonic() + SETTLE_S
        while self._state == state and self._heard < kept["newest"] > kept["acknowledged"]:
            if time.monotonic() > deadline_s:
                break
            self._hear()
        if state == codes.TRIPPED:
            self._let_it_coast()
        if self._state != state:
            return False  # it moves again, or a line was late: what it has not told yet is still to be heard
        self._settled_at = (state, self._heard)
        return True

    def _let_it_coast(self) -> None:
        """A trip takes the drive away, and the spool coasts: its count is the one at which it stands."""
        deadline_s = time.monotonic() + SETTLE_S
        before = None
        while before != self._pulses and time.monotonic() < deadline_s:
            before = self._pulses
            again_at_s = time.monotonic() + self._client.virtual(STANDSTILL_S)
            while time.monotonic() < again_at_s:
                self._hear()
            self._ask()

    # --- at rest ------------------------------------------------------------------------------------------

    def _at_rest(self, keys: Keys, *, go_on_at_stops: bool, stay_on_trip: bool) -> Ending | None:
        if self._state == codes.FINISHED:
            return self._over()
        if self._state == codes.TRIPPED:
            if stay_on_trip and not self._interrupts_answered:
                return None
            return self._leave(self._result(trip=say(TRIPS, self._reason).word), EXIT_TRIPPED)
        if self._interrupts_answered:
            is_time = time.monotonic() >= self._leave_at_s
            return self._leave(self._result(), EXIT_PAUSED) if is_time else None
        if go_on_at_stops and self._stop in _PLANNED_STOPS and self._go_on_tried != self._wait:
            # once for each stop: if a switch holds the spool now, it must not start when a hand lets that switch go
            self._go_on_tried = self._wait
            self._request("go_on", self._job_id, self._wait)
        elif keys.at_end:
            return self._leave(self._result(), EXIT_PAUSED)
        return None

    def _over(self) -> Ending:
        # the count at the end, whatever is done to the spool afterwards
        reached = "reached" if self._pulses >= self._plan.target_pulses else "abandoned"
        self._pulses, outcome = self._ending or (self._pulses, reached)
        result = self._result(outcome=outcome)
        self._ledger.close_wind(self._job_id, result)
        self._tell(result)
        return Ending(EXIT_ABANDONED if outcome == "abandoned" else EXIT_DONE, self._job_id)

    def _leave(self, result: WindResult, exit_code: int) -> Ending:
        self._ledger.settle(self._job_id, result)
        self._tell(result)
        return Ending(exit_code, self._job_id, held=True, trip=result.trip)

    def _tell(self, result: WindResult) -> None:
        if self._state in AT_REST:
            # what came last from the winder may be of the time before
            self._view.progress(snapshot_of(self._plan, self._state, self._pulses, 0))
        self._view.result(result)

    def _lost_count(self) -> Ending:
        """The winder has restarted. What it remembers is joined with what was heard of it once the operator resumes."""
        sentence = f"The winder restarted; the last count heard before is {self._pulses}."
        note = Happening(0, RESTARTED, sentence, {"pulses": self._pulses, "pace": self._client.pace})
        self._ledger.record_event(self._job_id, self._boot, note)
        self._view.notice(
            "The winder has restarted. It will not move by itself. The result is the last count heard; the spool may"
            " hold more."
        )
        self._state = codes.TRIPPED
        return self._leave(self._result(trip=TRIPS[codes.RESTARTED].word, uncertain=True), EXIT_TRIPPED)

    def _result(self, *, outcome: str = "", trip: str = "", uncertain: bool = False) -> WindResult:
        where = None
        if uncertain:
            record = self._ledger.find(self._job_id)
            before = heard_of(record, self._ledger) if record else None
            heard = Heard(self._pulses, say(STATES, self._last_state).word, before.silent_s if before else None)
            where = standing(self._plan.job, self._plan, None, heard)
        else:
            # the ledger's counts carry the time at which they were heard, and an uncertain one was heard before
            self._ledger.record_count(self._job_id, self._pulses, say(STATES, self._state).word)
        return result_of(
            self._plan,
            self._job_id,
            self._state,
            self._pulses,
            outcome=outcome,
            trip=trip,
            uncertain=uncertain,
            where=where,
            before_turns=self._before_turns,
            doubt=doubt_of(self._plan, happenings_of(self._ledger.events(self._job_id)), self._pulses),
        )

    # --- the operator -------------------------------------------------------------------------------------

    def _obey(self, action: str | None) -> None:
        if action == "go_on":
            self.go_on()
        elif action == "clear":
            self._ask()
            if self._state == codes.TRIPPED:
                self._request("clear", self._reason)
            else:
                self._view.notice("There is no trip to clear.")
        elif action == "abandon" and self._state == codes.TRIPPED:
            self._view.notice(
                f"The winder is tripped ({say(TRIPS, self._reason).word}), and gives up a job at rest alone: clear the"
                f" trip first, by {key_of('clear')}, and then abandon."
            )
        elif action is not None:
            self._request(action, self._job_id)

    def _obey_interrupts(self, interrupts: Interrupts) -> None:
        if interrupts.count == self._interrupts_answered:
            return
        pressed = interrupts.count
        first = self._interrupts_answered == 0 and pressed == 1
        self._ask()
        if first:
            self._leave_at_s = time.monotonic() + SECOND_PRESS_S
            if self._state == codes.WAITING:
                self._view.notice(
                    f"Leaves the job in the winder. Ctrl-C once more, within {SECOND_PRESS_S:g} s, abandons it."
                )
            if self._state in (codes.WINDING, codes.EASING):
                self._view.notice("Brings the winder to rest. Ctrl-C once more abandons the job.")
                self._request("pause", self._job_id)
        else:
            self._view.notice("Abandons the job.")
            self._request("abandon", self._job_id)
        # only now: what a lost link has swallowed is asked again
        self._interrupts_answered = pressed

    def _request(self, verb: str, *values: int) -> None:
        if verb == "go_on":
            # whether it does may never be heard: from here on the count is one of a spool that may turn
            self._last_state = codes.WINDING
            self._ledger.record_count(self._job_id, self._pulses, say(STATES, codes.WINDING).word)
        try:
            self._state = self._client.request(verb, *values)["state"]
        except RefusedError as refusal:
            # the winder moved on in the meantime; its next status says where it is
            self._view.notice(str(refusal))

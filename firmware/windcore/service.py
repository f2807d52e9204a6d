"""The link's side of the winder: answers, events, progress. Knows lines and the session, no port.

Stop-and-wait: the last answer is kept, and a request that comes again word for word is answered from it
without acting twice. Nothing is queued but that answer and the events; progress that cannot leave at once is
dropped and counted.
"""

from windcore.job import Job
from windcore.session import Session
from windcore.ticks import LOOP_MS, ticks_diff
from windcore.transitions import ACCEPT, accepted_requests
from windlink import PROTOCOL_MAJOR, PROTOCOL_MINOR, codes
from windlink.catalogue import BY_NAME, HIGHEST_SEQUENCE, LONGEST_LOOPBACK_US, MESSAGES, MOST_JOB_VALUES
from windlink.codec import decode, encode, read_hello
from windlink.fields import SMALL, Field
from windlink.frame import ANSWER, EVENT, LONGEST_TO_DEVICE, PROGRESS, REQUEST, FrameError, LineReader, unseal
from windlink.job import FASTEST_COUNTED, HIGHEST_RATE, MOST_LAYERS, POSITION, first_fault, job_crc

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any, Callable

    Reply = tuple[str, tuple[Any, ...]]

FIRMWARE = "0.1.0"
PROGRESS_MS = 150
RESEND_MS = 300
HEARD_MS = 2000  # progress and events flow this long after the host was last heard
LEAVE_MS = 300  # for the answer to leave the port, and to be asked for again, before the board restarts
_SILENT_MOST = 1 << 28
_COUNTER_MASK = SMALL - 1
_QUIET_MOST = 99999
_MOST_COUNTED = 9999999  # the most that a message carries

_DRIVE_BITS = (codes.CAN_HAND, codes.CAN_DC, codes.CAN_STEPPER)


class Identity:
    """What a board tells of itself: name, capability bits, boot number, restart cause, pace (1 on hardware).

    counts_up_to: hundredths of a pulse a second that its shaft's counter can tell.
    """

    def __init__(
        self, board: str, capabilities: int, boot: int, cause: int, pace: int, counts_up_to: int = FASTEST_COUNTED
    ) -> None:
        self.board = board
        self.capabilities = capabilities
        self.boot = boot
        self.cause = cause
        self.pace = pace
        self.counts_up_to = counts_up_to


class LinkService:
    """Takes bytes with `feed`, gives lines with `outgoing`."""

    def __init__(
        self, session: Session, identity: Identity, make_pulses: "Callable[[int, int, int, int], int] | None" = None
    ) -> None:
        """make_pulses: gives a loopback's pulses and how long they took, see boards.loopback; None without its pins."""
        self._session = session
        self._make_pulses = make_pulses
        self._paused = False
        self._identity = identity
        self._reader = LineReader(LONGEST_TO_DEVICE)
        self._bad_lines = 0
        self._dropped_progress = 0
        self._last_request = b""
        self._answer = b""
        self._answer_due = False
        self._heard_ms = 0
        self._heard = False
        self._progress_number = 0
        self._progress_ms = 0
        self._event_ms = 0
        self._event_sent = 0
        self._upload_id = 0
        self._upload_count = 0
        self._upload: "list[int]" = []
        self._acts: "dict[str, Callable[[tuple[Any, ...]], Reply]]" = {
            each.verb: getattr(self, "_on_" + each.verb) for each in MESSAGES if each.kind == REQUEST
        }
        self._restart_asked = False
        self._restart_ms = 0

    def feed(self, data: "bytes | bytearray | memoryview", count: int, now_ms: int) -> None:
        """Take the first `count` bytes of data, received at now_ms."""
        for index in range(count):
            length = self._reader.feed(data[index])
            if length:
                self._take(self._reader.line(length), now_ms)

    def silent_ms(self, now_ms: int) -> int:
        """How long no host was heard; a large number when none ever was."""
        if not self._heard:
            return _SILENT_MOST
        silent = ticks_diff(now_ms, self._heard_ms)
        if silent < 0 or silent > _SILENT_MOST:
            # half a wrap of silence reads as the future; a host that quiet is gone
            self._heard = False
            return _SILENT_MOST
        return silent

    def outgoing(self, now_ms: int) -> bytes:
        """The next line to send now, or b''. The caller says with `sent` whether the port took it."""
        if self._answer_due:
            return self._answer
        if self.silent_ms(now_ms) > HEARD_MS:
            return b""
        events = self._session.events
        if events.acknowledged < events.newest:
            number = events.acknowledged + 1
            if number != self._event_sent or ticks_diff(now_ms, self._event_ms) >= RESEND_MS:
                return self._event(number)
        if ticks_diff(now_ms, self._progress_ms) >= PROGRESS_MS:
            return self._progress()
        return b""

    def sent(self, line: bytes, now_ms: int, taken: bool) -> None:
        """Note what became of a line from `outgoing`."""
        kind = line[:1]
        if kind == b"<":
            self._answer_due = not taken
        elif kind == b"+":
            if taken:
                self._event_sent = self._session.events.acknowledged + 1
                self._event_ms = now_ms
        else:
            self._progress_ms = now_ms
            if not taken:
                self._dropped_progress += 1

    def paused(self) -> bool:
        """Whether a request has just held up the loop. Asked again, the answer is no."""
        paused = self._paused
        self._paused = False
        return paused

    def restart_due(self, now_ms: int) -> bool:
        """Whether the board shall restart for an upload now: it was asked to, has answered, and still stands."""
        if not self._restart_asked or self._answer_due or ticks_diff(now_ms, self._restart_ms) < LEAVE_MS:
            return False
        self._restart_asked = False
        return not self._session.maintenance()

    # --- lines in -----------------------------------------------------------------------------------------

    def _take(self, line: bytes, now_ms: int) -> None:
        if line == self._last_request:
            self._heard_now(now_ms)
            self._answer_due = True
            return
        try:
            hello = read_hello(REQUEST, line) if b" hello " in line else None
            if hello is not None and hello[1] != PROTOCOL_MAJOR:
                self._reply(line, hello[0], "hello", self._who(0), now_ms)
                return
            self._take_body(line, now_ms)
        except FrameError:
            self._bad_lines += 1

    def _take_body(self, line: bytes, now_ms: int) -> None:
        try:
            message, sequence, values = decode(line)
        except FrameError:
            # a sound line that this version cannot read deserves a refusal; noise deserves silence
            words = unseal(line).split(" ")
            if words[0][:1] != REQUEST:
                raise
            sequence = Field("sequence", 0, HIGHEST_SEQUENCE).read(words[0][1:])
            known = len(words) > 1 and REQUEST + words[1] in BY_NAME
            reason = codes.BAD_FIELDS if known else codes.UNKNOWN_REQUEST
            self._reply(line, sequence, "refused", self._refusal(reason), now_ms)
            return
        if message.kind != REQUEST:
            raise FrameError("not a request")
        self._heard_now(now_ms)
        verb, answer = self._acts[message.verb](values)
        self._reply(line, sequence, verb, answer, now_ms)

    def _heard_now(self, now_ms: int) -> None:
        if self.silent_ms(now_ms) > HEARD_MS:
            # the times of the last telling may be older than the clock can tell
            self._progress_ms = now_ms
            self._event_sent = 0
        self._heard = True
        self._heard_ms = now_ms

    def _reply(self, line: bytes, sequence: int, verb: str, values: "tuple[Any, ...]", now_ms: int) -> None:
        self._heard_now(now_ms)
        self._answer = encode(ANSWER, sequence, verb, values)
        self._last_request = line
        self._answer_due = True

    # --- requests ------------------------------------------------------------------------------------------

    def _who(self, session: object) -> "tuple[Any, ...]":
        who = self._identity
        return (PROTOCOL_MAJOR, PROTOCOL_MINOR, session, FIRMWARE, who.board, who.boot, who.cause, who.pace)

    def _on_hello(self, values: "tuple[Any, ...]") -> "Reply":
        self._event_sent = 0
        return "hello", self._who(values[2])

    def _on_limits(self, _: "tuple[Any, ...]") -> "Reply":
        who = self._identity
        rate = min(HIGHEST_RATE, who.counts_up_to)
        return "limits", (who.capabilities, MOST_JOB_VALUES, MOST_LAYERS, rate, LOOP_MS)

    def _on_status(self, _: "tuple[Any, ...]") -> "Reply":
        session = self._session
        return "status", (
            session.state,
            session.job.job_id,
            session.count,
            session.layer(),
            session.wait,
            session.trip_reason,
        )

    def _on_trip(self, _: "tuple[Any, ...]") -> "Reply":
        session = self._session
        return "trip", (
            session.last_trip_reason,
            session.trip_value,
            session.trip_limit,
            session.trip_count,
            session.trip_ms,
        )

    def _on_counters(self, _: "tuple[Any, ...]") -> "Reply":
        session = self._session
        counted = (
            self._bad_lines,
            self._reader.dropped,
            self._dropped_progress,
            session.events.dropped,
            session.longest_step_ms,
        )
        return "counters", tuple([min(_MOST_COUNTED, each) for each in counted])

    def _on_sensor(self, _: "tuple[Any, ...]") -> "Reply":
        read = self._session.inputs
        return "sensor", (
            read.pulses & _COUNTER_MASK,
            read.wheel_pulses & _COUNTER_MASK,
            read.illegal & _COUNTER_MASK,
            read.switches,
            min(_QUIET_MOST, self._session.standstill.quiet_ms),
        )

    def _on_loopback(self, values: "tuple[Any, ...]") -> "Reply":
        way, count, gap_us, bounce = values
        make_pulses = self._make_pulses
        two_channels = bool(self._identity.capabilities & codes.CAN_QUADRATURE)
        if make_pulses is None or (way != codes.ONE_CHANNEL) != two_channels:
            return self._done(codes.NOT_FITTED)
        if self._session.state != codes.EMPTY:
            return self._done(codes.WRONG_STATE)
        if 2 * count * gap_us > LONGEST_LOOPBACK_US:
            return self._done(codes.BAD_FIELDS)
        self._paused = True
        return "loopback", (make_pulses(way, count, gap_us, bounce),)

    def _on_events(self, _: "tuple[Any, ...]") -> "Reply":
        events = self._session.events
        return "events", (events.newest, events.acknowledged)

    def _on_memory(self, _: "tuple[Any, ...]") -> "Reply":
        past = self._session.past
        if past is None:
            return "memory", (0, 0, 0, codes.EMPTY, 0, codes.FROM_NOWHERE, 0)
        return "memory", (past.job_id, past.count, past.rate, past.state, past.outcome, past.source, past.dark_ms)

    def _on_offer(self, values: "tuple[Any, ...]") -> "Reply":
        if not accepted_requests(self._session.state) & 1 << ACCEPT:
            # room for a job may not be there, and the loop must not end for it while a spool turns
            return self._done(codes.WRONG_STATE)
        self._upload_id = values[0]
        self._upload_count = values[1]
        self._upload = [-1] * self._upload_count
        return self._done(0)

    def _on_part(self, values: "tuple[Any, ...]") -> "Reply":
        if values[0] != self._upload_id:
            return self._done(codes.WRONG_JOB)
        offset = values[1]
        if offset + len(values) - 2 > self._upload_count:
            return self._done(codes.BAD_FIELDS)
        for index, value in enumerate(values[2:]):
            self._upload[offset + index] = value
        return self._done(0)

    def _on_accept(self, values: "tuple[Any, ...]") -> "Reply":
        session = self._session
        if not accepted_requests(session.state) & 1 << ACCEPT:
            # checking a job takes too long while a spool turns
            return self._done(codes.WRONG_STATE)
        if values[0] == session.job.job_id:
            # a job is wound once: what is over is not loaded again under its number
            return self._done(0 if session.state == codes.LOADED and values[1] == session.job.crc else codes.STALE)
        past = session.past
        if past is not None and values[0] == past.job_id and not (past.under_way and past.crc in ("", values[1])):
            # nor after a restart; and what goes on then is the same job
            return self._done(codes.STALE)
        if values[0] != self._upload_id:
            return self._done(codes.WRONG_JOB)
        if -1 in self._upload:
            return self._done(codes.JOB_INCOMPLETE, self._upload.index(-1))
        if job_crc(self._upload) != values[1]:
            return self._done(codes.JOB_DAMAGED)
        fault = first_fault(self._upload)
        if fault >= 0:
            return self._done(codes.JOB_VALUE, fault)
        if self._upload[POSITION["highest_rate"]] > self._identity.counts_up_to:
            return self._done(codes.TOO_FAST, self._identity.counts_up_to // 100)
        lacking = self._lacking(self._upload)
        if lacking:
            return self._done(codes.NOT_FITTED, lacking)
        return self._done(session.accept(Job(self._upload_id, values[1], self._upload)))

    def _lacking(self, job: "list[int]") -> int:
        needed = _DRIVE_BITS[job[POSITION["drive"]]] | job[POSITION["fitted"]]
        if job[POSITION["channels"]] == 2:
            needed |= codes.CAN_QUADRATURE
        if job[POSITION["slip_window_pulses"]]:
            needed |= codes.MEASURING_WHEEL
        return needed & ~self._identity.capabilities

    def _on_start(self, values: "tuple[Any, ...]") -> "Reply":
        return self._for_job(values, self._session.start)

    def _on_recount(self, values: "tuple[Any, ...]") -> "Reply":
        return self._for_job(values, lambda: self._session.recount(values[1]))

    def _on_pause(self, values: "tuple[Any, ...]") -> "Reply":
        return self._for_job(values, self._session.pause)

    def _on_abandon(self, values: "tuple[Any, ...]") -> "Reply":
        return self._for_job(values, self._session.abandon)

    def _on_go_on(self, values: "tuple[Any, ...]") -> "Reply":
        return self._for_job(values, lambda: self._session.go_on(values[1]))

    def _for_job(self, values: "tuple[Any, ...]", act: "Callable[[], int]") -> "Reply":
        if values[0] != self._session.job.job_id:
            return self._done(codes.WRONG_JOB)
        return self._done(act())

    def _on_clear(self, values: "tuple[Any, ...]") -> "Reply":
        return self._done(self._session.clear(values[0]))

    def _on_maintenance(self, _: "tuple[Any, ...]") -> "Reply":
        refusal = self._session.maintenance()
        self._restart_asked = not refusal
        self._restart_ms = self._heard_ms
        return self._done(refusal)

    def _on_ack(self, values: "tuple[Any, ...]") -> "Reply":
        self._session.events.acknowledge(values[0])
        return self._done(0)

    def _done(self, refusal: int, detail: int = 0) -> "Reply":
        if refusal:
            return "refused", self._refusal(refusal, detail)
        return "done", (self._session.state,)

    def _refusal(self, refusal: int, detail: int = 0) -> "tuple[Any, ...]":
        session = self._session
        if refusal == codes.SWITCH_ACTIVE:
            detail = session.held_switches()
        return (refusal, detail, session.state, accepted_requests(session.state))

    # --- lines out -----------------------------------------------------------------------------------------

    def _event(self, number: int) -> bytes:
        events = self._session.events
        verb = events.verb(number)
        values = [events.value(number, index) for index in range(4)]
        return encode(EVENT, number, verb, tuple(values[: len(BY_NAME[EVENT + verb].fields)]))

    def _progress(self) -> bytes:
        session = self._session
        self._progress_number = (self._progress_number + 1) % (HIGHEST_SEQUENCE + 1)
        values = (session.state, session.count, session.layer(), session.rate, session.duty, session.events.newest)
        return encode(PROGRESS, self._progress_number, "progress", values)

"""The host's end of the link: requests with retries, and what the winder tells unasked."""

from __future__ import annotations

import random
import time
from collections import deque
from itertools import count
from typing import TYPE_CHECKING, Any

from attrs import frozen

from reelwright.device.discovery import SOCKET
from reelwright.device.patience import patience
from reelwright.errors import DeviceError, LinkLostError, NotAWinderError, OtherVersionError, PortError, PortGoneError
from windlink import PROTOCOL_MAJOR, PROTOCOL_MINOR, codes
from windlink.catalogue import BY_NAME, HIGHEST_SEQUENCE, PART_VALUES, STATE_REQUESTS
from windlink.codec import decode, encode, read_hello, read_sequence
from windlink.frame import ANSWER, EVENT, REQUEST, FrameError, unseal
from windlink.job import JOB_FIELDS, job_crc
from windlink.sentences import CAPABILITIES, REFUSALS, STATES, TRIPS, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.device.port import Port
    from reelwright.device.transcript import Transcript

# An answer comes within a control period and the cable's time. The same line goes out again until then, ever more
# slowly. What tells a bad cable from a dead one is whether anything whole still comes: after so long without a single
# frame the winder is given up, while one that is still heard is asked on for longer.
FIRST_WAIT_S = 0.15
SHORTEST_WAIT_S = 0.05
LONGEST_WAIT_S = 0.3
BACK_OFF = 1.5
GIVE_UP_S = 10.0
GIVE_UP_HELLO_S = 5.0
GIVE_UP_HEARD_S = 60.0
SHORTER_AFTER = 3  # retries of a part of a job: the next ones are half as long, and pass a bad cable sooner
KEEP_ALIVE_S = 0.5
MAX_PACE = 50  # a winder that runs as fast as it can is taken to be this fast
PROMPT = ">>> "  # of the interpreter on a board that runs no program
_LONGEST_LINE = 256


@frozen
class Received:
    """A message from the winder, its fields under their names."""

    kind: str
    verb: str
    sequence: int
    fields: dict[str, Any]


@frozen
class Winder:
    """Who answered `hello`, and what it can do."""

    firmware: str
    board: str
    boot: int
    cause: int
    pace: int
    protocol: str
    capabilities: int
    most_layers: int
    most_job_values: int
    serial_number: str = ""  # of the board's USB device, "" where the system knows none


class RefusedError(DeviceError):
    """The winder understood a request and did not carry it out. `code` is the refusal, `state` its state."""

    def __init__(self, verb: str, fields: dict[str, Any]) -> None:
        self.code = int(fields["refusal"])
        self.detail = int(fields["detail"])
        self.state = int(fields["state"])
        saying = say(REFUSALS, self.code)
        taken = [name for bit, name in enumerate(STATE_REQUESTS) if fields["accepted"] >> bit & 1]
        state = say(STATES, self.state).word
        super().__init__(
            f"The winder refused `{verb}`: {saying.sentence}{_detail_in_words(self.code, self.detail)}",
            f"{saying.remedy} It is {state}, and takes now: {', '.join(taken) or 'nothing'}.".strip(),
        )


def _detail_in_words(code: int, detail: int) -> str:
    if code in (codes.SWITCH_ACTIVE, codes.NOT_FITTED):
        return f" ({', '.join(saying.word for bit, saying in CAPABILITIES.items() if detail & bit)})"
    if code == codes.TOO_FAST:
        return f" (it counts up to {detail} pulses a second)"
    if code in (codes.JOB_VALUE, codes.JOB_INCOMPLETE):
        return f" ({JOB_FIELDS[detail].name if 0 <= detail < len(JOB_FIELDS) else f'value {detail}'})"
    return ""


def _with_unit(reason: int, value: int) -> str:
    if reason == codes.OVERSPEED:
        return f"{value / 100:g} pulses a second"
    return f"{value} ms" if reason in (codes.NO_PULSES, codes.LINK_LOST, codes.LATE_LOOP) else f"{value} pulses"


class Client:
    """One connection. Not thread-safe: one thread owns it.

    `inbox` holds progress and events in the order of arrival. `strays` holds the last lines that were no
    valid frame: untrusted text, for a person only. `clock` tells seconds of real time.
    """

    def __init__(
        self, port: Port, transcript: Transcript | None = None, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._port = port
        self._transcript = transcript
        self._clock = clock
        self._heard_s = 0.0
        self._pending = bytearray()
        self._greeted = False  # on the port as it is open now
        self._sequence = random.randrange(HIGHEST_SEQUENCE + 1)  # noqa: S311 - spreads numbers, keeps no secret
        self._answer: tuple[int, str, dict[str, Any]] | None = None
        self._pace = 1
        self._told_pace = 0
        self._asked_at_s = 0.0
        self.inbox: deque[Received] = deque(maxlen=10000)
        self.strays: deque[str] = deque(maxlen=20)
        self.retries = 0
        self.bad_lines = 0

    # --- requests ----------------------------------------------------------------------------------------

    def hello(self) -> Winder:
        """Open a session. What came before it is dropped. Raises NotAWinderError, OtherVersionError, LinkLostError."""
        session = random.randrange(65536)  # noqa: S311 - tells this connection from the last, keeps no secret
        try:
            fields = self._exchange("hello", (PROTOCOL_MAJOR, PROTOCOL_MINOR, session), GIVE_UP_HELLO_S, session)
        except LinkLostError as silence:
            is_gone = isinstance(silence, PortGoneError)
            if is_gone and self._greeted:
                raise
            if is_gone and self._port.name.startswith(SOCKET):
                raise PortError(
                    f"The port {self._port.name} is busy: it serves one program at a time, and another holds it.",
                    "Close the other program, then try again.",
                ) from silence
            heard = f" It sent other text, such as {self.strays[-1]!r}." if self.strays else ""
            raise NotAWinderError(
                f"The port {self._port.name} does not answer as a winder.{heard}", self._how_to_get_a_winder()
            ) from silence
        self._greeted = True
        self._told_pace = fields["pace"]
        self._pace = self._told_pace or MAX_PACE
        self.inbox.clear()
        limits = self.request("limits")
        return Winder(
            firmware=fields["firmware"],
            board=fields["board"],
            boot=fields["boot"],
            cause=fields["cause"],
            pace=fields["pace"],
            protocol=f"{fields['major']}.{fields['minor']}",
            capabilities=limits["capabilities"],
            most_layers=limits["most_layers"],
            most_job_values=limits["most_job_values"],
            serial_number=self._port.serial_number,
        )

    def reconnect(self) -> Winder:
        """Open the port again, and a session on it. Moves nothing. Raises PortError, and what `hello` raises."""
        self._port.reopen()
        self._pending.clear()
        self._greeted = False
        return self.hello()

    @property
    def port_name(self) -> str:
        """What the port is called now."""
        return self._port.name

    @property
    def pace(self) -> int:
        """The winder's own seconds in a real one, as it told; 0 for as fast as it can, and before `hello`."""
        return self._told_pace

    def request(self, verb: str, *values: int | str) -> dict[str, Any]:
        """Ask and wait for the answer, retrying.

        Raises RefusedError; LinkLostError after ten seconds in which nothing was heard at all, or a minute.
        """
        return self._exchange(verb, values, GIVE_UP_S)

    def load(self, job_id: int, values: list[int]) -> None:
        """Send a whole job and have it checked and taken. Raises RefusedError or LinkLostError."""
        self.request("offer", job_id, len(values))
        offset = 0
        size = PART_VALUES
        while offset < len(values):
            before = self.retries
            self.request("part", job_id, offset, *values[offset : offset + size])
            offset += size
            if self.retries - before >= SHORTER_AFTER:
                size = max(1, size // 2)
        self.request("accept", job_id, job_crc(values))

    def trip_sentence(self) -> tuple[str, str, str]:
        """Word, sentence with the values seen, and remedy of the trip that holds the winder."""
        trip = self.request("trip")
        saying = say(TRIPS, trip["reason"])
        value, limit = (_with_unit(trip["reason"], trip[name]) for name in ("value", "limit"))
        bound = "expected" if trip["reason"] == codes.SLIP else "allowed"
        seen = f" It saw {value}, {bound} {limit}." if trip["limit"] else ""
        return saying.word, saying.sentence + seen, saying.remedy

    # --- listening ---------------------------------------------------------------------------------------

    def listen(self, wait_s: float = 0.02) -> None:
        """Take what arrives within wait_s into the inbox. Raises LinkLostError when the port is gone."""
        self._take(self._port.read(wait_s))

    @property
    def keep_alive_due(self) -> bool:
        """Whether the winder should hear from this host now, so that it keeps telling."""
        return self._clock() - self._asked_at_s >= self.virtual(KEEP_ALIVE_S)

    def virtual(self, seconds: float) -> float:
        """Real seconds for so many of the winder's own."""
        return seconds / self._pace

    # --- within -------------------------------------------------------------------------------------------

    def _exchange(
        self, verb: str, values: tuple[int | str, ...], give_up_s: float, session: int | None = None
    ) -> dict[str, Any]:
        self._sequence = (self._sequence + 1) % (HIGHEST_SEQUENCE + 1)
        line = encode(REQUEST, self._sequence, verb, values)
        # a slow board that is asked again too soon has only more to do
        wait_s = max(SHORTEST_WAIT_S, self.virtual(FIRST_WAIT_S)) * patience()
        give_up_s *= patience()
        begun_s = self._heard_s = self._clock()
        for tried in count():
            now_s = self._clock()
            if now_s - self._heard_s >= give_up_s or now_s - begun_s >= max(give_up_s, GIVE_UP_HEARD_S):
                break
            self.retries += bool(tried)
            self._answer = None
            # the line end in front closes what an earlier line, or an earlier host, has left open
            self._send(b"\n" + line if tried or session is not None else line)
            again_at_s = self._clock() + wait_s
            while self._clock() < again_at_s:
                self._take(self._port.read(min(0.02, wait_s)))
                answer = self._matching(verb, session)
                if answer is not None:
                    return answer
            # after a long sleep of this computer the answer may be there already
            self._take(self._port.read(SHORTEST_WAIT_S))
            answer = self._matching(verb, session)
            if answer is not None:
                return answer
            if session is None:  # a greeting must tell soon whether anybody is there, and keeps its pace
                wait_s = min(LONGEST_WAIT_S * patience(), wait_s * BACK_OFF)
        raise LinkLostError(
            f"The winder on {self._port.name} does not answer `{verb}`.",
            "Check cable and power. The winder does as its job says of a lost link; the same command picks the job up.",
        )

    def _how_to_get_a_winder(self) -> str:
        if any(PROMPT in each for each in self.strays):
            return (
                "The interpreter's prompt answers: no control loop runs, as after `reelwright checkup --free-port`."
                " Restart the board: its reset button, unplugging it, or Ctrl-D at the prompt."
            )
        return "Check that it is the winder's port, and that the firmware is installed and running."

    def _matching(self, verb: str, session: int | None) -> dict[str, Any] | None:
        if self._answer is None:
            return None
        sequence, answered, fields = self._answer
        self._answer = None
        if sequence != self._sequence:
            return None
        if answered == "refused":
            raise RefusedError(verb, fields)
        if answered != (verb if ANSWER + verb in BY_NAME else "done"):
            return None  # no winder answers so
        if session is not None and fields["session"] != session:
            # a late answer to another connection's greeting
            return None
        return fields

    def _send(self, line: bytes) -> None:
        self._asked_at_s = self._clock()
        if self._transcript:
            self._transcript.keep("host", line.strip())
        self._port.write(line)

    def _take(self, data: bytes) -> None:
        self._pending += data
        while (end := self._pending.find(b"\n")) >= 0:
            line = bytes(self._pending[:end])
            del self._pending[: end + 1]
            if self._transcript:
                self._transcript.keep("winder", line)
            self._take_line(line)
        if len(self._pending) > _LONGEST_LINE:
            self._stray(bytes(self._pending))
            self._pending.clear()

    def _take_line(self, line: bytes) -> None:
        try:
            self._refuse_other_major(line)
            message, sequence, values = decode(line)
        except FrameError:
            self._take_strange(line)
            return
        if message.kind != REQUEST:  # an echo is no winder
            self._heard_s = self._clock()
        fields = message.named(values)
        if message.kind == ANSWER:
            self._answer = (sequence, message.verb, fields)
        elif message.kind != REQUEST:
            self.inbox.append(Received(message.kind, message.verb, sequence, fields))

    def _take_strange(self, line: bytes) -> None:
        """An event of a newer version is handed on without its fields: unless it is acknowledged, no other follows."""
        try:
            words = unseal(line).split(" ")
            if words[0][:1] == EVENT and len(words) > 1:
                self.inbox.append(Received(EVENT, words[1], read_sequence(words[0]), {}))
                return
        except FrameError:
            pass
        self._stray(line)

    def _refuse_other_major(self, line: bytes) -> None:
        hello = read_hello(ANSWER, line)
        if hello is not None and hello[1] != PROTOCOL_MAJOR:
            raise OtherVersionError(
                f"The winder at {self._port.name} speaks version {hello[1]}.{hello[2]} of the link, this program"
                f" {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}.",
                "Install the firmware that belongs to this program, or the program that belongs to the firmware.",
            )

    def _stray(self, line: bytes) -> None:
        if line.strip():
            self.bad_lines += 1
            text = line.decode("ascii", "backslashreplace")
            self.strays.append("".join(c if c.isprintable() else "?" for c in text)[:120])

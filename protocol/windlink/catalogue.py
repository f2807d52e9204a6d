"""Every message of the link, declared once. Encoder, decoder and the tables of the specification come from here.

Within one major version a message keeps its verb and its first fields; a minor version may append fields,
and a reader of this version then ignores a message that it cannot read. The first two fields of both
`hello` messages never change.
"""

from windlink.fields import SMALL, Checksum, Field, Token
from windlink.frame import ANSWER, EVENT, LONGEST_FROM_DEVICE, LONGEST_TO_DEVICE, PROGRESS, REQUEST

MOST_JOB_VALUES = 600
PART_VALUES = 8
HIGHEST_SEQUENCE = 999
LONGEST_LOOPBACK_US = 500000  # nothing else happens meanwhile, and the watchdog waits for two seconds
HIGHEST_EVENT = 99999


class Message:
    """One message: its kind, verb and fields, and how many more values may follow the last field."""

    def __init__(
        self, kind: str, verb: str, fields: "tuple[Field | Token | Checksum, ...]", about: str, more: int = 0
    ) -> None:
        self.kind = kind
        self.verb = verb
        self.fields = fields
        self.about = about
        self.more = more  # the last field may be repeated this often

    @property
    def longest(self) -> int:
        """The room for a line of this message."""
        return LONGEST_TO_DEVICE if self.kind == REQUEST else LONGEST_FROM_DEVICE

    @property
    def highest_sequence(self) -> int:
        """The sequence number after which counting starts again."""
        return HIGHEST_EVENT if self.kind == EVENT else HIGHEST_SEQUENCE

    def named(self, values: "tuple[object, ...]") -> "dict[str, object]":
        """The values under the names of their fields."""
        return {field.name: value for field, value in zip(self.fields, values)}


_JOB_ID = Field("job_id", 1, SMALL - 1, "number that the host gave the job; 0 where there is none")
_ANY_JOB_ID = Field("job_id", 0, SMALL - 1, "number of the job in the winder; 0 where there is none")
_STATE = Field("state", 0, 6, "state, see States")
_PULSES = Field("pulses", -SMALL + 1, SMALL - 1, "signed count of this job")
_LAYER = Field("layer", 0, 999, "layer that the count is in, from 1; 0 without a job")
_REASON = Field("reason", 0, 99, "trip reason, see Trips; 0 for none")
_TIME = Field("time_ms", 0, SMALL - 1, "winder's clock, wraps at 2^30")
_EVENT = Field("event", 0, HIGHEST_EVENT, "number of an event")
_VALUE = Field("value", -9999999, 99999999, "what was measured")
_LIMIT = Field("limit", -9999999, 99999999, "what was allowed")

MESSAGES = (
    Message(
        REQUEST,
        "hello",
        (
            Field("major", 0, 9, "protocol major of the host"),
            Field("minor", 0, 99, "protocol minor of the host"),
            Field("session", 0, 65535, "drawn at random for each connection; the answer repeats it"),
        ),
        "Opens a session. Every version answers it, whatever the major.",
    ),
    Message(
        ANSWER,
        "hello",
        (
            Field("major", 0, 9, "protocol major of the winder"),
            Field("minor", 0, 99, "protocol minor of the winder"),
            Field("session", 0, 65535, "as in the request"),
            Token("firmware", 8, "version of the firmware"),
            Token("board", 9, "name of the board file"),
            Field("boot", 0, 65535, "drawn at random at each start; another value means a restart"),
            Field("cause", 0, 9, "what caused the last start, see Causes"),
            Field("pace", 0, 9999, "virtual seconds in a real one: 1 on hardware, 0 as fast as it can"),
        ),
        "Who answers.",
    ),
    Message(REQUEST, "limits", (), "Asks what the winder can do."),
    Message(
        ANSWER,
        "limits",
        (
            Field("capabilities", 0, 9999, "bit mask, see Capabilities"),
            Field("most_job_values", 0, 9999, "longest job"),
            Field("most_layers", 0, 999, "deepest job"),
            Field("highest_rate", 0, 9999999, "fastest count, hundredths of a pulse per second"),
            Field("loop_ms", 1, 999, "period of the control step"),
        ),
        "What the winder can do.",
    ),
    Message(REQUEST, "status", (), "Asks for the state. Harmless at any time; keeps the winder's progress coming."),
    Message(
        ANSWER,
        "status",
        (_STATE, _ANY_JOB_ID, _PULSES, _LAYER, Field("wait", 0, HIGHEST_EVENT, "event that began this wait"), _REASON),
        "The state.",
    ),
    Message(REQUEST, "trip", (), "Asks for the first reason of the trip that holds the winder, or held it last."),
    Message(ANSWER, "trip", (_REASON, _VALUE, _LIMIT, _PULSES, _TIME), "The trip."),
    Message(REQUEST, "counters", (), "Asks what the link has lost so far."),
    Message(
        ANSWER,
        "counters",
        (
            Field("bad_lines", 0, 9999999, "lines that were no valid frame"),
            Field("overlong_lines", 0, 9999999, "lines longer than their room"),
            Field("dropped_progress", 0, 9999999, "progress frames dropped, because the port was not ready"),
            Field("dropped_events", 0, 9999999, "events dropped, because the room for them was full"),
            Field("longest_loop_ms", 0, 9999999, "longest control period since the start"),
        ),
        "What the link has lost so far.",
    ),
    Message(REQUEST, "sensor", (), "Asks what the counters and switches say, with or without a job."),
    Message(
        ANSWER,
        "sensor",
        (
            Field("pulses", 0, SMALL - 1, "counter of the shaft's sensor; begins anywhere, wraps at 2^30"),
            Field("wheel_pulses", 0, SMALL - 1, "counter of the measuring wheel, likewise"),
            Field("illegal", 0, SMALL - 1, "counter of transitions that two channels cannot make, likewise"),
            Field("switches", 0, 31, "bit mask of the switches that are active, fitted or not"),
            Field("quiet_ms", 0, 99999, "time since the last pulse of the shaft, or this at least"),
        ),
        "What counters and switches say.",
    ),
    Message(
        REQUEST,
        "loopback",
        (
            Field("way", 0, 2, "0: pulses on one channel; 1: on two, A ahead; 2: on two, B ahead"),
            Field("count", 1, 2000, "how many pulses"),
            Field("gap_us", 1, 20000, "time for which a channel keeps each level, at least"),
            Field("bounce", 0, 9, "how often a contact springs back at each edge"),
        ),
        "Makes pulses on the pins that jumpers lead to the sensor's; only in state empty, and for at most %d ms."
        % (LONGEST_LOOPBACK_US // 1000),
    ),
    Message(
        ANSWER,
        "loopback",
        (Field("lasted_us", 0, 99999999, "how long they took"),),
        "The pulses were made; `sensor` tells what was counted.",
    ),
    Message(REQUEST, "events", (), "Asks which events the winder keeps."),
    Message(
        ANSWER,
        "events",
        (
            Field("newest", 0, HIGHEST_EVENT, "number of the newest event; 0 before the first"),
            Field("acknowledged", 0, HIGHEST_EVENT, "the last one that was acknowledged; all above it are kept"),
        ),
        "The events kept.",
    ),
    Message(REQUEST, "memory", (), "Asks which job the winder remembers from before its last start."),
    Message(
        ANSWER,
        "memory",
        (
            _ANY_JOB_ID,
            Field("pulses", -SMALL + 1, SMALL - 1, "count kept, and what was counted since the start"),
            Field("rate", 0, 9999999, "when it was kept, hundredths of a pulse per second; 0 from the journal"),
            Field("state", 0, 6, "when it was kept, see States"),
            Field("outcome", 0, 2, "with state finished, see Outcomes; else 0"),
            Field("source", 0, 2, "see Sources; 0 where nothing is remembered"),
            Field("dark_ms", 0, 99999, "longest time since in which no pulse was counted; 0 where nobody can tell"),
        ),
        "The job that began before the last start, until another one begins.",
    ),
    Message(
        REQUEST,
        "offer",
        (_JOB_ID, Field("count", 1, MOST_JOB_VALUES, "how many values the job has")),
        "Begins to send a job. What was sent of another one is forgotten.",
    ),
    Message(
        REQUEST,
        "part",
        (
            _JOB_ID,
            Field("offset", 0, MOST_JOB_VALUES - 1, "position of the first value, from 0"),
            Field("values", 0, SMALL - 1, "up to %d values of the job" % PART_VALUES),
        ),
        "Sends some values of the job. Sending the same again changes nothing.",
        PART_VALUES - 1,
    ),
    Message(
        REQUEST,
        "accept",
        (_JOB_ID, Checksum("crc", "CRC-32 of all values in decimal, with one space between them")),
        "Asks the winder to check the whole job and take it.",
    ),
    Message(REQUEST, "start", (_JOB_ID,), "Starts the loaded job."),
    Message(REQUEST, "pause", (_JOB_ID,), "Brings the winder to rest on a ramp; the job may go on."),
    Message(
        REQUEST,
        "go_on",
        (_JOB_ID, Field("wait", 0, HIGHEST_EVENT, "event that began the wait to be ended, from status")),
        "Ends a wait. Naming the wait keeps a late copy from ending the next one.",
    ),
    Message(REQUEST, "abandon", (_JOB_ID,), "Ends the job short of its target, after coming to rest on a ramp."),
    Message(
        REQUEST,
        "clear",
        (Field("reason", 1, 99, "the trip to be cleared, from status"),),
        "Clears a trip once its cause is mended. Moves nothing.",
    ),
    Message(
        REQUEST,
        "recount",
        (_JOB_ID, Field("pulses", 0, SMALL // 2 - 1, "count at which the job stands")),
        "Gives a job the count at which its spool stands, after a restart. Moves nothing: the job then waits.",
    ),
    Message(
        REQUEST,
        "maintenance",
        (),
        "Restarts the board for an upload: the port is then the interpreter's own, without control loop or watchdog,"
        " until the next restart. Refused unless the drive is off and the spool stands.",
    ),
    Message(REQUEST, "ack", (_EVENT,), "Acknowledges every event up to this number; the winder then forgets them."),
    Message(ANSWER, "done", (_STATE,), "The request was carried out."),
    Message(
        ANSWER,
        "refused",
        (
            Field("refusal", 1, 99, "why, see Refusals"),
            Field(
                "detail",
                -9999,
                99999,
                "job_incomplete and job_value: position of the value; switch_active and not_fitted: bits; else 0",
            ),
            _STATE,
            Field("accepted", 0, 255, "bit mask of the requests that this state accepts, see Requests by state"),
        ),
        "The request was not carried out, and nothing has changed.",
    ),
    Message(
        PROGRESS,
        "progress",
        (
            _STATE,
            _PULSES,
            _LAYER,
            Field("rate", -9999999, 9999999, "measured, hundredths of a pulse per second"),
            Field("duty", -1000, 1000, "drive, thousandths of full; 0 is off"),
            _EVENT,
        ),
        "Where the winder is. Absolute; may be lost. Its event field is the newest event.",
    ),
    Message(EVENT, "began", (_TIME, _JOB_ID, _PULSES), "Winding began or went on."),
    Message(EVENT, "layer_done", (_TIME, _LAYER, _PULSES), "A layer is full."),
    Message(EVENT, "stopped", (_TIME, Field("stop", 1, 9, "why, see Stops"), _LAYER, _PULSES), "At rest; may go on."),
    Message(
        EVENT,
        "ended",
        (_TIME, Field("outcome", 1, 9, "how, see Outcomes"), _PULSES),
        "At rest for good; the job is over.",
    ),
    Message(EVENT, "tripped", (_TIME, _REASON, _VALUE, _PULSES), "A protective stop; latched until cleared."),
    Message(EVENT, "cleared", (_TIME, _REASON, _PULSES), "The operator cleared the trip."),
    Message(EVENT, "moved_at_rest", (_TIME, _PULSES), "The spool turned while the drive was off."),
)

# The requests whose acceptance depends on the state; bit i of `accepted` stands for the i-th.
STATE_REQUESTS = ("accept", "start", "pause", "go_on", "abandon", "clear", "recount", "maintenance")

BY_NAME = {message.kind + message.verb: message for message in MESSAGES}

"""Every message of the link, declared once. Encoder, decoder and the tables of the specification come from here.

What each is for stands in `meanings.py`, since a board keeps every text of a file that it loads.

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

    def __init__(self, kind: str, verb: str, fields: "tuple[Field | Token | Checksum, ...]", more: int = 0) -> None:
        self.kind = kind
        self.verb = verb
        self.fields = fields
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


_JOB_ID = Field("job_id", 1, SMALL - 1)
_ANY_JOB_ID = Field("job_id", 0, SMALL - 1)
_STATE = Field("state", 0, 6)
_PULSES = Field("pulses", -SMALL + 1, SMALL - 1)
_LAYER = Field("layer", 0, 999)
_REASON = Field("reason", 0, 99)
_TIME = Field("time_ms", 0, SMALL - 1)
_EVENT = Field("event", 0, HIGHEST_EVENT)
_VALUE = Field("value", -9999999, 99999999)
_LIMIT = Field("limit", -9999999, 99999999)

MESSAGES = (
    Message(
        REQUEST,
        "hello",
        (
            Field("major", 0, 9),
            Field("minor", 0, 99),
            Field("session", 0, 65535),
        ),
    ),
    Message(
        ANSWER,
        "hello",
        (
            Field("major", 0, 9),
            Field("minor", 0, 99),
            Field("session", 0, 65535),
            Token("firmware", 8),
            Token("board", 9),
            Field("boot", 0, 65535),
            Field("cause", 0, 9),
            Field("pace", 0, 9999),
        ),
    ),
    Message(REQUEST, "limits", ()),
    Message(
        ANSWER,
        "limits",
        (
            Field("capabilities", 0, 9999),
            Field("most_job_values", 0, 9999),
            Field("most_layers", 0, 999),
            Field("highest_rate", 0, 9999999),
            Field("loop_ms", 1, 999),
        ),
    ),
    Message(REQUEST, "status", ()),
    Message(
        ANSWER,
        "status",
        (_STATE, _ANY_JOB_ID, _PULSES, _LAYER, Field("wait", 0, HIGHEST_EVENT), _REASON),
    ),
    Message(REQUEST, "trip", ()),
    Message(ANSWER, "trip", (_REASON, _VALUE, _LIMIT, _PULSES, _TIME)),
    Message(REQUEST, "counters", ()),
    Message(
        ANSWER,
        "counters",
        (
            Field("bad_lines", 0, 9999999),
            Field("overlong_lines", 0, 9999999),
            Field("dropped_progress", 0, 9999999),
            Field("dropped_events", 0, 9999999),
            Field("longest_loop_ms", 0, 9999999),
        ),
    ),
    Message(REQUEST, "sensor", ()),
    Message(
        ANSWER,
        "sensor",
        (
            Field("pulses", 0, SMALL - 1),
            Field("wheel_pulses", 0, SMALL - 1),
            Field("illegal", 0, SMALL - 1),
            Field("switches", 0, 31),
            Field("quiet_ms", 0, 99999),
        ),
    ),
    Message(
        REQUEST,
        "loopback",
        (
            Field("way", 0, 2),
            Field("count", 1, 2000),
            Field("gap_us", 1, 20000),
            Field("bounce", 0, 9),
        ),
    ),
    Message(
        ANSWER,
        "loopback",
        (Field("lasted_us", 0, 99999999),),
    ),
    Message(REQUEST, "events", ()),
    Message(
        ANSWER,
        "events",
        (
            Field("newest", 0, HIGHEST_EVENT),
            Field("acknowledged", 0, HIGHEST_EVENT),
        ),
    ),
    Message(REQUEST, "memory", ()),
    Message(
        ANSWER,
        "memory",
        (
            _ANY_JOB_ID,
            Field("pulses", -SMALL + 1, SMALL - 1),
            Field("rate", 0, 9999999),
            Field("state", 0, 6),
            Field("outcome", 0, 2),
            Field("source", 0, 2),
            Field("dark_ms", 0, 99999),
        ),
    ),
    Message(
        REQUEST,
        "offer",
        (_JOB_ID, Field("count", 1, MOST_JOB_VALUES)),
    ),
    Message(
        REQUEST,
        "part",
        (
            _JOB_ID,
            Field("offset", 0, MOST_JOB_VALUES - 1),
            Field("values", 0, SMALL - 1),
        ),
        PART_VALUES - 1,
    ),
    Message(
        REQUEST,
        "accept",
        (_JOB_ID, Checksum("crc")),
    ),
    Message(REQUEST, "start", (_JOB_ID,)),
    Message(REQUEST, "pause", (_JOB_ID,)),
    Message(
        REQUEST,
        "go_on",
        (_JOB_ID, Field("wait", 0, HIGHEST_EVENT)),
    ),
    Message(REQUEST, "abandon", (_JOB_ID,)),
    Message(
        REQUEST,
        "clear",
        (Field("reason", 1, 99),),
    ),
    Message(
        REQUEST,
        "recount",
        (_JOB_ID, Field("pulses", 0, SMALL // 2 - 1)),
    ),
    Message(
        REQUEST,
        "maintenance",
        (),
    ),
    Message(REQUEST, "ack", (_EVENT,)),
    Message(ANSWER, "done", (_STATE,)),
    Message(
        ANSWER,
        "refused",
        (
            Field("refusal", 1, 99),
            Field(
                "detail",
                -9999,
                99999,
            ),
            _STATE,
            Field("accepted", 0, 255),
        ),
    ),
    Message(
        PROGRESS,
        "progress",
        (
            _STATE,
            _PULSES,
            _LAYER,
            Field("rate", -9999999, 9999999),
            Field("duty", -1000, 1000),
            _EVENT,
        ),
    ),
    Message(EVENT, "began", (_TIME, _JOB_ID, _PULSES)),
    Message(EVENT, "layer_done", (_TIME, _LAYER, _PULSES)),
    Message(EVENT, "stopped", (_TIME, Field("stop", 1, 9), _LAYER, _PULSES)),
    Message(
        EVENT,
        "ended",
        (_TIME, Field("outcome", 1, 9), _PULSES),
    ),
    Message(EVENT, "tripped", (_TIME, _REASON, _VALUE, _PULSES)),
    Message(EVENT, "cleared", (_TIME, _REASON, _PULSES)),
    Message(EVENT, "moved_at_rest", (_TIME, _PULSES)),
)

# The requests whose acceptance depends on the state; bit i of `accepted` stands for the i-th.
STATE_REQUESTS = ("accept", "start", "pause", "go_on", "abandon", "clear", "recount", "maintenance")

BY_NAME = {message.kind + message.verb: message for message in MESSAGES}

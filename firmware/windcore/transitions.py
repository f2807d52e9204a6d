"""The session's table: in which state, on which trigger, to which state. A missing entry is refused.

Each state, how it is entered, whether a host may ask for it, what the drive may do, and the ways out:

EMPTY     At power-on, and when a trip that lost the job is cleared. Drive off. Out: accept.
LOADED    By accept. Drive off. Out: start, another accept, abandon, recount, a pressed stop button. A job that had
          begun before a restart does not start from here: it goes to WAITING by a recount.
WINDING   By start or go_on, and only by these. The drive turns the spool on its ramp. Out: slowing (the ramp
          has begun to fall towards a stop), pause, abandon, a trip.
EASING    From WINDING, by the ramp, the operator or a silent host. The drive may turn the spool up to the
          stop, then it is off. Only standstill or a trip lead out; pause and abandon change nothing but the end.
WAITING   By standstill short of the target, when a trip is cleared, and by a recount. Drive off. Out: go_on, abandon,
          a pressed stop button. A recount changes nothing but the count.
FINISHED  By standstill at the target or after abandon. Drive off. Out: accept.
TRIPPED   From anywhere, by a trip; at the start, after a restart that nobody asked for or in the middle of a job. Drive
          off. Out: clear, which moves nothing: to WAITING, or LOADED where the job has not begun, or FINISHED where it
          was being abandoned, or EMPTY where there is none.

In every state with the drive off, once the spool stands, the board may be asked to restart for an upload: maintenance.
The state stays as it is until then.
"""

from windlink.catalogue import STATE_REQUESTS
from windlink.codes import EASING, EMPTY, FINISHED, LOADED, TRIPPED, WAITING, WINDING

# Triggers. The first ones are requests of the host, in the order of the link's catalogue.
ACCEPT, START, PAUSE, GO_ON, ABANDON, CLEAR, RECOUNT, MAINTENANCE = range(len(STATE_REQUESTS))
_FIRST = len(STATE_REQUESTS)
SLOWING, RESTED, COMPLETED, TRIP, CLEAR_EMPTY, CLEAR_LOADED, CLEAR_OVER = range(_FIRST, _FIRST + 7)

# The numbers are the link's, and index the table below.
STATES = (EMPTY, LOADED, WINDING, EASING, WAITING, FINISHED, TRIPPED)
TRIGGERS = (
    ACCEPT,
    START,
    PAUSE,
    GO_ON,
    ABANDON,
    CLEAR,
    RECOUNT,
    MAINTENANCE,
    SLOWING,
    RESTED,
    COMPLETED,
    TRIP,
    CLEAR_EMPTY,
    CLEAR_LOADED,
    CLEAR_OVER,
)

# The states in which the drive may pull; in every other it is off, whatever the rest of the session does.
DRIVEN = (WINDING, EASING)

TRANSITIONS = {
    (EMPTY, ACCEPT): LOADED,
    (EMPTY, MAINTENANCE): EMPTY,
    (EMPTY, TRIP): TRIPPED,
    (LOADED, ACCEPT): LOADED,
    (LOADED, START): WINDING,
    (LOADED, ABANDON): FINISHED,
    (LOADED, RECOUNT): WAITING,
    (LOADED, MAINTENANCE): LOADED,
    (LOADED, TRIP): TRIPPED,
    (WINDING, PAUSE): EASING,
    (WINDING, ABANDON): EASING,
    (WINDING, SLOWING): EASING,
    (WINDING, TRIP): TRIPPED,
    (EASING, PAUSE): EASING,
    (EASING, ABANDON): EASING,
    (EASING, RESTED): WAITING,
    (EASING, COMPLETED): FINISHED,
    (EASING, TRIP): TRIPPED,
    (WAITING, PAUSE): WAITING,
    (WAITING, GO_ON): WINDING,
    (WAITING, ABANDON): FINISHED,
    (WAITING, RECOUNT): WAITING,
    (WAITING, MAINTENANCE): WAITING,
    (WAITING, TRIP): TRIPPED,
    (FINISHED, ACCEPT): LOADED,
    (FINISHED, MAINTENANCE): FINISHED,
    (TRIPPED, MAINTENANCE): TRIPPED,
    (TRIPPED, CLEAR): WAITING,
    (TRIPPED, CLEAR_EMPTY): EMPTY,
    (TRIPPED, CLEAR_LOADED): LOADED,
    (TRIPPED, CLEAR_OVER): FINISHED,
}

_NONE = 255
_TABLE = bytearray([_NONE] * (len(STATES) * len(TRIGGERS)))
for (_state, _trigger), _to in TRANSITIONS.items():
    _TABLE[_state * len(TRIGGERS) + _trigger] = _to


def follow(state: int, trigger: int) -> int:
    """The next state, or -1 where the table has no entry. Allocates nothing."""
    to = _TABLE[state * len(TRIGGERS) + trigger]
    return -1 if to == _NONE else to


def accepted_requests(state: int) -> int:
    """Bit mask of the requests that a state takes; bit i is the i-th of STATE_REQUESTS."""
    mask = 0
    for trigger in range(len(STATE_REQUESTS)):
        if (state, trigger) in TRANSITIONS:
            mask |= 1 << trigger
    return mask

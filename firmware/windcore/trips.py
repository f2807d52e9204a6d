"""The protective stops: what each watches for, and when it acts. What a trip does is the session's affair."""

from windlink.codes import (
    BACKWARDS,
    GUARD_OPEN,
    GUARD_SWITCH,
    LATE_LOOP,
    LINK_LOST,
    NO_PULSES,
    OVERSPEED,
    RUN_OUT,
    RUN_OUT_SWITCH,
    RUNS_ON,
    SNAG,
    STOP_BUTTON,
    STOP_PRESSED,
    TENSION_SWITCH,
    TRIP,
)

# The largest value and limit that a message carries.
_MOST_TOLD = 9999999

# A spool is silent at most this long under drive, however slowly it is meant to turn.
_LONGEST_SILENCE_MS = 90000

# A control step this late has not kept watch: ten periods.
LATE_MS = 100

# The reason that each switch stands for, in the order in which they win.
SWITCH_TRIPS = (
    (STOP_BUTTON, STOP_PRESSED),
    (GUARD_SWITCH, GUARD_OPEN),
    (TENSION_SWITCH, SNAG),
    (RUN_OUT_SWITCH, RUN_OUT),
)

# What may stop a spool that turns, and what may stop one at rest: an open guard or an empty pay-off spool
# is in order while the operator ties off a coil.
WHILE_TURNING = STOP_BUTTON | GUARD_SWITCH | TENSION_SWITCH | RUN_OUT_SWITCH
AT_REST = STOP_BUTTON


class Watch:
    """Looks for a reason to trip. Each look returns a reason, or 0; `value` and `limit` say what was seen."""

    def __init__(self) -> None:
        self.value = 0
        self.limit = 0
        self._highest = 0

    def begin(self, count: int) -> None:
        """Start from rest at this count."""
        self._highest = count

    def switches(self, active: int) -> int:
        """The reason of the first of the active switches."""
        for bit, reason in SWITCH_TRIPS:
            if active & bit:
                return self._found(reason, 1, 0)
        return 0

    def loop(self, step_ms: int) -> int:
        """A control step that came too late."""
        if step_ms > LATE_MS:
            return self._found(LATE_LOOP, step_ms, LATE_MS)
        return 0

    def link(self, policy: int, silent_ms: int, limit_ms: int) -> int:
        """A host that fell silent, where the job makes that a trip."""
        if policy == TRIP and silent_ms > limit_ms:
            return self._found(LINK_LOST, silent_ms, limit_ms)
        return 0

    def rate(self, rate: int, highest: int) -> int:
        """A spool that turns too fast; both in hundredths of a pulse per second."""
        if rate > highest:
            return self._found(OVERSPEED, rate, highest)
        return 0

    def direction(self, count: int, allowed: int) -> int:
        """A spool that turns back under drive by more pulses than allowed."""
        if count > self._highest:
            self._highest = count
        if self._highest - count > allowed:
            return self._found(BACKWARDS, count - self._highest, allowed)
        return 0

    def pulses(self, quiet_ms: int, limit_ms: int) -> int:
        """A sensor that is silent under drive."""
        limit_ms = min(limit_ms, _LONGEST_SILENCE_MS)
        if quiet_ms > limit_ms:
            return self._found(NO_PULSES, quiet_ms, limit_ms)
        return 0

    def overrun(self, beyond: int, allowed: int) -> int:
        """A spool that turns on past its stop, drive off and brake on; pulses beyond the stop."""
        if beyond > allowed:
            return self._found(RUNS_ON, beyond, allowed)
        return 0

    def _found(self, reason: int, value: int, limit: int) -> int:
        # a message has room for no more
        self.value = max(-_MOST_TOLD, min(_MOST_TOLD, value))
        self.limit = min(_MOST_TOLD, limit)
        return reason

"""The protective stops: what each watches for, and when it acts. What a trip does is the session's affair."""

from windcore.plausibility import Plausibility
from windcore.steps import StepCheck
from windcore.ticks import LEASE_MS
from windcore.wheel import WheelCheck
from windlink.codes import (
    BACKWARDS,
    BAD_SENSOR,
    GUARD_OPEN,
    GUARD_SWITCH,
    HAND,
    LATE_LOOP,
    LINK_LOST,
    LOST_STEPS,
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

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job
    from windcore.motion import Motion
    from windcore.signals import Inputs
    from windcore.speed import Speedometer

# The largest value and limit that a message carries.
_MOST_TOLD = 9999999

# A spool is silent at most this long under drive, however slowly it is meant to turn.
LONGEST_SILENCE_MS = 90000

# A control step this late has not kept watch. The board takes the drive away then or soon after, and tells.
LATE_MS = LEASE_MS

# A motion begins after a pass that may have written flash, and a drive that was off has lost nothing by it. The lease's
# timer makes up for the looks that it missed, all at once and maybe in the pass after that.
_BEGINNING_PASSES = 2

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

    def __init__(self, speedometer: "Speedometer", motion: "Motion") -> None:
        self._speedometer = speedometer
        self._motion = motion
        self.value = 0
        self.limit = 0
        self._highest = 0
        self._wheel_pulses = 0
        self._lapses = 0
        self._lapsed = False
        self._begins = 0  # passes
        self.plausibility = Plausibility()
        self.wheel = WheelCheck()
        self.steps = StepCheck()

    def prepare(self, job: "Job") -> None:
        """Take a job, which the motion has taken before."""
        self._job = job
        self.steps.prepare(job, self._motion.grain)
        self.plausibility.prepare(job)
        self.wheel.prepare(job)

    def begin(self, count: int) -> None:
        """Start from rest at this count."""
        self._highest = count
        self._begins = _BEGINNING_PASSES
        self.steps.begin(count)
        self.wheel.begin(count, self._wheel_pulses)

    def take(self, inputs: "Inputs", step_ms: int) -> None:
        """Take what was read, in every step and state, before any look."""
        self.plausibility.take(inputs, step_ms)
        self._wheel_pulses = inputs.wheel_pulses
        self._lapsed = inputs.lapses != self._lapses and not self._begins
        self._lapses = inputs.lapses
        if self._begins:
            self._begins -= 1

    def resting(self, switches: int) -> int:
        """The first reason to trip with a job in hand and the drive off, or 0. switches: those that are fitted."""
        return self.switches(switches & AT_REST) or self.sensor(True)

    def turning(self, switches: int, count: int, layer: int, silent_ms: int, step_ms: int) -> int:
        """The first reason for which a spool that should turn may not, or 0. switches: those that are fitted."""
        job = self._job
        by_hand = job.drive == HAND
        reason = self.switches(switches & WHILE_TURNING)
        if not reason and not by_hand:
            reason = self.loop(step_ms)
        reason = reason or self.sensor(by_hand)
        if not reason and not self._motion.arrived:
            reason = self.strand(count, layer)
        if reason or by_hand:
            # a hand on the crank is no drive: its speed and its rests are the operator's own
            return reason
        return self._driven(count, step_ms) or self.link(job.link_loss, silent_ms, job.link_loss_ms)

    def _driven(self, count: int, step_ms: int) -> int:
        job = self._job
        motion = self._motion
        speedometer = self._speedometer
        proven = min(_MOST_TOLD, speedometer.proven * 100 // motion.grain)
        reason = self.rate(proven, job.highest_rate)
        if not reason and job.channels == 2:
            reason = self.direction(count, job.backwards_pulses)
        if reason:
            return reason
        if motion.arrived:
            return self.overrun(count - motion.halt, job.overrun_pulses)
        if self.steps.lost(count, motion.steps_turn, step_ms):
            return self._found(LOST_STEPS, self.steps.lag, job.lag_pulses)
        return self.pulses(speedometer.quiet_ms, job.no_pulses_ms + 4 * motion.pulse_ms())

    def switches(self, active: int) -> int:
        """The reason of the first of the active switches."""
        for bit, reason in SWITCH_TRIPS:
            if active & bit:
                return self._found(reason, 1, 0)
        return 0

    def loop(self, step_ms: int) -> int:
        """A control step that came too late: by the clock, or by the board, which took the drive away before."""
        if step_ms >= LATE_MS:
            return self._found(LATE_LOOP, step_ms, LATE_MS)
        return self._found(LATE_LOOP, step_ms, 0) if self._lapsed else 0

    def sensor(self, by_hand: bool) -> int:
        """Counts that no shaft can have made."""
        if self.plausibility.impossible(by_hand):
            return self._found(BAD_SENSOR, self.plausibility.value, self.plausibility.limit)
        return 0

    def strand(self, count: int, layer: int) -> int:
        """A measuring wheel that disagrees with the shaft."""
        reason = self.wheel.look(count, self._wheel_pulses, layer)
        if reason:
            return self._found(reason, self.wheel.seen, self.wheel.expected)
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
        limit_ms = min(limit_ms, LONGEST_SILENCE_MS)
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

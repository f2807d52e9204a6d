"""The session: one job from acceptance to rest. Decides; touches nothing.

`step` is a pure function of its arguments and the session's own state: no clock, no input or output, no
allocation. Requests come in between steps and are answered with 0 or a refusal of the link.
"""

from windcore import events as happened
from windcore import transitions
from windcore.events import Events
from windcore.job import Job
from windcore.motion import Motion
from windcore.signals import LAMP_OFF, Inputs, Outputs, counted
from windcore.speed import Speedometer
from windcore.standstill import Standstill
from windcore.tally import Tally
from windcore.targets import END, Targets
from windcore.ticks import ticks_diff
from windcore.transitions import DRIVEN, follow
from windcore.trips import AT_REST, WHILE_TURNING, Watch
from windlink import codes
from windlink.codes import EASING, EMPTY, FINISHED, LOADED, TRIPPED, WAITING, WINDING

# Settling at rest: turning the spool by this many pulses with the drive off is worth an event.
_REST_SLACK_PULSES = 1
_MOVING_TURNS = 8  # and while it does not come to rest, so many overruns are worth another

# The most that a message can carry: of a rate in hundredths of a pulse per second, and of a layer.
_FASTEST_TOLD = 9999999
_DEEPEST_TOLD = 999
_MASK = (1 << 30) - 1  # of a counter

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.journal import Past

_NO_JOB = Job(
    0, "", [3, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 300, 1000, 1, 0, 5000, 0, 0, 0, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0]
)


class Session:
    """The state of a winder. `restart_cause` is one of the link's causes: a restart that nobody asked for trips.

    past: the job that the board remembers from before, whose count goes on with what the spool turns since; a restart
    in the middle of it trips whatever its cause. poised: a motion has begun and nothing has turned yet.
    """

    def __init__(self, restart_cause: int = codes.POWER_ON, past: "Past | None" = None) -> None:
        self.events = Events()
        self.tally = Tally()
        self.targets = Targets()
        self.speedometer = Speedometer()
        self.standstill = Standstill()
        self.motion = Motion(self.speedometer)
        self.watch = Watch(self.speedometer, self.motion)
        self.job = _NO_JOB
        self.state = EMPTY
        self.count = 0
        self.rate = 0  # hundredths of a pulse per second
        self.duty = 0
        self.wait = 0  # event that began the present wait
        self.trip_reason = 0  # of the trip that holds the winder
        self.last_trip_reason = 0  # of the trip that the following figures belong to
        self.trip_value = 0
        self.trip_limit = 0
        self.trip_count = 0
        self.trip_ms = 0
        self.longest_step_ms = 0
        self.past = past
        self.poised = False
        self.inputs = Inputs()  # what was read last
        self._outcome = codes.REACHED
        self._begun = False
        self._owes_count = False  # whether the loaded job had begun before a restart
        self._go_released = False  # whether the go button was seen released in the present state
        self._layers_told = 0
        self._zero = 0
        self._pulses = 0
        self._switches = 0
        self._rest_count = 0
        self._now_ms = 0
        self._started = False
        if restart_cause not in (codes.POWER_ON, codes.COMMANDED) or (past is not None and past.under_way):
            # it may have restarted while the spool turned
            self.standstill.doubt()
            self._trip(codes.RESTARTED, restart_cause, 0)

    # --- for whoever keeps it over a restart ---------------------------------------------------------------

    @property
    def begun(self) -> bool:
        """Whether the job has begun."""
        return self._begun

    @property
    def outcome(self) -> int:
        """How the job ended; 0 while it has not."""
        return self._outcome if self.state == FINISHED else 0

    def skip_to(self, now_ms: int) -> None:
        """The loop stood still on purpose until now, and so did the spool: that was no late step."""
        self.watch.plausibility.skip(ticks_diff(now_ms, self._now_ms))
        self._now_ms = now_ms
        if self.poised:
            self.speedometer.reset(self.count, now_ms)

    # --- requests, between steps -------------------------------------------------------------------------

    def accept(self, job: Job) -> int:
        """Take a checked job. 0, or a refusal."""
        if not self._go(transitions.ACCEPT):
            return codes.WRONG_STATE
        self.job = job
        self.tally.begin(job.layer_numerator, job.layer_denominator, job.first_numerator)
        self.targets.begin(job.target_pulses, job.stops)
        self.motion.prepare(job)
        self.watch.prepare(job)
        self._zero = self._pulses
        self.count = 0
        self._layers_told = 0
        self.wait = 0
        self._outcome = codes.REACHED
        self._begun = False
        self.standstill.prepare(job)
        past = self.past
        self._owes_count = past is not None and past.under_way and past.job_id == job.job_id
        return 0

    def start(self) -> int:
        """Begin the loaded job at count zero. 0, or a refusal."""
        if self.state == LOADED:
            if self._owes_count:
                return codes.COUNT_OWED
            if self.held_switches():
                return codes.SWITCH_ACTIVE
            if not self.standstill.proven:
                return codes.STILL_TURNS
            self._zero = self._pulses
            self.count = 0
        return self._begin(transitions.START)

    def go_on(self, wait: int) -> int:
        """End the wait that this event began. 0, or a refusal."""
        if self.state == WAITING:
            if wait != self.wait:
                return codes.STALE
            if self.held_switches():
                return codes.SWITCH_ACTIVE
            if not self.standstill.proven:
                return codes.STILL_TURNS
        return self._begin(transitions.GO_ON)

    def recount(self, count: int) -> int:
        """Take the count at which the spool stands; the job then waits. 0, or a refusal."""
        if follow(self.state, transitions.RECOUNT) < 0:
            return codes.WRONG_STATE
        if not self.standstill.proven:
            return codes.STILL_TURNS
        if (count - _MOVING_TURNS * self.job.overrun_pulses) // 2 > self.job.target_pulses:
            # no strand was wound so far beyond the target
            return codes.BAD_FIELDS
        self._go(transitions.RECOUNT)
        self._zero = self._pulses - count & _MASK
        self.count = count
        self.tally.update(count)
        self._layers_told = min(self.tally.done, _DEEPEST_TOLD)
        self.speedometer.reset(count, self._now_ms)
        self._take_over()
        self.events.add(happened.STOPPED, self._now_ms, codes.STOP_AT_RECOUNT, self.layer(), count)
        self.wait = self.events.newest
        self._rest_count = count
        return 0

    def pause(self) -> int:
        """Ease to rest. 0, or a refusal."""
        turning = self.state == WINDING
        if not self._go(transitions.PAUSE):
            return codes.WRONG_STATE
        if turning:
            self.motion.ease(self.count, codes.STOP_BY_PAUSE)
        return 0

    def abandon(self) -> int:
        """Ease to rest and end the job. 0, or a refusal."""
        turning = self.state == WINDING
        if not self._go(transitions.ABANDON):
            return codes.WRONG_STATE
        self._outcome = codes.ABANDONED
        if turning:
            self.motion.ease(self.count, codes.STOP_BY_PAUSE)
        elif self.state != EASING:
            self._end()
        return 0

    def clear(self, reason: int) -> int:
        """Clear a trip. 0, or a refusal."""
        if self.state != TRIPPED:
            return codes.WRONG_STATE
        if reason != self.trip_reason:
            return codes.STALE
        if self._switches & AT_REST:
            return codes.SWITCH_ACTIVE
        if self._begun and not self.standstill.proven:
            return codes.STILL_TURNS
        self.trip_reason = 0
        self._rest_count = self.count
        self.events.add(happened.CLEARED, self._now_ms, reason, self.count)
        self.wait = self.events.newest
        if self.job is _NO_JOB:
            self._go(transitions.CLEAR_EMPTY)
        elif not self._begun:
            self._go(transitions.CLEAR_LOADED)
        elif self._outcome == codes.ABANDONED:
            self._go(transitions.CLEAR_OVER)
            self._end()
        else:
            self._go(transitions.CLEAR)
        return 0

    def maintenance(self) -> int:
        """Whether the board may restart for an upload: 0, or a refusal. Changes nothing."""
        if follow(self.state, transitions.MAINTENANCE) < 0:
            return codes.WRONG_STATE
        # a trip may be there because the sensor cannot be trusted
        stands = self.standstill.certain if self.state == TRIPPED else self.standstill.proven
        return 0 if stands else codes.STILL_TURNS

    def layer(self) -> int:
        """The layer that the count is in, from 1; 0 without a job."""
        return min(self.tally.layer, _DEEPEST_TOLD) if self.job.job_id else 0

    def held_switches(self) -> int:
        """The switches that keep the spool from being started."""
        return self._switches & WHILE_TURNING

    # --- the control step --------------------------------------------------------------------------------

    def step(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        """Take what was read at now_ms (the clock that wraps at 2^30) and fill in what to do."""
        if self._started:
            step_ms = ticks_diff(now_ms, self._now_ms)
        else:
            # the counter begins wherever it likes
            self._started = True
            self._zero = inputs.pulses
            step_ms = 0
        self._now_ms = now_ms
        if step_ms > self.longest_step_ms:
            self.longest_step_ms = step_ms
        self.inputs = inputs
        self._pulses = inputs.pulses
        turned = self.standstill.update(inputs.pulses, step_ms)
        if turned and self.past is not None:
            self.past.count += turned
        self.watch.take(inputs, step_ms)
        self._switches = inputs.switches & self.job.fitted
        outputs.off()
        outputs.lamp = LAMP_OFF
        outputs.buzzer = 0
        if self.state in DRIVEN:
            self.poised = False
            self._count_turns()
            reason = self.watch.turning(self._switches, self.count, self.tally.layer, inputs.silent_ms, step_ms)
            if reason:
                self._trip(reason, self.watch.value, self.watch.limit)
            else:
                self._move(inputs, outputs, step_ms)
        elif self.state == LOADED or self.state == WAITING:
            self._rest()
            reason = self.watch.resting(self._switches)
            if reason:
                self._trip(reason, self.watch.value, self.watch.limit)
            else:
                self._look_at_go_button()
        else:
            self._rest()
        self.duty = 1000 if outputs.step_rate else outputs.duty
        if self.duty:
            self.standstill.doubt()

    # --- within -------------------------------------------------------------------------------------------

    def _go(self, trigger: int) -> bool:
        to = follow(self.state, trigger)
        if to < 0:
            return False
        self.state = to
        self._go_released = False
        return True

    def _take_over(self) -> None:
        """The present job has begun, and takes the place of the one before."""
        self._begun = True
        self._owes_count = False
        self.past = None

    def _begin(self, trigger: int) -> int:
        if self.held_switches() or not self._go(trigger):
            return codes.WRONG_STATE
        self.targets.pass_to(self.count)
        marked = self.targets.kind == codes.MARK_STOP
        self.motion.begin(self.targets.pulses, codes.STOP_AT_MARK if marked else codes.STOP_AT_LAYER)
        self._take_over()
        self.poised = True
        self.speedometer.reset(self.count, self._now_ms)
        self.watch.begin(self.count)
        self.events.add(happened.BEGAN, self._now_ms, self.job.job_id, self.count)
        return 0

    def _look_at_go_button(self) -> None:
        """A press counts from released to pressed within one state: a button that is held, or stuck, does nothing."""
        if not self._switches & codes.GO_BUTTON:
            self._go_released = True
        elif self._go_released:
            self._go_released = False
            if self.state == LOADED:
                self.start()
            else:
                self.go_on(self.wait)

    def _count_turns(self) -> None:
        self.count = counted(self._pulses, self._zero)
        self.tally.update(self.count)
        while self._layers_told < min(self.tally.done, _DEEPEST_TOLD):
            self._layers_told += 1
            self.events.add(happened.LAYER_DONE, self._now_ms, self._layers_told, self.count)
        self._measure()

    def _measure(self) -> None:
        grains = self.speedometer.update(self.count, self._now_ms)
        self.rate = max(-_FASTEST_TOLD, min(_FASTEST_TOLD, grains * 100 // self.motion.grain))
        if self.speedometer.quiet_ms >= self.job.standstill_ms:
            self.rate = 0

    def _move(self, inputs: Inputs, outputs: Outputs, step_ms: int) -> None:
        job = self.job
        motion = self.motion
        if self.state == WINDING and job.link_loss == codes.PAUSE and inputs.silent_ms > job.link_loss_ms:
            self._go(transitions.PAUSE)
            motion.ease(self.count, codes.STOP_BY_LINK_LOSS)
        motion.advance(self.count, self.tally.layer, outputs, step_ms)
        if self.state == WINDING and motion.slows():
            self._go(transitions.SLOWING)
        if motion.arrived and self.standstill.proven:
            self._come_to_rest(outputs)

    def _come_to_rest(self, outputs: Outputs) -> None:
        outputs.off()
        self.rate = 0
        self.motion.rested(self.count)
        # a spool without a ratchet is drawn back a little once it is let go; the stop was reached all the same
        reached = max(self.count, self.motion.halt)
        self.targets.pass_to(reached)
        at_target = self.targets.kind == END and reached >= self.targets.target
        if at_target:
            self._outcome = codes.REACHED  # though it may have been abandoned on its last turns
        if at_target or self._outcome == codes.ABANDONED:
            self._go(transitions.COMPLETED)
            self._end()
            return
        self._go(transitions.RESTED)
        self.events.add(happened.STOPPED, self._now_ms, self.motion.stop_reason, self.layer(), self.count)
        self.wait = self.events.newest
        self._rest_count = self.count

    def _end(self) -> None:
        self.events.add(happened.ENDED, self._now_ms, self._outcome, self.count)
        self._rest_count = self.count

    def _rest(self) -> None:
        """Keep counting with the drive off: a spool that is turned by hand, or pulled back, is told."""
        if self.state == LOADED or self.job is _NO_JOB:
            return
        self.count = counted(self._pulses, self._zero)
        self.tally.update(self.count)
        self._measure()
        moved = abs(self.count - self._rest_count)
        quiet = self.speedometer.quiet_ms >= self.job.standstill_ms
        # told once it rests, and on the way too when it does not
        if moved > _MOVING_TURNS * self.job.overrun_pulses or (moved > _REST_SLACK_PULSES and quiet):
            self._rest_count = self.count
            self.events.add(happened.MOVED_AT_REST, self._now_ms, self.count)

    def _trip(self, reason: int, value: int, limit: int) -> None:
        self._go(transitions.TRIP)
        self.trip_reason = reason
        self.last_trip_reason = reason
        self.trip_value = value
        self.trip_limit = limit
        self.trip_count = self.count
        self.trip_ms = self._now_ms
        self._rest_count = self.count
        self.events.add(happened.TRIPPED, self._now_ms, reason, value, self.count)

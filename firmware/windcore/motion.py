"""One motion, from rest to the next stop: the drive on its ramp, or a hand told by the lamp."""

from windcore.brake import Brake
from windcore.line import LineSpeed
from windcore.ramp import Ramp, grain_for
from windcore.signals import LAMP_NEARLY, LAMP_SLOWER, LAMP_STOP, LAMP_WIND, Outputs
from windcore.speed import SpeedLoop, Speedometer
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.job import Job

# Scale of steps per grain, as a power of two: fine enough for a coarse stepper, and its products stay below 2^30.
_STEP_SCALE = 14


class Motion:
    """Where the present motion stops, and how to get there.

    halt: the count at which it stops. stop_reason: why there, one of the link's stops. arrived: whether the count
    has reached the halt; the drive is off from then on. steps_turn: the rate that a stepper's present steps make,
    in grains a second.
    """

    def __init__(self, speedometer: Speedometer) -> None:
        self._speedometer = speedometer
        self.ramp = Ramp()
        self.speed_loop = SpeedLoop()
        self.line = LineSpeed()
        self.brake = Brake()
        self._duty = 0
        self.halt = 0
        self.stop_reason = codes.STOP_AT_LAYER
        self.arrived = False
        self.grain = 1
        self._step_gain = 0
        self.steps_turn = 0

    def prepare(self, job: "Job") -> None:
        """Take a job."""
        grain = grain_for(job.full_rate)
        self._job = job
        self.grain = grain
        self.ramp.prepare(job.cruise_rate, job.creep_rate, job.acceleration, job.deceleration, job.creep_pulses, grain)
        self.line.prepare(job, self.ramp.fastest)
        self.brake.prepare(job.full_rate * grain // 100, 2 * job.creep_rate * grain // 100)
        self.speed_loop.prepare(job.full_rate * grain // 100, grain)
        self._speedometer.prepare(grain)
        self._step_gain = (job.step_numerator << _STEP_SCALE) // (job.step_denominator * grain)

    def begin(self, halt: int, stop_reason: int) -> None:
        """Head from rest for a stop."""
        self.halt = halt
        self.stop_reason = stop_reason
        self.arrived = False
        self.ramp.reset()
        self.speed_loop.reset()
        self.line.begin()
        self.steps_turn = 0
        self.brake.begin()
        self.ramp.brakes_in(self.brake.lag_ms)
        self._duty = 0

    def ease(self, count: int, reason: int) -> None:
        """Bring the stop forward to where the ramp can end; a planned stop before that stays the stop."""
        if self._job.drive == codes.HAND:
            halt = count
        else:
            halt = count + self.ramp.stopping_pulses(self._speedometer.rate)
        if halt < self.halt:
            self.halt = halt
            self.stop_reason = reason

    def advance(self, count: int, layer: int, outputs: Outputs, step_ms: int) -> None:
        """Fill in what turns the spool for the next step, in this layer; outputs come in with the drive off."""
        if count >= self.halt:
            self.arrived = True
        if self._job.drive == codes.HAND:
            self._guide_hand(count, layer, outputs)
        else:
            self.ramp.cruise_at(self.line.cruise(layer))
            self._drive(count, outputs, step_ms)

    def rested(self, count: int) -> None:
        """The spool stands at this count: what it ran over its stop teaches the next one."""
        if count - self.halt > 1:
            self.brake.ran_over(self.ramp.lag_at_creep_ms)

    def slows(self) -> bool:
        """Whether the way from here is only down to the stop."""
        return self.arrived or self.ramp.slowing

    def pulse_ms(self) -> int:
        """Milliseconds from pulse to pulse at the rate that is asked for now."""
        return 1000 * self.grain // max(1, self.ramp.rate)

    def _drive(self, count: int, outputs: Outputs, step_ms: int) -> None:
        measured = self._speedometer.rate
        if self.arrived:
            outputs.brake = 1
            self.ramp.advance(0, 0, step_ms)
            return
        wanted = self.ramp.advance(self.halt - count, measured, step_ms)
        if self._job.drive == codes.STEPPER:
            outputs.step_rate = wanted * self._step_gain >> _STEP_SCALE
            # of whole steps: at most MOST_STEPS_S of them, so that this stays below 2^30 too
            self.steps_turn = (outputs.step_rate << _STEP_SCALE) // max(1, self._step_gain)
        else:
            if not self.ramp.slowing and measured < self.ramp.cruise:
                self.brake.rising(self._duty, measured, step_ms)
                self.ramp.brakes_in(self.brake.lag_ms)
            self._duty = outputs.duty = self.speed_loop.advance(wanted, measured, step_ms)

    def _guide_hand(self, count: int, layer: int, outputs: Outputs) -> None:
        if self.arrived:
            outputs.lamp = LAMP_STOP
            outputs.buzzer = 1
            return
        outputs.lamp = LAMP_WIND
        # pulses that pass in the lead time at the present rate, scaled so that the product stays small
        speedometer = self._speedometer
        rate = max(0, speedometer.rate) * 100 // self.grain
        ahead = rate // 100 * (self._job.lead_ms // 10) // 100 + 1
        remaining = self.halt - count
        if 3 * remaining <= ahead:
            outputs.lamp = LAMP_NEARLY
        elif remaining <= ahead or self.line.too_fast(min(speedometer.rate, speedometer.proven), layer):
            outputs.lamp = LAMP_SLOWER

"""A session on an ideal motor that turns exactly as its duty says. Runs on both interpreters.

It is for the session's logic; what real motors and spools do is the plant's affair.
"""

from windcore.job import Job
from windcore.session import Session
from windcore.signals import LAMP_NEARLY, LAMP_SLOWER, LAMP_WIND, Inputs, Outputs
from windlink import codes
from windlink.job import JOB_FIELDS, JOB_FORMAT, first_fault, job_crc

LOOP_MS = 10
WRAP = 1 << 30
COUNTER_START = WRAP - 300

# 34.8 turns a layer, 20 pulses a turn, two layers and a bit, 120 turns a minute
DEFAULTS = {
    "job_format": JOB_FORMAT,
    "drive": codes.DC,
    "channels": 1,
    "layer_numerator": 696,
    "layer_denominator": 1,
    "first_numerator": 696,
    "target_pulses": 1500,
    "cruise_rate": 4000,
    "creep_rate": 400,
    "full_rate": 6000,
    "highest_rate": 5500,
    "acceleration": 4000,
    "creep_pulses": 4,
    "standstill_ms": 200,
    "no_pulses_ms": 500,
    "backwards_pulses": 10,
    "link_loss": codes.WIND_ON,
    "link_loss_ms": 1000,
    "fitted": 31,
    "lead_ms": 2000,
    "step_numerator": 160,
    "step_denominator": 1,
    "overrun_pulses": 20,
    "deceleration": 4000,
    "slip_window_pulses": 0,
    "wheel_first": 0,
    "wheel_rise": 0,
    "slip_permille": 0,
    "slip_slack": 0,
    "line_turn": 0,
    "line_first": 0,
    "line_rise": 0,
    "lag_pulses": 4,
}


def job_list(stops=((696, codes.LAYER_STOP), (1000, codes.MARK_STOP)), **changes):
    """A job's values: the defaults with changes, and its stops."""
    values = [changes.get(field.name, DEFAULTS[field.name]) for field in JOB_FIELDS]
    for pulses, kind in stops:
        values += [pulses, kind]
    assert first_fault(values) < 0, first_fault(values)
    return values


class Rig:
    """Session, signals and motor. The clock starts 300 ms before its wrap, the counter 300 pulses before its own."""

    def __init__(self, cause=codes.POWER_ON, past=None):
        self.session = Session(cause, past)
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.now_ms = WRAP - 300
        self.turned = 0.0  # pulses, exact
        self.stuck = False
        self.forced = None  # pulses a second, whatever the drive says
        self.steps_share = 1.0  # of a stepper's steps that its shaft makes
        self.strand = 0.0  # sixteenths of a wheel pulse
        self.strand_share = 1.0  # of what the turns should draw

    def accept(self, **changes):
        """Load a job."""
        values = job_list(**changes)
        refusal = self.session.accept(Job(77, job_crc(values), values))
        assert refusal == 0, refusal

    def step(self, count=1):
        """Run control steps; the motor obeys the outputs of the step before."""
        for _ in range(count):
            job = self.session.job
            rate = job.full_rate / 100 * self.outputs.duty / 1000
            if self.outputs.step_rate:
                rate = self.outputs.step_rate * job.step_denominator / job.step_numerator * self.steps_share
            if job.drive == codes.HAND:
                rate = 30.0 if self.outputs.lamp in (LAMP_WIND, LAMP_SLOWER, LAMP_NEARLY) else 0.0
            if self.forced is not None:
                rate = self.forced
            if not self.stuck:
                self.turned += rate * LOOP_MS / 1000
                self._draw(rate * LOOP_MS / 1000)
            self.now_ms = (self.now_ms + LOOP_MS) % WRAP
            self.inputs.pulses = (int(self.turned // 1) + COUNTER_START) % WRAP
            self.session.step(self.inputs, self.outputs, self.now_ms)

    def _draw(self, pulses):
        """The strand that turns the measuring wheel."""
        job = self.session.job
        if job.slip_window_pulses:
            layer = job.wheel_first + job.wheel_rise * (self.session.tally.layer - 1)
            self.strand += pulses * layer / job.slip_window_pulses * self.strand_share
            self.inputs.wheel_pulses = int(self.strand // 16)

    def until(self, state, most=20000):
        """Run until the session is in a state."""
        for _ in range(most):
            if self.session.state == state:
                return
            self.step()
        raise AssertionError("state %d not reached, still %d" % (state, self.session.state))

    def verbs(self):
        """The verbs of all events kept."""
        events = self.session.events
        return [events.verb(number) for number in range(events.acknowledged + 1, events.newest + 1)]

    def last_event(self):
        """Verb and values of the newest event."""
        events = self.session.events
        return events.verb(events.newest), [events.value(events.newest, index) for index in range(1, 4)]


def in_state(state, **changes):
    """A rig whose session is in a state, reached as a winder reaches it."""
    rig = Rig()
    rig.step(3)
    if state == codes.EMPTY:
        return rig
    rig.accept(**changes)
    rig.step()
    if state == codes.LOADED:
        return rig
    rig.session.start()
    rig.step(20)
    if state == codes.TRIPPED:
        rig.inputs.switches = codes.STOP_BUTTON
        rig.step()
        rig.inputs.switches = 0
        rig.step(30)  # until it stands
    elif state == codes.FINISHED:
        rig.session.abandon()
    elif state == codes.EASING:
        rig.session.pause()
    if state != codes.WINDING:
        rig.until(state)
    return rig

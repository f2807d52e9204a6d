"""Walks the real session through every situation that it can come into. Runs on both interpreters.

A situation is a state with all that decides what may follow from it, but for exact counts and times. From each one
that is found, every request is made and every combination of inputs is read for one step; what comes of it is a
situation again, and the walk ends when there is no new one. Trips that need a long time are led to first.

Arguments: drive, answer to a silent host, and of how many combinations of inputs to read one (1 for all).
"""

import sys

from rig import WRAP, job_list

from windcore import transitions
from windcore.job import Job
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windlink import codes
from windlink.job import job_crc

# Stops every four pulses, so that each is within reach of a step, which may bring six pulses and three. A pulse of the
# shaft is a pulse of the wheel, and three may be missing.
JOB = {
    "layer_numerator": 4,
    "first_numerator": 4,
    "target_pulses": 12,
    "stops": ((4, codes.LAYER_STOP), (8, codes.MARK_STOP)),
    "cruise_rate": 500,
    "creep_rate": 500,
    "full_rate": 15000,
    "highest_rate": 600,
    "acceleration": 100000,
    "deceleration": 100000,
    "creep_pulses": 1,
    "standstill_ms": 50,
    "no_pulses_ms": 1000,
    "backwards_pulses": 2,
    "overrun_pulses": 2,
    "link_loss_ms": 500,
    "slip_window_pulses": 4,
    "wheel_first": 64,
    "slip_slack": 3,
    "lag_pulses": 1,
}

MOVES = (0, 1, 4, -1, -4, 100)
STEPS_MS = (10, 40, 60)  # in time, late, and too late
SILENCES_MS = (0, 600)
ILLEGAL = (0, 4)
STRAND = (0, -9, 9)  # wheel pulses more than the turns explain
ALL_SWITCHES = 32
COMBINATIONS = ALL_SWITCHES * len(MOVES) * len(STEPS_MS) * len(SILENCES_MS) * len(ILLEGAL) * len(STRAND)
ORDINARY = len(MOVES) * len(STEPS_MS)  # combinations of these with no fault, no silence
GO_PRESSED = COMBINATIONS // ALL_SWITCHES * codes.GO_BUTTON  # the first with that button alone


def combination(number):
    """One of all combinations of inputs."""
    values = []
    for choices in (MOVES, STEPS_MS, SILENCES_MS, ILLEGAL, STRAND):
        values.append(choices[number % len(choices)])
        number //= len(choices)
    values.insert(0, number)
    return values


ONE_PULSE = (0, 1, 10, 0, 0, 0)
FOUR_PULSES = (0, 4, 10, 0, 0, 0)
SILENCE = (0, 0, 40, 0, 0, 0)
# A spool that stalls; one that makes four pulses in the time of three, half a second after its first; and one that
# makes a pulse in the time of three.
LEADS = (
    [ONE_PULSE] + [SILENCE] * 50,
    [ONE_PULSE] + [SILENCE] * 13 + [FOUR_PULSES],
    [ONE_PULSE] + [SILENCE] * 15 + [ONE_PULSE],
)

REQUESTS = (
    "accept",
    "start",
    "pause",
    "go_on",
    "stale go_on",
    "abandon",
    "clear",
    "stale clear",
    "recount",
    "maintenance",
    "acknowledge",
)

STATES_AFTER_A_STEP = {
    codes.EMPTY: (codes.EMPTY,),
    codes.LOADED: (codes.LOADED, codes.WINDING, codes.TRIPPED),
    codes.WINDING: (codes.WINDING, codes.EASING, codes.WAITING, codes.FINISHED, codes.TRIPPED),
    codes.EASING: (codes.EASING, codes.WAITING, codes.FINISHED, codes.TRIPPED),
    codes.WAITING: (codes.WAITING, codes.WINDING, codes.TRIPPED),
    codes.FINISHED: (codes.FINISHED,),
    codes.TRIPPED: (codes.TRIPPED,),
}


class Walk:
    """The session, its inputs, and the situations found."""

    def __init__(self, drive, link_loss, share):
        values = job_list(drive=drive, link_loss=link_loss, channels=1 if drive == codes.HAND else 2, **JOB)
        self.job = Job(77, job_crc(values), values)
        self.share = share
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.found = {}
        self.edges = {}
        self.waiting = []
        self.steps = 0
        self.requests = 0

    def take(self, session):
        """Hold a session that has just started."""
        self.session = session
        # what only a job gives a part, so that a situation can be restored into any session
        session.targets.begin(self.job.target_pulses, self.job.stops)
        session.motion.prepare(self.job)
        session.standstill.prepare(self.job)
        session.watch.prepare(self.job)
        motion = session.motion
        watch = session.watch
        self.parts = (
            self.inputs,
            session,
            session.events,
            session.tally,
            session.targets,
            session.speedometer,
            session.standstill,
            motion,
            motion.ramp,
            motion.speed_loop,
            motion.line,
            motion.brake,
            watch,
            watch.steps,
            watch.plausibility,
            watch.wheel,
        )
        self.kept = list(self.names())
        self.now_ms = WRAP - 300
        self.step((0, 0, 10, 0, 0, 0))
        return self.note(None)

    def lead(self, inputs):
        """From the start through these inputs, noting what is met."""
        key = self.take(Session())
        for request in ("accept", "start"):
            self.ask(request)
            key = self.note(key)
        for read in inputs:
            self.step(read)
            key = self.note(key)

    def walk(self):
        """Leave every situation that is known, and all that are found."""
        while self.waiting:
            self.leave(self.waiting.pop())

    def situation(self):
        """What decides what may follow, as a tuple."""
        session = self.session
        state = session.state
        quiet = session.speedometer.quiet_ms
        held = (session._switches & codes.STOP_BUTTON != 0, session.held_switches() != 0)
        if state == codes.EMPTY:
            return (state,)
        if state == codes.TRIPPED:
            stands = session.standstill.proven
            return (state, session.trip_reason, session._begun, session._outcome, stands, held[0], session.job.job_id)
        if state in (codes.LOADED, codes.WAITING):
            return (state, held, session.standstill.proven, session._go_released, session.targets.kind)
        if state == codes.FINISHED:
            return (state, session._outcome)
        motion = session.motion
        remaining = max(0, min(2, motion.halt - session.count))
        return (
            state,
            motion.arrived,
            session._outcome,
            motion.stop_reason,
            remaining,
            min(3, quiet // 50),
            session.standstill.proven,
        )

    def names(self):
        """The numbers, flags and jobs that the parts hold; which parts there are stays."""
        for part in self.parts:
            for name in sorted(part.__dict__):
                if isinstance(getattr(part, name), (int, bool, Job)):
                    yield part, name

    def save(self):
        return [self.now_ms] + [getattr(part, name) for part, name in self.kept]

    def restore(self, saved):
        self.now_ms = saved[0]
        for (part, name), value in zip(self.kept, saved[1:]):  # noqa: B905 - MicroPython has no strict
            setattr(part, name, value)

    def note(self, origin):
        """Keep the present situation, and that it follows from another."""
        key = self.situation()
        if key not in self.found:
            self.found[key] = self.save()
            self.edges[key] = set()
            self.waiting.append(key)
        if origin is not None:
            self.edges[origin].add(key)
        return key

    def leave(self, key):
        """Every request and every input, from one situation."""
        saved = self.found[key]
        for request in REQUESTS:
            self.restore(saved)
            self.ask(request)
            self.requests += 1
            self.note(key)
        # a share is drawn evenly, and elsewhere for each situation; what happens most is always read
        for number in range(COMBINATIONS):
            if (number + len(self.found)) % self.share == 0 or number < ORDINARY or 0 <= number - GO_PRESSED < ORDINARY:
                self.restore(saved)
                self.step(combination(number))
                self.note(key)

    def ask(self, request):
        """A request, and what must hold of it."""
        session = self.session
        before = session.state
        reason = session.trip_reason
        fingerprint = self.fingerprint()
        if request == "acknowledge":
            session.events.acknowledge(session.events.newest)
            assert session.state == before
            return
        if request == "accept":
            answer = session.accept(self.job)
        elif request == "go_on" or request == "stale go_on":
            answer = session.go_on(session.wait + (request != "go_on"))
        elif request == "recount":
            answer = session.recount(2)
        elif request == "clear" or request == "stale clear":
            answer = session.clear(reason + (request != "clear"))
        else:
            answer = getattr(session, request)()
        if request == "maintenance" and not answer:
            assert before not in transitions.DRIVEN
            assert session.standstill.proven
            assert self.fingerprint() == fingerprint
        if answer:
            assert self.fingerprint() == fingerprint, (request, before)
        if before == codes.TRIPPED and session.state != codes.TRIPPED:
            assert request == "clear"
            assert session.state not in transitions.DRIVEN
        if session.state == codes.WINDING and before != codes.WINDING:
            assert request in ("start", "go_on"), request
            assert before in (codes.LOADED, codes.WAITING), before
            assert session.standstill.proven

    def fingerprint(self):
        """What a refused request must not change."""
        session = self.session
        halt = session.motion.halt
        return session.state, session.count, session.wait, session.events.newest, session.trip_reason, halt

    def step(self, read):
        """One step, and what must hold of it."""
        switches, move, step_ms, silent_ms, illegal, strand = read
        session, inputs, outputs = self.session, self.inputs, self.outputs
        before = session.state
        reason = session.trip_reason
        ready = session._go_released
        inputs.switches = switches
        inputs.pulses += move
        inputs.wheel_pulses += move + strand
        inputs.silent_ms = silent_ms
        inputs.illegal += illegal
        self.now_ms = (self.now_ms + step_ms) % WRAP
        session.step(inputs, outputs, self.now_ms)
        self.steps += 1
        state = session.state
        assert state in STATES_AFTER_A_STEP[before], (before, state, read)
        if state not in transitions.DRIVEN:
            assert drive_of(outputs) == (0, 0, 0), (before, state, read)
        if self.job.drive == codes.HAND:
            assert drive_of(outputs) == (0, 0, 0)
        if before == codes.TRIPPED:
            assert session.trip_reason == reason
        if state == codes.WINDING and before != codes.WINDING:
            assert ready, read
            assert switches & codes.GO_BUTTON, read
            assert not session.held_switches(), read
        if before in transitions.DRIVEN and state in (codes.WAITING, codes.FINISHED):
            assert session.standstill.proven, read
        if before in transitions.DRIVEN and switches & 15:
            assert state == codes.TRIPPED, read

    def check_ways_out(self):
        """From every situation the winder can be brought to wind again, and to another state."""
        usable = {key for key in self.found if key[0] == codes.WINDING}
        assert usable
        grown = True
        while grown:
            grown = False
            for key, following in self.edges.items():
                if key not in usable and following & usable:
                    usable.add(key)
                    grown = True
        assert len(usable) == len(self.found), [key for key in self.found if key not in usable][:9]
        for state in transitions.STATES:
            onward = [other for key in self.found if key[0] == state for other in self.edges[key] if other[0] != state]
            assert onward, state


def drive_of(outputs):
    """All that can move or brake a motor."""
    return outputs.duty, outputs.step_rate, outputs.brake


def main(drive, link_loss, share):
    walk = Walk(drive, link_loss, share)
    for inputs in LEADS:
        walk.lead(inputs)
    for cause in (codes.POWER_ON, codes.WATCHDOG, codes.SOFT_RESET, codes.POWER_DIP):
        walk.take(Session(cause))
        walk.walk()
    walk.check_ways_out()
    reasons = {key[1] for key in walk.found if key[0] == codes.TRIPPED}
    print(
        "situations: %d, transitions walked: %d by inputs and %d by requests, trips met: %s"
        % (len(walk.found), walk.steps, walk.requests, " ".join([str(reason) for reason in sorted(reasons)]))
    )


main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))

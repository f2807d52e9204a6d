"""Hours of winding in one process, job after job: `soak.py TASK.json HOURS`. Runs on MicroPython and on CPython.

Firmware and machine in the order of the real loop, with a host on the link that asks for the status and acknowledges
events. After each virtual hour one JSON line tells the heap in use after a collection, counted and true pulses of all
jobs, and how often the clock has wrapped; it starts five seconds before its wrap. The machine is new for each job, its
counter goes on. The heap is looked at as the last job of the hour begins, since the simulated machine remembers layers.
"""

import gc
import json
import sys

from plant.winder import Plant
from windcore.job import Job
from windcore.service import Identity, LinkService
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windlink.codec import encode
from windlink.codes import FINISHED, TRIPPED, WAITING
from windlink.job import POSITION, job_crc

STEP_MS = 10
CLOCK_MASK = (1 << 30) - 1
CLOCK_START_MS = (1 << 30) - 5000
SECOND_STEPS = 1000 // STEP_MS
HOUR_STEPS = 3600 * SECOND_STEPS


def heap_bytes():
    """Heap in use; 0 where the interpreter does not tell."""
    gc.collect()
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


class Soak:
    """A winder that never rests for long."""

    def __init__(self, task):
        self.spec = task["spec"]
        self.job = Job(1, job_crc(task["values"]), task["values"])
        self.target = task["values"][POSITION["target_pulses"]]
        self.session = Session()
        self.service = LinkService(self.session, Identity("simulated", 1023, 1, 0, 1))
        self.inputs, self.outputs = Inputs(), Outputs()
        self.now_ms = CLOCK_START_MS
        self.plant = Plant(self.spec, STEP_MS)
        self.counter = 0  # of the jobs that are over
        self.passed = 0
        self.wheel = 0
        self.jobs = 0
        self.wraps = 0
        self.lines = 0
        self.heap_bytes = 0

    def step(self):
        """One period: sensors, control, the previous outputs drive the machine."""
        session, inputs, outputs, plant = self.session, self.inputs, self.outputs, self.plant
        duty, brake, step_rate, lamp = outputs.duty, outputs.brake, outputs.step_rate, outputs.lamp
        inputs.pulses = self.counter + plant.pulses
        inputs.wheel_pulses = self.wheel + plant.wheel_pulses
        inputs.illegal = plant.illegal
        inputs.switches = plant.switches
        inputs.silent_ms = self.service.silent_ms(self.now_ms)
        session.step(inputs, outputs, self.now_ms)
        plant.step(duty, brake, step_rate, lamp)
        line = self.service.outgoing(self.now_ms)
        if line:
            self.service.sent(line, self.now_ms, True)
            self.lines += 1
        following = (self.now_ms + STEP_MS) & CLOCK_MASK
        self.wraps += following < self.now_ms
        self.now_ms = following

    def attend(self, step):
        """What operator and host do."""
        session = self.session
        if step % SECOND_STEPS == 0:
            number = step // SECOND_STEPS % 1000
            line = encode(">", number, "ack", (session.events.newest,)) if number % 2 else encode(">", number, "status")
            self.service.feed(line, len(line), self.now_ms)
        if session.state == WAITING:
            session.go_on(session.wait)
        elif session.state == TRIPPED:
            raise AssertionError("tripped", session.trip_reason, session.trip_value)
        elif session.state == FINISHED or not session.job.job_id:
            if session.job.job_id:
                self.end_job()
            refusal = session.accept(self.job) or session.start()
            assert refusal == 0, refusal

    def end_job(self):
        """The wind is over: a new spool is put on."""
        plant = self.plant
        assert self.session.count == plant.pulses, (self.session.count, plant.pulses)
        assert abs(self.session.count - self.target) <= 1, self.session.count
        self.counter += plant.pulses
        self.passed += plant.passed
        self.wheel += plant.wheel_pulses
        self.jobs += 1
        self.plant = Plant(self.spec, STEP_MS)
        self.heap_bytes = heap_bytes()

    def told(self, hour):
        """What is true after an hour."""
        return {
            "hour": hour,
            "heap_bytes": self.heap_bytes,
            "counted_pulses": self.counter + self.plant.pulses,
            "true_pulses": self.passed + self.plant.passed,
            "jobs": self.jobs,
            "wraps": self.wraps,
            "lines": self.lines,
            "events": self.session.events.newest,
        }


def main(path, hours):
    with open(path) as file:
        soak = Soak(json.load(file))
    for hour in range(1, hours + 1):
        for step in range(HOUR_STEPS):
            soak.step()
            soak.attend(step)
        print(json.dumps(soak.told(hour)))


main(sys.argv[1], int(sys.argv[2]))

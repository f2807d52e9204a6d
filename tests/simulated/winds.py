"""Winds jobs on the simulated machine without a port: firmware and plant in one process, at full speed.

Runs on MicroPython and on CPython: `winds.py JOBS.json` reads a list of {"spec", "values"} and prints one JSON
line of what truly happened for each. A wait is ended at once, as an operator with a quick finger would.
"""

import json
import sys

from plant.truth import Overshoot
from plant.winder import Plant
from windcore.job import Job
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windlink.codes import FINISHED, TRIPPED, WAITING
from windlink.job import job_crc

STEP_MS = 10
MOST_STEPS = 400000
AT_REST_STEPS = 100
CLOCK_MASK = (1 << 30) - 1
CLOCK_START_MS = (1 << 30) - 5000


class Bench:
    """One machine and one session, stepped in the order of the real loop with the drive one step late."""

    def __init__(self, spec, values):
        self.plant = Plant(spec, STEP_MS)
        self.session = Session()
        self.overshoot = Overshoot(spec["stops"], lambda: (self.session.job.job_id, self.session.count))
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.now_ms = CLOCK_START_MS
        self.steps = 0
        self.step()
        refusal = self.session.accept(Job(1, job_crc(values), values)) or self.session.start()
        if refusal:
            raise ValueError("the job is refused", refusal)

    def step(self):
        """One period: sensors, control, then the previous outputs drive the machine."""
        outputs = self.outputs
        duty, brake, step_rate, lamp = outputs.duty, outputs.brake, outputs.step_rate, outputs.lamp
        plant = self.plant
        self.inputs.pulses = plant.pulses
        self.inputs.switches = plant.switches
        self.session.step(self.inputs, outputs, self.now_ms)
        plant.step(duty, brake, step_rate, lamp)
        self.overshoot.step(plant.passed, plant.pulses, bool(duty or brake or step_rate or lamp))
        self.now_ms = (self.now_ms + STEP_MS) & CLOCK_MASK
        self.steps += 1

    def rest(self):
        """What is true now."""
        return {
            "count": self.session.count,
            "passed": self.plant.passed,
            "stop": self.overshoot.stop,
            "turns": self.plant.turns,
            "length_mm": self.plant.length_mm,
            "peak": self.overshoot.peak_pulses,
            "steps": self.steps,
        }

    def wind(self):
        """To the end of the job, or a trip. The rests on the way, the last one included."""
        session = self.session
        rests = []
        while session.state not in (FINISHED, TRIPPED) and self.steps < MOST_STEPS:
            self.step()
            if session.state == WAITING:
                self._stand(rests)
                session.go_on(session.wait)
        self._stand(rests)
        return {"state": session.state, "trip": session.trip_reason, "trip_value": session.trip_value, "rests": rests}

    def _stand(self, rests):
        for _ in range(AT_REST_STEPS):
            self.step()
        rests.append(self.rest())


def main(path):
    """Wind every job of a file."""
    with open(path) as file:
        jobs = json.load(file)
    for job in jobs:
        print(json.dumps(Bench(job["spec"], job["values"]).wind()))


if __name__ == "__main__":
    main(sys.argv[1])

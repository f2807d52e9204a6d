"""Steps the simulated machine and prints every bit of its state. Runs on either interpreter: SPEC.json, a list."""

import json
import struct
import sys
from binascii import hexlify

from plant.winder import Plant

STEPS = 3000
EACH = 50


def trace(spec):
    """Drive up, hold, brake, coast, with a lamp and steps beside; a line of bits each fifty steps."""
    machine = Plant(spec, 10)
    for step in range(STEPS):
        duty = min(900, step) if step < 2000 else 0
        machine.step(duty, 1 if step % 2 else 0, min(6000, 20 * step), 1 if step < 2000 else 4)
        if step % EACH == 0:
            state = (machine.turns, machine.length_mm, machine.speed, machine.tension_n)
            bits = hexlify(struct.pack("<4d", *state)).decode()
            print(step, bits, machine.passed, machine.pulses, machine.switches)


with open(sys.argv[1]) as file:
    for machine_spec in json.load(file):
        trace(machine_spec)

"""Runs the control step 10,000 times with the heap locked: an allocation raises MemoryError. MicroPython only.

Argument: the job's drive. The winds go through stops, layers, a pause and a trip while locked.
"""

import sys

import micropython
from rig import LOOP_MS, WRAP, Rig

from windcore.signals import LAMP_STOP, LAMP_WIND
from windlink import codes

STEPS = 10000


def main(drive):
    rig = Rig()
    rig.step()
    rig.accept(drive=drive, channels=2, link_loss=codes.PAUSE, layer_numerator=100, first_numerator=37)
    session, inputs, outputs = rig.session, rig.inputs, rig.outputs
    session.start()
    full = session.job.full_rate
    now_ms = rig.now_ms
    turned = 0
    visited = 0
    locked = 0
    micropython.heap_lock()
    try:
        for step in range(STEPS):
            if drive == codes.STEPPER:
                turned += outputs.step_rate * 1000 // 160 * LOOP_MS // 1000
            elif drive == codes.DC:
                turned += full * outputs.duty // 100 * LOOP_MS // 1000
            elif LAMP_WIND <= outputs.lamp < LAMP_STOP:
                turned += 300
            now_ms = (now_ms + LOOP_MS) % WRAP
            inputs.pulses = turned // 1000
            session.step(inputs, outputs, now_ms)
            visited |= 1 << session.state
            if step == 300:
                session.pause()
            elif step == 2000:
                inputs.switches = codes.TENSION_SWITCH
            elif step == 2001:
                inputs.switches = 0
            elif session.state == codes.WAITING:
                session.go_on(session.wait)
            elif session.state == codes.TRIPPED:
                session.clear(codes.SNAG)
            locked += 1
    finally:
        micropython.heap_unlock()
    print("steps without allocation:", locked, "states visited:", bin(visited), "layers:", session.tally.done)
    for state in (codes.WINDING, codes.EASING, codes.WAITING, codes.TRIPPED, codes.FINISHED):
        assert visited >> state & 1, state
    assert locked == STEPS


main(int(sys.argv[1]))

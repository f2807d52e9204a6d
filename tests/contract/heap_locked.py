"""Runs the control step 10,000 times with the heap locked: an allocation raises MemoryError. MicroPython only.

Argument: the job's drive. The winds go through stops, layers, a pause and a trip of each kind of sensor while locked.
"""

import sys

import micropython
from rig import LOOP_MS, Rig

from windcore.journal import WORDS, Memory
from windcore.signals import LAMP_STOP, LAMP_WIND
from windcore.speed import LONGEST_QUIET_MS
from windlink import codes

STEPS = 10000
MASK = (1 << 30) - 1  # 2^30 itself lies on the heap of a 32-bit board, and so does a sum that reaches it
BEFORE_WRAP = 300


class NoFlash:
    """A store with nothing in it."""

    def read(self, slot):  # noqa: ARG002 - the signature of a store
        return b""


def main(drive):
    rig = Rig()
    rig.step()
    wheel = {"slip_window_pulses": 20, "wheel_first": 1600, "slip_permille": 100, "slip_slack": 10}
    line = {"line_turn": 30000, "line_first": 29000, "line_rise": 1500}
    rig.accept(drive=drive, channels=2, link_loss=codes.PAUSE, layer_numerator=100, first_numerator=37, **wheel, **line)
    memory = Memory([0] * WORDS, NoFlash(), 0)
    session, inputs, outputs = rig.session, rig.inputs, rig.outputs
    session.start()
    full = session.job.full_rate
    now_ms = rig.now_ms
    turned = 0
    visited = 0
    locked = 0
    slipped = 0
    tripped = 0
    micropython.heap_lock()
    try:
        for step in range(STEPS):
            if drive == codes.STEPPER:
                turned += outputs.step_rate * 1000 // 160 * LOOP_MS // 1000
            elif drive == codes.DC:
                turned += full * outputs.duty // 100 * LOOP_MS // 1000
            elif LAMP_WIND <= outputs.lamp < LAMP_STOP:
                turned += 300
            now_ms = now_ms - MASK + LOOP_MS - 1 & MASK
            inputs.pulses = turned // 1000 - BEFORE_WRAP & MASK
            inputs.wheel_pulses = turned // 200 - slipped - BEFORE_WRAP & MASK
            session.step(inputs, outputs, now_ms)
            memory.keep_count(session)
            memory.due(session)
            visited |= 1 << session.state
            if step == 300:
                session.pause()
            elif step == 2000:
                inputs.switches = codes.TENSION_SWITCH
            elif step == 2001:
                inputs.switches = 0
            elif step == 100:
                slipped = 100
            elif step == 200:
                inputs.illegal += 9
            elif session.state == codes.WAITING:
                session.go_on(session.wait)
            elif session.state == codes.TRIPPED:
                tripped |= 1 << session.trip_reason
                session.clear(session.trip_reason)
            locked += 1
    finally:
        micropython.heap_unlock()
    print("steps without allocation:", locked, "states visited:", bin(visited), "layers:", session.tally.done)
    for state in (codes.WINDING, codes.EASING, codes.WAITING, codes.TRIPPED, codes.FINISHED):
        assert visited >> state & 1, state
    assert locked == STEPS
    for reason in (codes.SNAG, codes.SLIP, codes.BAD_SENSOR):
        assert tripped >> reason & 1, reason
    assert inputs.pulses < MASK - BEFORE_WRAP, "the counter has wrapped"
    assert now_ms < MASK // 2, "and so has the clock"
    at_rest_for_minutes(rig, now_ms)
    after_a_restart(memory._registers._words)


def at_rest_for_minutes(rig, now_ms):
    """A spool that stands longer than the speedometer looks back takes no room either."""
    micropython.heap_lock()
    try:
        for _ in range(3 * LONGEST_QUIET_MS // 1000):
            now_ms = now_ms - MASK + 1000 - 1 & MASK
            rig.session.step(rig.inputs, rig.outputs, now_ms)
    finally:
        micropython.heap_unlock()


def after_a_restart(words):
    """What was kept is counted on with the heap locked too."""
    words = list(words)
    memory = Memory(words, NoFlash(), 300)
    rig = Rig(codes.WATCHDOG, memory.past)
    before = memory.past.count
    micropython.heap_lock()
    try:
        for turned in range(500):
            rig.inputs.pulses = turned
            rig.session.step(rig.inputs, rig.outputs, rig.now_ms - MASK + turned * LOOP_MS - 1 & MASK)
            memory.keep_count(rig.session)
            memory.due(rig.session)
    finally:
        micropython.heap_unlock()
    assert Memory(words, NoFlash(), 300).past.count == before + 499


main(int(sys.argv[1]))

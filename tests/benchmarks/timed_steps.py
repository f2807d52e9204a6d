"""Times the control step, and the link service's work, on the interpreter that runs it. Prints one JSON line."""

import json
import time

from rig import COUNTER_START, WRAP, Rig

from windcore.service import Identity, LinkService
from windlink import codes
from windlink.codec import decode, encode

STEPS = 20000
FRAMES = 5000


def clock_us():
    """Microseconds, on either interpreter."""
    return time.ticks_us() if hasattr(time, "ticks_us") else time.perf_counter_ns() // 1000


def main():
    rig = Rig()
    rig.step()
    rig.accept(channels=2, stops=(), target_pulses=160000)
    rig.session.start()
    session, inputs, outputs = rig.session, rig.inputs, rig.outputs
    now_ms = rig.now_ms
    begun = clock_us()
    for step in range(STEPS):
        now_ms = (now_ms + 10) % WRAP
        inputs.pulses = (COUNTER_START + step * 2 // 5) % WRAP
        session.step(inputs, outputs, now_ms)
    step_us = (clock_us() - begun) / STEPS
    assert session.state == codes.WINDING

    service = LinkService(session, Identity("simulated", 511, 1, 0, 1))
    lines = [encode(">", number % 1000, "status") for number in range(FRAMES)]
    begun = clock_us()
    for line in lines:
        service.feed(line, len(line), now_ms)
        service.sent(service.outgoing(now_ms), now_ms, True)
    answer_us = (clock_us() - begun) / FRAMES

    begun = clock_us()
    for number in range(FRAMES):
        encode("=", number % 1000, "progress", (2, number, 3, 4000, 500, 7))
    encode_us = (clock_us() - begun) / FRAMES
    line = encode("=", 1, "progress", (2, 12345, 3, 4000, 500, 7))
    begun = clock_us()
    for _ in range(FRAMES):
        decode(line)
    decode_us = (clock_us() - begun) / FRAMES
    print(json.dumps({"step_us": step_us, "answer_us": answer_us, "encode_us": encode_us, "decode_us": decode_us}))


main()

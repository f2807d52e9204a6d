"""A host that speaks to a board over its port, as scenarios of boards use it. For both interpreters.

Arguments of the script: port, channels.
"""

import sys

from rig import job_list

from fakes import bench
from fakes.world import WORLD
from windcore.loop import run
from windlink import codes
from windlink.codec import decode, encode
from windlink.frame import ANSWER, EVENT, REQUEST, FrameError
from windlink.job import job_crc

PORT = sys.argv[1] if len(sys.argv) > 1 else "rp2"
CHANNELS = int(sys.argv[2]) if len(sys.argv) > 2 else 1
_PART = 8
_MOST_S = 400


class DoneError(Exception):
    """The host has seen what it waited for; ends the loop as any exception does."""


class Host:
    """One request at a time, each answered before the next. Called whenever the board sleeps."""

    def __init__(self, script):
        self._script = script
        self._sequence = 0
        self._line = b""
        self._waits = False
        self.events = []
        self.answer = None
        self.stops_at_s = WORLD.now_us // 1000000 + _MOST_S

    def __call__(self):
        """Read what was told, then go on with the script."""
        WORLD.room = 256
        for line in self._lines():
            try:
                message, sequence, values = decode(line)
            except FrameError:
                continue
            if message.kind == ANSWER and sequence == self._sequence:
                self.answer = (message.verb, values)
                self._waits = False
            elif message.kind == EVENT and sequence not in [number for number, _, _ in self.events]:
                self.events.append((sequence, message.verb, values))
        assert WORLD.now_us // 1000000 < self.stops_at_s, "nothing comes of it"
        if not self._waits:
            wanted = next(self._script)
            if wanted is not None:
                self._sequence = self._sequence % 999 + 1
                WORLD.typed.extend(encode(REQUEST, self._sequence, wanted[0], wanted[1]))
                self._waits = True

    def _lines(self):
        self._line += bytes(WORLD.told)
        WORLD.told[:] = b""
        lines = self._line.split(b"\n")
        self._line = lines[-1]
        return [line + b"\n" for line in lines[:-1]]

    def happened(self, verb):
        """How many events of this verb have come."""
        return len([1 for _, found, _ in self.events if found == verb])


def loading(job):
    """Open a session and load a job."""
    yield "hello", (1, 0, 7)
    yield "limits", ()
    yield "offer", (77, len(job))
    for offset in range(0, len(job), _PART):
        yield "part", (77, offset) + tuple(job[offset : offset + _PART])
    yield "accept", (77, job_crc(job))


def winding(host_of, job):
    """Load a job, wind it through its stops to its end, then end the loop."""
    for request in loading(job):
        yield request
    assert host_of[0].answer[0] == "done", host_of[0].answer
    yield "start", (77,)
    assert host_of[0].answer[0] == "done", host_of[0].answer
    passed = 0
    while True:
        yield "status", ()
        state, wait = host_of[0].answer[1][0], host_of[0].answer[1][4]
        if state == codes.WAITING and host_of[0].happened("stopped") > passed:
            passed += 1
            yield "go_on", (77, wait)
        elif state in (codes.FINISHED, codes.TRIPPED):
            yield "events", ()
            if host_of[0].happened("ended") or state == codes.TRIPPED:
                raise DoneError
            yield "ack", (host_of[0].events[-1][0],)
        else:
            for _ in range(5):
                yield None
            if host_of[0].events:
                yield "ack", (host_of[0].events[-1][0],)


def wind(board, **changes):
    """Run the loop until the host has seen the job's end; the host."""
    host_of = []
    changes["channels"] = CHANNELS
    host = Host(winding(host_of, job_list(**changes)))
    host_of.append(host)
    WORLD.between = host
    try:
        run(board)
    except DoneError:
        pass
    WORLD.between = None
    return host


def ending(host):
    """Outcome and count of the job's end, by its event."""
    for _, verb, values in host.events:
        if verb == "ended":
            return values
    raise AssertionError([verb for _, verb, _ in host.events])


def driven(board, passes=30, duty=700):
    """Drive the motor for some passes, as the loop does."""
    from windcore.signals import Inputs, Outputs

    outputs = Outputs()
    outputs.duty = duty
    inputs = Inputs()
    for _ in range(passes):
        board.read(inputs)
        board.apply(outputs)
        board.feed()
        board.wait()
    assert bench.turns()
    return inputs, outputs

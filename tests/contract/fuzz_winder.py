"""Feeds hostile bytes to the winder's end of the link. Runs on every interpreter; prints what came of it.

Arguments: how many sequences, the seed, the corpus. Fails when an exception escapes, when a request is taken that
was not sent, when a line that goes out is no frame, and when memory grows.
"""

import gc
import sys

from hostile import Hostile, read_corpus
from rig import Rig

from windcore.service import Identity, LinkService
from windlink import codes
from windlink.codec import decode, encode
from windlink.frame import LONGEST_FROM_DEVICE

SLACK_BYTES = 4096
ROUNDS = 10


# The WebAssembly build collects garbage only between scripts, so its memory tells nothing.
_TELLS = getattr(sys.implementation, "_build", "") != "pyscript"


def trace():
    """Begin to follow memory, where that is needed."""
    if not hasattr(gc, "mem_alloc"):
        import tracemalloc

        tracemalloc.start()


def in_use():
    """Bytes in use."""
    gc.collect()
    if hasattr(gc, "mem_alloc"):
        return gc.mem_alloc() if _TELLS else 0
    import tracemalloc

    return tracemalloc.get_traced_memory()[0]


class Winder:
    """The service on a session, with a port that takes everything."""

    def __init__(self):
        self.rig = Rig()
        self.rig.step()
        self.service = LinkService(self.rig.session, Identity("simulated", 511, 9, codes.POWER_ON, 1))
        self.taken = 0
        self.sent = 0

    def feed(self, data, hostile):
        """Take a sequence in pieces as a port gives them, and say what there is to say."""
        service = self.service
        for at in range(0, len(data), 128):
            piece = data[at : at + 128]
            before = service._last_request
            service.feed(piece, len(piece), self.rig.now_ms)
            if service._last_request != before:
                self.taken += 1
                line = service._last_request
                assert hostile.was_sent(line[:-1] if line[-1:] == b"\r" else line), line
        self.rig.step()
        line = service.outgoing(self.rig.now_ms)
        while line:
            assert len(line) <= LONGEST_FROM_DEVICE
            decode(line)
            self.sent += 1
            service.sent(line, self.rig.now_ms, True)
            line = service.outgoing(self.rig.now_ms)

    def settle(self):
        """The same small upload and the same answer, so that memory can be compared."""
        for line in (encode(">", 1, "offer", (1, 1)), encode(">", 2, "status")):
            self.service.feed(b"\n" + line, len(line) + 1, self.rig.now_ms)
            self.service.sent(self.service.outgoing(self.rig.now_ms), self.rig.now_ms, True)


def main(count, seed, corpus):
    trace()
    hostile = Hostile(seed, ">", read_corpus(corpus))
    winder = Winder()
    used = []
    for _ in range(ROUNDS):
        for _ in range(count // ROUNDS):
            winder.feed(hostile.next(), hostile)
        winder.settle()
        hostile._sent = [b"?" * 60] * 400  # the fuzzer's own memory is not the winder's
        used.append(in_use())
    growth = max(used[1:]) - used[1]
    assert winder.taken > count // 20
    assert growth <= SLACK_BYTES, used
    print("sequences", count // ROUNDS * ROUNDS, "requests taken", winder.taken, "lines out", winder.sent)
    sys.stderr.write("memory grew by %d bytes\n" % growth)


main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3])

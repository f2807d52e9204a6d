"""What happened, kept until the host has acknowledged it."""

from array import array

from windlink.catalogue import HIGHEST_EVENT

ROOM = 320
_RESERVE = 40  # places that only the others may take

# Events by their place in this tuple; the catalogue has their fields.
VERBS = ("began", "layer_done", "stopped", "ended", "tripped", "cleared", "moved_at_rest")
BEGAN, LAYER_DONE, STOPPED, ENDED, TRIPPED, CLEARED, MOVED_AT_REST = range(len(VERBS))


_DISPENSABLE = (LAYER_DONE, MOVED_AT_REST)


class Events:
    """A ring of numbered events; adding one allocates nothing.

    Numbers run from 1 and are never used again until the board restarts. When the room is nearly full, a layer
    event or a move at rest is dropped and counted: a host can work it out from the count. The others have room in
    reserve beyond what an operator can bring about without a host that acknowledges; past that, and past the
    highest number, they are dropped and counted too.
    """

    def __init__(self) -> None:
        self._verbs = bytearray(ROOM)
        self._values = array("i", [0] * (ROOM * 4))
        self.newest = 0
        self.acknowledged = 0
        self.dropped = 0

    def add(self, verb: int, time_ms: int, a: int, b: int = 0, c: int = 0) -> None:
        """Keep an event: its place in VERBS, the clock, and up to three further values."""
        room = ROOM - _RESERVE if verb in _DISPENSABLE else ROOM
        if self.newest - self.acknowledged >= room or self.newest >= HIGHEST_EVENT:
            self.dropped += 1
            return
        self.newest += 1
        place = self.newest % ROOM
        self._verbs[place] = verb
        place *= 4
        self._values[place] = time_ms
        self._values[place + 1] = a
        self._values[place + 2] = b
        self._values[place + 3] = c

    def acknowledge(self, number: int) -> None:
        """Forget all up to this number. A number from the future or the past changes nothing."""
        if self.acknowledged < number <= self.newest:
            self.acknowledged = number

    def verb(self, number: int) -> str:
        """The verb of an event that is still kept."""
        return VERBS[self._verbs[number % ROOM]]

    def value(self, number: int, index: int) -> int:
        """One value of an event that is still kept: 0 is the time, 1 to 3 the rest."""
        return self._values[number % ROOM * 4 + index]

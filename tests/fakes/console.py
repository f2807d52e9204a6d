"""Standard input and output of a board, and poll over them, as `sys` and `select`; of poll what makes no garbage.

Read in shared/tinyusb/mp_usbd_cdc.c and ports/rp2/mphalport.c: poll says that one byte fits, no more; a write of what
does not fit holds up the program for half a second and loses the rest; a byte 3 that arrives raises KeyboardInterrupt
and empties what came before it; a read waits until there is a byte.
"""

from fakes.world import WORLD

_STALL_US = 500000
_INTERRUPT = 3

POLLIN = 1
POLLOUT = 4


class _Stream:
    def __init__(self):
        self.buffer = self

    def readinto(self, room):
        assert len(room) == 1, "a read of more waits until all have come"
        assert WORLD.typed, "the program waits for ever"
        room[0] = WORLD.typed.pop(0)
        return 1

    def write(self, data):
        fits = min(len(data), WORLD.room)
        if isinstance(data, str):
            data = data.encode()
        WORLD.told.extend(data[:fits])
        WORLD.room -= fits
        if fits < len(data):
            WORLD.stalls += 1
            WORLD.advance(_STALL_US, interpreting=False)
        return fits


class poll:  # noqa: N801 - as the real one is named
    """select.poll over one stream."""

    def register(self, stream, flags):
        """Watch it."""
        self._stream = stream
        self._flags = flags

    def ipoll(self, _):
        """At once."""
        if self._flags == POLLOUT:
            return [(self._stream, POLLOUT)] if WORLD.room > 0 else []
        if _INTERRUPT in WORLD.typed:
            del WORLD.typed[: WORLD.typed.index(_INTERRUPT) + 1]
            raise KeyboardInterrupt
        return [(self._stream, POLLIN)] if WORLD.typed else []


stdin = _Stream()
stdout = _Stream()

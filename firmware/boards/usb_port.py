"""The serial port of the simulated board: behaves as the USB port of a real one, whatever carries its bytes.

A real one has a room of 256 bytes for what the host has not fetched yet. Poll says no more than that one byte fits, and
a write of more than fits holds up the whole program for half a second when the host does not read (MicroPython's
`shared/tinyusb/mp_usbd_cdc.c`). Who never wants to meet that asks before each byte.
"""

from boards.noise import Noise

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Callable

    from boards.desktop import SocketPort, TerminalPort

    Wire = TerminalPort | SocketPort

ROOM_BYTES = 256
STALL_MS = 500
_MOST_HELD = 4096  # bytes that a cable may hold up


class UsbPort:
    """Bytes to and from the wire that carries them. Clocks here count elapsed milliseconds and do not wrap.

    noise_in, noise_out: the two directions of a bad cable; on only while `noisy`.
    """

    def __init__(self, wire: "Wire", noise_in: Noise, noise_out: Noise) -> None:
        self._wire = wire
        self._noise_in = noise_in
        self._noise_out = noise_out
        self._waiting = b""
        self._leaving = b""
        self.noisy = False

    def writable(self) -> bool:
        """Whether one byte fits: all that poll can tell."""
        return len(self._waiting) < ROOM_BYTES

    def write(self, data: bytes, now_ms: int, let_pass: "Callable[[], int]") -> int:
        """Write all, or what fits before the patience of the port ends; how many bytes.

        let_pass: lets a moment of the machine's time go by, and says what the clock is then.
        """
        self._waiting += data
        from_ms = now_ms
        if len(self._waiting) > ROOM_BYTES:
            self.flush(now_ms)
        while len(self._waiting) > ROOM_BYTES and now_ms - from_ms < STALL_MS:
            now_ms = let_pass()
            self.flush(now_ms)
        over = max(0, len(self._waiting) - ROOM_BYTES)
        self._waiting = self._waiting[: len(self._waiting) - over]
        return len(data) - over

    def flush(self, now_ms: int) -> None:
        """Hand on what the wire takes now."""
        if self._leaving:
            self._leaving = self._leaving[self._wire.write(self._leaving) :]
            if self._leaving:
                return
        if self.noisy:
            self._noise_out.take(self._waiting, now_ms)
            self._waiting = b""
            self._leaving = self._noise_out.give(now_ms, _MOST_HELD)
            if self._leaving:
                self._leaving = self._leaving[self._wire.write(self._leaving) :]
        elif self._waiting:
            self._waiting = self._waiting[self._wire.write(self._waiting) :]

    def receive(self, room: bytearray, count: int, now_ms: int) -> int:
        """Pass `count` bytes of room, which the wire has just given, through the cable; how many arrive in room."""
        if not self.noisy:
            return count
        self._noise_in.take(room[:count], now_ms)
        left = self._noise_in.give(now_ms, len(room))
        room[: len(left)] = left
        return len(left)

    def forget(self) -> None:
        """The power is gone, and with it what nobody had fetched."""
        self._waiting = b""
        self._leaving = b""

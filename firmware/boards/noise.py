"""A cable that spoils bytes: loses, flips, doubles and delays them, a fifth of all, in bursts.

A model of interference that comes and goes: good stretches and bad ones alternate, their lengths drawn at random
(a two-state chain, as E. N. Gilbert proposed for bursts on telephone lines, Bell System Technical Journal 1960), and
in a bad stretch every byte is hit. A share of a fifth spread evenly would leave no line of sixty bytes whole in six
hundred thousand, whatever the ends of the cable do; Noise(chance, share, 1 / (1 - share)) is that even spread.
"""

from plant.chance import Chance

SHARE = 0.2  # of all bytes
BURST_BYTES = 50.0  # mean length of a bad stretch

LOST, FLIPPED, DOUBLED, DELAYED = range(4)
KINDS = ("lost", "flipped", "doubled", "delayed")

LONGEST_DELAY_MS = 500

_INTERRUPT = 3


class Noise:
    """One direction of the cable. It keeps the order of bytes, so what follows a delayed byte waits behind it.

    passed: bytes so far; hit: how many of them suffered each of KINDS. It never makes the byte that interrupts the
    interpreter: that would be a key that somebody pressed.
    """

    def __init__(self, chance: Chance, share: float = SHARE, burst_bytes: float = BURST_BYTES) -> None:
        self._chance = chance
        self._bad = False
        self._turns_good = 1.0 / burst_bytes
        self._turns_bad = self._turns_good * share / (1.0 - share)
        self._on_its_way: "list[tuple[int, bytes]]" = []
        self._due_ms = 0
        self.passed = 0
        self.hit = [0, 0, 0, 0]

    def take(self, data: "bytes | bytearray | memoryview", now_ms: int) -> None:
        """Bytes enter the cable. now_ms: a clock that does not wrap."""
        chance = self._chance
        left = bytearray()
        for byte in data:
            self.passed += 1
            if chance.share() < (self._turns_good if self._bad else self._turns_bad):
                self._bad = not self._bad
            if not self._bad:
                left.append(byte)
                continue
            fault = chance.below(4)
            self.hit[fault] += 1
            if fault == LOST:
                continue
            if fault == FLIPPED:
                byte = self._flipped(byte)
            elif fault == DOUBLED:
                left.append(byte)
            elif fault == DELAYED:
                self._leave(left, now_ms)
                left = bytearray()
                self._due_ms = max(self._due_ms, now_ms + 1 + chance.below(LONGEST_DELAY_MS))
            left.append(byte)
        self._leave(left, now_ms)

    def give(self, now_ms: int, most: int) -> bytes:
        """Bytes that leave the cable by now, at most so many."""
        out = b""
        while self._on_its_way and len(out) < most and self._on_its_way[0][0] <= now_ms:
            due_ms, data = self._on_its_way.pop(0)
            fits = most - len(out)
            out += data[:fits]
            if len(data) > fits:
                self._on_its_way.insert(0, (due_ms, data[fits:]))
        return out

    def told(self) -> "dict[str, int]":
        """How many bytes there were, and how many of each kind were hit."""
        told = {"bytes": self.passed}
        for kind, count in zip(KINDS, self.hit):
            told[kind] = count
        return told

    def _leave(self, data: bytearray, now_ms: int) -> None:
        if data:
            self._due_ms = max(self._due_ms, now_ms)
            self._on_its_way.append((self._due_ms, bytes(data)))

    def _flipped(self, byte: int) -> int:
        bit = self._chance.below(8)
        if byte ^ 1 << bit == _INTERRUPT:
            bit = (bit + 1) % 8
        return byte ^ 1 << bit

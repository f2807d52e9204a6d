"""What a simulated board keeps over its restarts: registers and two slots of flash."""

from plant.chance import Chance
from windcore.journal import WORDS

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Callable

# A real erase and write of flash stops the interpreter for 30 to 400 ms.
WRITE_MS = 120


class SimulatedFlash:
    """Two slots. Writing stops everything else for WRITE_MS, and raises RuntimeError while anything turns.

    stall: lets that time pass. turns: whether anything turns in a way that forbids it.
    """

    def __init__(self, turns: "Callable[[], bool]", stall: "Callable[[int], None]") -> None:
        self._turns = turns
        self._stall = stall
        self._slots = [b"", b""]
        self.writes = 0

    def read(self, slot: int) -> bytes:
        """What a slot holds."""
        return self._slots[slot]

    def write(self, slot: int, data: bytes) -> None:
        """Put data in place of what the slot held."""
        if self._turns():
            raise RuntimeError("flash is written while something turns: %r" % data)
        self._stall(WRITE_MS)
        self._slots[slot] = bytes(data)
        self.writes += 1


class SimulatedRegisters:
    """WORDS words of 30 bits, as a list, and what a loss of power does to them."""

    def __init__(self, chance: Chance) -> None:
        self.words = [0] * WORDS
        self._chance = chance

    def lose_power(self) -> None:
        """They come up holding anything."""
        for index in range(WORDS):
            self.words[index] = self._chance.below(1 << 15) << 15 | self._chance.below(1 << 15)

    def dip(self) -> None:
        """A short dip leaves them, clears them, or flips a bit or two of them."""
        kind = self._chance.below(3)
        if kind == 1:
            for index in range(WORDS):
                self.words[index] = 0
        elif kind == 2:
            for _ in range(1 + self._chance.below(2)):
                self.words[self._chance.below(WORDS)] ^= 1 << self._chance.below(30)

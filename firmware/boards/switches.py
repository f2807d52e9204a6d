"""Switches and buttons, and what acts like them, read once in every control step."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Protocol

    class Input(Protocol):
        """What is needed of a machine.Pin."""

        def value(self) -> int:
            """The level at the pin."""


# Looks that must agree before a switch is taken to have changed. One that stops the winder acts at the first look,
# which is taken twice, so that no spike of a microsecond is a stop. Released, each must stay so: contacts bounce.
_ON_LOOKS = 2
_OFF_LOOKS = 3


class Switches:
    """All switches of a machine. Each is (pin, level at which it is active, its bit, whether it acts at once).

    Two may have one bit, which is active while either is.
    """

    def __init__(self, switches: "list[tuple[Input, int, int, bool]]") -> None:
        self._switches = switches
        self._looks = bytearray(len(switches))
        self._on = bytearray(len(switches))

    def read(self) -> int:
        """The bits of those that are active. Allocates nothing."""
        index = 0
        active = 0
        looks = self._looks
        on = self._on
        for pin, level, bit, at_once in self._switches:
            found = pin.value() == level
            if found == bool(on[index]):
                looks[index] = 0
            else:
                looks[index] += 1
                if not found:
                    changed = looks[index] >= _OFF_LOOKS
                elif at_once:
                    changed = pin.value() == level
                else:
                    changed = looks[index] >= _ON_LOOKS
                if changed:
                    on[index] ^= 1
                    looks[index] = 0
            if on[index]:
                active |= bit
            index += 1
        return active

"""A voltage as a switch: active while it is beyond a limit."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Protocol

    class Level(Protocol):
        """What is needed of a machine.ADC."""

        def read_u16(self) -> int:
            """The voltage, 65535 at the supply's."""


_FULL = 65535


class Beyond:
    """limit_permille: thousandths of the supply's voltage. above: whether beyond is above the limit, else below it."""

    def __init__(self, level: "Level", limit_permille: int, above: bool) -> None:
        self._level = level
        self._limit = limit_permille * _FULL // 1000
        self._above = above

    def value(self) -> int:
        """1 while the voltage is beyond the limit, else 0. Allocates nothing."""
        found = self._level.read_u16()
        return 1 if (found > self._limit if self._above else found < self._limit) else 0

"""The strand's tension as the voltage of a simulated sensor, and the switches that its limits make of it."""

from boards.levels import Beyond
from boards.switches import Switches
from windlink.pins import LIMITS

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any

    from plant.winder import Plant

_FULL = 65535


class TensionSensor:
    """Reads as a machine.ADC does: a voltage that rises with the tension, up to the supply's at full_n."""

    def __init__(self, plant: "Plant", full_n: float) -> None:
        self._plant = plant
        self._full_n = full_n

    def read_u16(self) -> int:
        """The voltage, 65535 at the supply's."""
        return min(_FULL, int(_FULL * self._plant.tension_n / self._full_n))


def switches_of(plant: "Plant", table: "dict[str, Any]") -> Switches:
    """What acts by the sensor's limits, as on a board with pins. table: full_n, and a number for each limit's key."""
    sensor = TensionSensor(plant, table["full_n"])
    acting = [limit for limit in LIMITS if table[limit.key]]
    return Switches([(Beyond(sensor, table[limit.key], limit.above), 1, limit.capability, False) for limit in acting])

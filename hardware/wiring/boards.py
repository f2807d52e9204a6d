"""Names of the boards' terminals, as printed beside the pins.

Numbers round a Pico's edge: Raspberry Pi Pico datasheet, pinout. An ESP32 board prints the chip's pin numbers, and
its edges differ from maker to maker.
"""

from __future__ import annotations

from reelwright.machines.boards import boards

_PICO_EDGE = {
    **dict(zip(range(6), (1, 2, 4, 5, 6, 7), strict=True)),
    **dict(zip(range(6, 12), (9, 10, 11, 12, 14, 15), strict=True)),
    **dict(zip(range(12, 18), (16, 17, 19, 20, 21, 22), strict=True)),
    **dict(zip(range(18, 23), (24, 25, 26, 27, 29), strict=True)),
    **dict(zip(range(26, 29), (31, 32, 34), strict=True)),
}

# kind of a board -> what it is called
BOARDS = {kind: facts.title for kind, facts in boards().items()}

SUPPLIES = frozenset({"3V3", "5V", "GND"})

# kind -> supply -> its name there
_SUPPLIES = {
    "pico": {"3V3": "3V3 (36)", "5V": "VBUS (40)", "GND": "GND"},
    "pico2": {"3V3": "3V3 (36)", "5V": "VBUS (40)", "GND": "GND"},
    "esp32": {"3V3": "3V3", "5V": "5V", "GND": "GND"},
}


def terminal(kind: str, pin: int | str) -> str:
    """What is printed at a pin that the board has, given by number or as "3V3", "5V", "GND"."""
    if isinstance(pin, str):
        return _SUPPLIES[kind][pin]
    if kind == "esp32":
        return f"IO{pin}"
    return f"GP{pin} ({_PICO_EDGE[pin]})"

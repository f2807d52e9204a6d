"""An emulated Pico with the two jumpers of pico.toml, for `rp2040py` of PyPI, which the project does not need.

    rp2040py micropython --board-spec tests/board/emulated.py:WITH_JUMPERS --image MICROPYTHON.uf2 --pty

It prints the port for --board-port.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from rp2040py.boards import BOARDS, BoardSpec
from rp2040py.gpio_pin import GPIOPinState

if TYPE_CHECKING:
    from rp2040py.rp2040 import RP2040

JUMPERS = ((14, 2), (15, 3))


class Jumper:
    """A wire from one pin to another: the second has the level of the first while that is an output."""

    def __init__(self, source: int, target: int) -> None:
        self._source = source
        self._target = target

    def attach(self, chip: RP2040) -> None:
        """Solder it in, before the chip starts."""
        target = chip.gpio[self._target]

        def follow(state: GPIOPinState, _: GPIOPinState) -> None:
            if state in (GPIOPinState.LOW, GPIOPinState.HIGH):
                target.set_input_value(state == GPIOPinState.HIGH)
            else:
                target.release_input()

        chip.gpio[self._source].add_listener(follow)


WITH_JUMPERS = BoardSpec(
    extras=(*BOARDS["pico"].extras, *(partial(Jumper, source, target) for source, target in JUMPERS)),
    firmware=BOARDS["pico"].firmware,
)

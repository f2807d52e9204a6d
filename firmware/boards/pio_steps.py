"""Steps of a stepper, made by the RP2040's PIO: they come evenly, whatever the interpreter does.

The lease of the board ends them when the interpreter says nothing any more.
"""

from rp2 import PIO, StateMachine, asm_pio

from boards.pio_counter import IN_Y_30, PULL_NOBLOCK, PUSH_NOBLOCK, SET_X_0

# Read by type checkers only: MicroPython has no typing module. The assembler brings the names with it.
MYPY = False
if MYPY:
    from machine import Pin
    from rp2.asm_pio import *

STEP_HZ = 1000000  # clock of the state machine
MOV_X_OSR = 0xA027
MOV_Y_OSR = 0xA047

# Cycles of a step beside the gap: how long it is high, longer than common drivers need (2 us), and what leads to it.
_HIGH = 10
_OVERHEAD = _HIGH + 4
FASTEST = STEP_HZ // (_OVERHEAD + 1)

# A gap that lasts longer than the control step is cut short when the next one is shorter.
_LONG_GAP = 10000


@asm_pio(set_init=PIO.OUT_LOW)
def make_steps() -> None:
    """One step, then a gap of X + 1 cycles; none while X is 0."""
    wrap_target()
    label("stand")
    jmp(not_x, "stand")
    set(pins, 1)[9]
    set(pins, 0)
    mov(y, x)
    label("gap")
    jmp(y_dec, "gap")
    wrap()


class StepMaker:
    """The step pin. machine_number: of the state machine."""

    def __init__(self, machine_number: int, pin: "Pin") -> None:
        self._pin = pin
        self._machine = StateMachine(machine_number)
        self._prepared = False
        self._rate = 0
        self._gap = 0
        self.low()

    def low(self) -> None:
        """End it, and take the pin from the state machine; from an interrupt as well. Allocates nothing."""
        self._machine.active(0)
        self._pin.init(self._pin.OUT, value=0)

    def drive(self, rate: int) -> None:
        """Steps a second from now on, at most FASTEST; 0 for none."""
        if rate == self._rate:
            return
        if not self._prepared:
            self._prepare()
        gap = max(1, STEP_HZ // rate - _OVERHEAD) if rate else 0
        machine = self._machine
        machine.put(gap)
        machine.exec(PULL_NOBLOCK)
        machine.exec(MOV_X_OSR)
        if gap and self._gap > _LONG_GAP:
            machine.exec(IN_Y_30)
            machine.exec(PUSH_NOBLOCK)
            if machine.get() > gap:
                machine.exec(MOV_Y_OSR)
        self._rate = rate
        self._gap = gap

    def off(self) -> None:
        """No more steps, pin low."""
        self.low()
        self._prepared = False
        self._rate = 0
        self._gap = 0

    def _prepare(self) -> None:
        machine = self._machine
        machine.init(make_steps, freq=STEP_HZ, set_base=self._pin)
        machine.exec(SET_X_0)
        machine.active(1)
        self._prepared = True

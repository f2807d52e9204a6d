"""Counting in the RP2040's PIO: edges are counted by a state machine of their own, whatever the interpreter does.

A state machine counts down in its register X (and Y), which wraps at 2^32. It is read while it runs, by three
instructions put in from outside; they use the input shift register, so no program here may. 30 bits of a register are
read, never more: an integer of 2^30 or more would lie on the heap.

The programs are for the first version of PIO, and run on the RP2350's the same. Both together, and the one of
`pio_steps`, fit into one block of 32 instructions.
"""

from rp2 import StateMachine, asm_pio

from windlink.job import FASTEST_COUNTED
from windlink.pins import highest_rate

# Read by type checkers only: MicroPython has no typing module. The assembler brings the names with it.
MYPY = False
if MYPY:
    from machine import Pin
    from rp2.asm_pio import *

MASK = (1 << 30) - 1

# Instructions that are put in from outside, encoded once: the assembler for text makes garbage at every call.
IN_X_30 = 0x403E
IN_Y_30 = 0x405E
PUSH_NOBLOCK = 0x8000
PULL_NOBLOCK = 0x8080
SET_X_0 = 0xE020
SET_Y_0 = 0xE040

# Clocks that 125 and 150 MHz are whole multiples of: no jitter.
PULSE_HZ = 5000000
QUADRATURE_HZ = 5000000

_CYCLES_PER_LOOK = 2  # of the pulse counter, in its window


@asm_pio()
def count_pulses() -> None:
    """A rising edge counts once the pin was high at each look of a window, and the next not before it was low as long.

    Bounce and glitches no longer than the window start it anew and count nothing; what is shorter than three cycles,
    0.6 microseconds, may go unseen. OSR holds looks less one.
    """
    wrap_target()
    label("low")
    mov(y, osr)
    label("rising")
    jmp(pin, "high_now")
    jmp("low")
    label("high_now")
    jmp(y_dec, "rising")
    jmp(x_dec, "high")
    label("high")
    mov(y, osr)
    label("falling")
    jmp(pin, "high")
    jmp(y_dec, "falling")
    wrap()


@asm_pio()
def count_quadrature() -> None:
    """Every edge of channel A counts: in X those of a shaft that turns forward, in Y those of one that turns back.

    Forward means that A is ahead of B. It needs no window: while A bounces B stands, so each stray edge is taken back
    by the next, and an edge of B alone counts nothing. X and Y only ever fall, so a look at them from outside never
    meets a half-made change.
    """
    wrap_target()
    label("a_low")
    wait(1, pin, 0)
    jmp(pin, "rose_back")
    jmp(x_dec, "a_high")
    jmp("a_high")
    label("rose_back")
    jmp(y_dec, "a_high")
    label("a_high")
    wait(0, pin, 0)
    jmp(pin, "fell_on")
    jmp(y_dec, "a_low")
    jmp("a_low")
    label("fell_on")
    jmp(x_dec, "a_low")
    wrap()


def window_of(debounce_us: int) -> int:
    """What OSR must hold so that no level of at most so long counts: looks less one, of which the first may meet it."""
    cycles = debounce_us * (PULSE_HZ // 1000000)
    return max(1, (cycles + _CYCLES_PER_LOOK - 1) // _CYCLES_PER_LOOK)


class PulseCounter:
    """One channel. machine_number: of the state machine; four to a block, 0 to 3 in the first.

    At 20,000 edges a second each level lasts 50 us, so the window must be shorter than that by 2 us.
    """

    checks = False
    illegal = 0

    def __init__(self, machine_number: int, sensor: "Pin", debounce_us: int) -> None:
        self.counts_up_to = highest_rate(debounce_us)
        self._machine = machine = StateMachine(machine_number, count_pulses, freq=PULSE_HZ, jmp_pin=sensor)
        machine.put(window_of(debounce_us))
        machine.exec(PULL_NOBLOCK)
        machine.exec(SET_X_0)
        machine.active(1)

    def read(self) -> int:
        """Pulses modulo 2^30, from anywhere. Allocates nothing, and waits for no more than a few microseconds."""
        machine = self._machine
        machine.exec(IN_X_30)
        machine.exec(PUSH_NOBLOCK)
        return -machine.get() & MASK


class EdgeCounter:
    """Edges of one of two channels, told apart by the level of the other: forward while A, watched here, is ahead."""

    def __init__(self, machine_number: int, watched: "Pin", other: "Pin") -> None:
        self._machine = machine = StateMachine(
            machine_number, count_quadrature, freq=QUADRATURE_HZ, in_base=watched, jmp_pin=other
        )
        machine.exec(SET_X_0)
        machine.exec(SET_Y_0)
        machine.active(1)

    def read(self) -> int:
        """Edges forward less edges back, modulo 2^30. Allocates nothing."""
        machine = self._machine
        machine.exec(IN_X_30)
        machine.exec(PUSH_NOBLOCK)
        forward = -machine.get()
        machine.exec(IN_Y_30)
        machine.exec(PUSH_NOBLOCK)
        return forward + machine.get() & MASK


class QuadratureCounter:
    """Two channels: one count a slot, signed, as one channel would count it.

    check_number: of a second state machine, which counts the edges of B as the first does those of A, so that
    `illegal` tells how often both changed at once; -1 for none. It runs the same program and takes no more room.
    """

    def __init__(self, machine_number: int, sensor_a: "Pin", sensor_b: "Pin", check_number: int = -1) -> None:
        self._edges_a = EdgeCounter(machine_number, sensor_a, sensor_b)
        self._edges_b = EdgeCounter(check_number, sensor_b, sensor_a) if check_number >= 0 else None
        self._halves = Halves()
        self._turns = Alternation()
        self.checks = check_number >= 0
        self.counts_up_to = FASTEST_COUNTED

    @property
    def illegal(self) -> int:
        """Transitions that no shaft makes, since the start, modulo 2^30."""
        return self._turns.broken

    def read(self) -> int:
        """Pulses modulo 2^30, from anywhere. Allocates nothing. Read it at least every 2^28 pulses."""
        edges = self._edges_a.read()
        other = self._edges_b
        if other is not None:
            edges_b = other.read()
            # an edge between the readings would look like a fault: such a pass is not judged, and nothing is lost by it
            if self._edges_a.read() == edges and other.read() == edges_b:
                # seen from B a shaft that turns forward turns back; a sum of the two might lie on the heap
                self._turns.take(edges - (-edges_b & MASK) & MASK)
        return self._halves.take(edges)


class Alternation:
    """Whether the edges of A and B take turns, as a shaft makes them: net counts of both then differ by one or two
    neighbouring numbers for ever, whichever way it turns and however one channel bounces. A change of both at once
    counts forward on one and back on the other, and moves the difference by two.
    """

    def __init__(self) -> None:
        self.broken = 0
        self._begun = False
        self._base = 0  # the difference of the first reading; below, distances from it
        self._low = 0
        self._high = 0

    def take(self, difference: int) -> None:
        """Take what A has counted less what B has, modulo 2^30, both read at the same moment. Allocates nothing."""
        if not self._begun:
            self._begun = True
            self._base = difference
        at = difference - self._base & MASK
        if at > MASK >> 1:
            at -= MASK
            at -= 1
        if at > self._high:
            self._move((at - self._low) >> 1, 1)
            self._high = max(self._high, at)
        elif at < self._low:
            self._move((self._high - at) >> 1, -1)
            self._low = min(self._low, at)

    def _move(self, times: int, way: int) -> None:
        """Both numbers by two, so many times."""
        self.broken = self.broken + times & MASK
        self._low += 2 * way * times
        self._high += 2 * way * times


class Halves:
    """Makes pulses of half pulses: up at every second one, down one half later, so that no shaft stands on the edge."""

    def __init__(self) -> None:
        self._pulses = 0
        self._edges = 0
        self._rest = 0  # half pulses beyond the pulse, -1 to 1

    def take(self, edges: int) -> int:
        """Pulses modulo 2^30, for a count of edges modulo 2^30."""
        moved = edges - self._edges & MASK
        if moved > MASK >> 1:
            moved -= MASK
            moved -= 1
        self._edges = edges
        rest = self._rest + moved
        whole = rest >> 1 if rest > 1 else -(-rest >> 1) if rest < -1 else 0
        self._rest = rest - 2 * whole
        self._pulses = self._pulses + whole & MASK
        return self._pulses

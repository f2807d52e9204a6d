"""The counting programs of the RP2040: their opcodes, and their counts on an emulator that is not ours.

`REELWRIGHT_EDGES` is the number of edges of the long series: 2,000 in the suite, 1,000,000 for the whole.
"""

from __future__ import annotations

import os
import random
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest

import fakes.board_modules  # noqa: F401 - the board's modules must be there before its files
from boards import pio_counter
from fakes.rp2 import StateMachine
from fakes.world import WORLD

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

EDGES = int(os.environ.get("REELWRIGHT_EDGES", "2000"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "20261125"))
WORD = 1 << 32
A, B = 0, 1  # pins
SEEN = 3  # cycles that a level must last to be seen for certain

# By hand from the RP2040's data sheet, section 3.4 "Instruction Set": mov y,osr = A047; jmp pin = 00C0 + address;
# jmp y-- = 0080 + address; jmp x-- = 0040 + address; wait 1 pin 0 = 20A0; wait 0 pin 0 = 2020.
PULSES = [0xA047, 0x00C3, 0x0000, 0x0081, 0x0045, 0xA047, 0x00C5, 0x0086]
QUADRATURE = [0x20A0, 0x00C4, 0x0045, 0x0005, 0x0085, 0x2020, 0x00C9, 0x0080, 0x0000, 0x0040]

# The same programs in the language of the chip's own assembler.
PULSES_TEXT = """
.program count_pulses
.wrap_target
low:
    mov y, osr
rising:
    jmp pin high_now
    jmp low
high_now:
    jmp y-- rising
    jmp x-- high
high:
    mov y, osr
falling:
    jmp pin high
    jmp y-- falling
.wrap
"""
QUADRATURE_TEXT = """
.program count_quadrature
.wrap_target
a_low:
    wait 1 pin 0
    jmp pin rose_back
    jmp x-- a_high
    jmp a_high
rose_back:
    jmp y-- a_high
a_high:
    wait 0 pin 0
    jmp pin fell_on
    jmp y-- a_low
    jmp a_low
fell_on:
    jmp x-- a_low
.wrap
"""
PROGRAMS = [
    pytest.param(pio_counter.count_pulses, PULSES, id="pulses"),
    pytest.param(pio_counter.count_quadrature, QUADRATURE, id="quadrature"),
]

# One level of the two pins, and for how many cycles it lasts.
Piece = tuple[int, int]


NO_ASSEMBLER = "pip install --no-deps adafruit-circuitpython-pioasm"


@pytest.mark.parametrize(("program", "golden"), PROGRAMS)
def test_the_assembled_programs_are_the_golden_opcodes(program: Any, golden: list[int]) -> None:
    assert list(program.code) == golden
    assert (program.wrap_target, program.wrap) == (0, len(golden) - 1)


@pytest.mark.parametrize(("golden", "text"), [(PULSES, PULSES_TEXT), (QUADRATURE, QUADRATURE_TEXT)])
def test_another_assembler_makes_the_golden_opcodes_too(golden: list[int], text: str) -> None:
    adafruit_pioasm = pytest.importorskip("adafruit_pioasm", reason=NO_ASSEMBLER)
    assert list(adafruit_pioasm.assemble(text)) == golden


def test_what_is_put_in_from_outside_is_what_another_assembler_makes_of_it() -> None:
    adafruit_pioasm = pytest.importorskip("adafruit_pioasm", reason=NO_ASSEMBLER)
    lines = ["in x, 30", "in y, 30", "push noblock", "pull noblock", "set x, 0", "set y, 0"]
    ours = [pio_counter.IN_X_30, pio_counter.IN_Y_30, pio_counter.PUSH_NOBLOCK]
    ours += [pio_counter.PULL_NOBLOCK, pio_counter.SET_X_0, pio_counter.SET_Y_0]
    assert list(adafruit_pioasm.assemble("\n".join(lines))) == ours


def test_the_programs_fit_into_one_block_with_room_for_the_steps() -> None:
    assert len(PULSES) + len(QUADRATURE) <= 32 - 5


# --- what comes in ------------------------------------------------------------------------------------------


def clean(pulses: int, high: int, low: int) -> Iterator[Piece]:
    for _ in range(pulses):
        yield 0, low
        yield 1, high
    yield 0, low


def bouncing(pulses: int, window: int, dice: random.Random) -> Iterator[Piece]:
    """Every edge chatters, each stray level shorter than the window; then it holds for longer than that."""
    for _ in range(pulses):
        for level in (1, 0):
            for _ in range(dice.randrange(6)):
                yield level, dice.randrange(SEEN, window + 1)
                yield 1 - level, dice.randrange(SEEN, window + 1)
            yield level, window + dice.randrange(8, 60)


def glitching(pulses: int, window: int, dice: random.Random) -> Iterator[Piece]:
    """Steady levels with spikes on them that are shorter than the window."""
    for _ in range(pulses):
        for level in (1, 0):
            for _ in range(1 + dice.randrange(4)):
                yield level, window + dice.randrange(8, 60)
                yield 1 - level, dice.randrange(SEEN, window + 1)
            yield level, window + dice.randrange(8, 60)


def counted_by_rule(pieces: list[Piece], window: int) -> tuple[int, int]:
    """Fewest and most pulses of a signal, by the promise alone: a level that lasts for a window and eight cycles
    counts, one that lasts no longer than a window does not, and what lies between may."""
    sure, most = [0, 0], [0, 0]
    levels_sure, levels_most = 0, 0
    for level, cycles in pieces:
        if cycles >= window + 8 and level != levels_sure:
            levels_sure = level
            sure[level] += 1
        if cycles > window and level != levels_most:
            levels_most = level
            most[level] += 1
    return sure[1], most[1]


def merged(pieces: Iterator[Piece]) -> list[Piece]:
    """The same with each level one piece."""
    found: list[list[int]] = []
    for level, cycles in pieces:
        if found and found[-1][0] == level:
            found[-1][1] += cycles
        else:
            found.append([level, cycles])
    return [(level, cycles) for level, cycles in found]


# --- on the emulator -----------------------------------------------------------------------------------------


def emulated(program: Any, pieces: list[Piece], osr: int = 0) -> tuple[int, int]:
    """What X and Y have fallen by on rp2040-pio-emulator."""
    pioemu = pytest.importorskip("pioemu", reason="pip install rp2040-pio-emulator")
    from pioemu.shift_register import ShiftRegister

    until = []
    end = 0
    for _, cycles in pieces:
        end += cycles
        until.append(end)
    at = 0

    def pins(clock: int) -> int:
        nonlocal at
        while at < len(until) - 1 and clock >= until[at]:
            at += 1
        return pieces[at][0]

    pins.__annotations__["clock"] = int  # the emulator looks at it
    state = None
    for _, state in pioemu.emulate(  # noqa: B007 - the last one counts
        list(program.code),
        stop_when=lambda _, found: found.clock >= end,
        initial_state=pioemu.State(output_shift_register=ShiftRegister(osr, 0)),
        input_source=pins,
        jmp_pin=B if program is pio_counter.count_quadrature else A,
        wrap_target=program.wrap_target,
        wrap_top=program.wrap,
    ):
        pass
    assert state is not None
    return -state.x_register % WORD, -state.y_register % WORD


def pulses_emulated(pieces: list[Piece], window: int) -> int:
    return emulated(pio_counter.count_pulses, pieces, osr=(window + 1) // 2)[0]


@cache
def dice() -> random.Random:
    print(f"REELWRIGHT_SEED={SEED}")
    return random.Random(SEED)


@pytest.mark.parametrize("window", [2, 10, 40])
def test_clean_pulses_are_counted_one_by_one_up_to_the_narrowest_that_the_window_allows(window: int) -> None:
    for high, low in ((window + 8, window + 8), (window + 8, 4 * window), (4 * window, window + 8)):
        assert pulses_emulated(list(clean(60, high, low)), window) == 60


@pytest.mark.parametrize("window", [10, 40])
def test_bounce_and_glitches_shorter_than_the_window_count_nothing(window: int) -> None:
    for signal in (bouncing, glitching):
        assert pulses_emulated(merged(signal(40, window, dice())), window) == 40


@pytest.mark.parametrize("window", [4, 20])
def test_random_edges_are_counted_as_the_window_promises(window: int) -> None:
    for _ in range(4):
        signal = merged((level & 1, dice().randrange(SEEN, 4 * window)) for level in range(100))
        fewest, most = counted_by_rule(signal, window)
        assert fewest <= pulses_emulated(signal, window) <= most
        settled = [(level, cycles if not window < cycles < window + 8 else 3 * window) for level, cycles in signal]
        fewest, most = counted_by_rule(settled, window)
        assert fewest == most == pulses_emulated(settled, window)


# Both channels through one slot of a shaft that turns forward: A is ahead.
SLOT = (1, 3, 2, 0)


def turning(quarters: Callable[[], int], count: int, chatter: int) -> tuple[list[Piece], int]:
    """A shaft that steps to and fro by quarters of a slot, the edges of either channel chattering."""
    pieces: list[Piece] = []
    at = 0
    place = 3  # both low
    for _ in range(count):
        step = quarters()
        at += step
        before = SLOT[place]
        place = (place + step) % 4
        for _ in range(dice().randrange(chatter + 1)):
            pieces.append((SLOT[place], dice().randrange(1, 12)))
            pieces.append((before, dice().randrange(1, 12)))
        pieces.append((SLOT[place], dice().randrange(12, 40)))
    return pieces, at


def edges_of_a(quarters: int) -> int:
    """Net edges of channel A after so many quarters from just before it rises."""
    return quarters // 4 * 2 + (0, 1, 1, 2)[quarters % 4]


@pytest.mark.parametrize("chatter", [0, 5], ids=["clean", "bouncing"])
@pytest.mark.parametrize("direction", ["forward", "back", "to and fro"])
def test_two_channels_count_with_their_sign_whatever_chatters(direction: str, chatter: int) -> None:
    quarters = {"forward": lambda: 1, "back": lambda: -1, "to and fro": lambda: dice().choice((-1, 1))}[direction]
    pieces, at = turning(quarters, 300, chatter)
    forward, back = emulated(pio_counter.count_quadrature, pieces)
    assert forward - back == edges_of_a(at)


def test_no_edge_of_a_long_series_is_lost() -> None:
    window = 4
    signal = list(clean(EDGES // 2, window + 8, window + 8))
    assert pulses_emulated(signal, window) == EDGES // 2
    print(f"edges counted: {EDGES}, lost: 0")


# --- the whole counter, on the fake that the boards run on ----------------------------------------------------


class Level:
    """What a counter needs of a pin."""

    def __init__(self, number: int) -> None:
        self.number = number


def played(pieces: list[Piece], hz: int) -> Iterator[None]:
    cycle = 0
    for levels, cycles in pieces:
        WORLD.set_level(A, levels & 1)
        WORLD.set_level(B, levels >> 1)
        cycle += cycles
        WORLD.now_us = cycle * 1000000 / hz
        yield


def test_the_fake_state_machine_counts_as_the_emulator_does() -> None:
    WORLD.begin("rp2")
    window = 20  # cycles
    signal = merged((level & 1, dice().randrange(SEEN, 4 * window)) for level in range(150))
    counter = pio_counter.PulseCounter(0, Level(A), window // 5)
    for _ in played(signal, pio_counter.PULSE_HZ):
        pass
    assert counter.read() == pulses_emulated(signal, window)


def test_a_counter_is_read_while_it_runs_and_its_reading_changes_nothing() -> None:
    WORLD.begin("rp2")
    counter = pio_counter.PulseCounter(0, Level(A), 4)
    seen = []
    for _ in played(list(clean(100, 40, 40)), pio_counter.PULSE_HZ):
        seen.append(counter.read())
        assert counter.read() == seen[-1]
    assert seen == sorted(seen)
    assert seen[-1] == 100


def test_a_signed_count_makes_one_pulse_a_slot_and_wraps_at_two_to_the_thirty() -> None:
    WORLD.begin("rp2")
    counter = pio_counter.QuadratureCounter(1, Level(A), Level(B))
    levels = [SLOT[index % 4] for index in range(4 * 50)]
    for _ in played([(level, 500) for level in levels], 1000000):
        pass
    assert counter.read() == 50
    back = [(SLOT[index % 4], 500) for index in range(4 * 50 - 1, -4 * 70, -1)]
    for _ in played(back, 1000000):
        pass
    assert counter.read() in ((1 << 30) - 70, (1 << 30) - 69)  # half a pulse may hang over
    assert isinstance(counter._edges_a._machine, StateMachine)


def test_two_channels_that_take_turns_are_legal_however_the_shaft_turns_and_bounces() -> None:
    WORLD.begin("rp2")
    counter = pio_counter.QuadratureCounter(0, Level(A), Level(B), 3)
    chance, at = dice(), 0
    levels = [SLOT[0]]
    for _ in range(2000):
        step = chance.choice((-1, 1))
        for _ in range(chance.randrange(1, 12)):
            at += step
            levels.append(SLOT[at % 4])
            if chance.random() < 0.3:  # the channel that changed springs back, and comes again
                levels += [SLOT[(at - step) % 4], SLOT[at % 4]]
    for _ in played([(level, chance.randrange(5, 200)) for level in levels], 1000000):
        if chance.random() < 0.2:
            counter.read()
    assert counter.read() in (at // 4 & pio_counter.MASK, at // 4 + 1 & pio_counter.MASK)
    assert counter.illegal == 0


@pytest.mark.parametrize("read_every", [1, 5, 1000])
@pytest.mark.parametrize(("one", "other"), [(0, 2), (1, 3)], ids=["both alike", "both opposite"])
def test_each_change_of_both_channels_at_once_is_counted(one: int, other: int, read_every: int) -> None:
    WORLD.begin("rp2")
    counter = pio_counter.QuadratureCounter(0, Level(A), Level(B), 3)
    quarters = [*range(one + 1), *([other, one] * 20), *range(one, 40)]
    for index, _ in enumerate(played([(SLOT[quarter % 4], 50) for quarter in quarters], 1000000)):
        if index == 0 or index % read_every == 0:
            counter.read()
    counter.read()
    # one reading does not tell to which side of it the legal neighbour lies, so that the first may be taken for one
    assert counter.illegal in (39, 40)


def test_a_shaft_too_fast_to_be_read_between_two_edges_is_not_judged_and_not_lost() -> None:
    turns = pio_counter.Alternation()
    for difference in (7, 8, 7, 7, 8, 10, 9, 10, 13, 5):
        turns.take(difference & pio_counter.MASK)
    # from 7 and 8 to 9 and 10, to 13 by two more, and back to 5 by four
    assert turns.broken == 1 + 2 + 4


def test_half_pulses_make_whole_ones_that_do_not_flicker() -> None:
    halves = pio_counter.Halves()
    edges = 0
    exact = 0
    for step in [1] * 50 + [-1] * 90 + [1, -1] * 20 + [7, -13, 40, -2]:
        exact += step
        edges = edges + step & pio_counter.MASK
        pulses = halves.take(edges)
        signed = pulses - (1 << 30) if pulses >> 29 else pulses
        assert abs(2 * signed - exact) <= 1
    at_rest = {halves.take(edges + shake & pio_counter.MASK) for shake in (0, 1, 0, 1, 0, 1)}
    assert len(at_rest) == 1 or exact % 2


def test_a_window_is_never_shorter_than_was_asked_for() -> None:
    for debounce_us in range(1, 200):
        cycles = 2 * pio_counter.window_of(debounce_us)  # from the first look to the last
        assert debounce_us * 5 <= cycles <= debounce_us * 5 + 1

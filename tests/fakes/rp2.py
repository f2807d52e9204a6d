"""The rp2 module: an assembler for PIO programs, and state machines that run them on the pins of a `World`.

Read in ports/rp2/modules/rp2.py and rp2_pio.c: a program is loaded once into each block, from the top of its 32
instructions down; a machine belongs to block number // 4; what is put in with `exec` runs at once, also while the
machine stands still, and does not move its place in the program; `put` waits for ever on a full queue and `get` on an
empty one, which here is an error; a soft reset stops every machine and empties both blocks.
"""

from array import array

from fakes.world import WORLD

_BLOCK_ROOM = 32
_WORD = (1 << 32) - 1
_QUEUE = 4

# name in a program -> number of a source, destination or condition
_NAMES = {
    "pins": 0,
    "x": 1,
    "y": 2,
    "null": 3,
    "isr": 6,
    "osr": 7,
    "gpio": 0,
    "pin": 6,
    "not_x": 1,
    "x_dec": 2,
    "not_y": 3,
    "y_dec": 4,
    "noblock": 1,
}


class PIO:
    """Names of settings."""

    OUT_LOW = 2
    SHIFT_LEFT = 0


class Program:
    """What the assembler makes. set_init: level that a pin of `set` starts with, or None."""

    def __init__(self, code, wrap_target, wrap, set_init):
        self.code = code
        self.wrap_target = wrap_target
        self.wrap = wrap
        self.set_init = set_init
        self.blocks = {}  # block -> offset there


class _Assembler:
    def __init__(self):
        self.labels = {}
        self.words = []
        self.wrap_at = None
        self.target_at = 0
        self.first_pass = True

    def names(self):
        own = ("wrap", "wrap_target", "label", "jmp", "wait", "mov", "pull", "push", "nop", "set", "in_")
        found = {name: getattr(self, name) for name in own}
        found.update(_NAMES)
        return found

    def begin(self, first_pass):
        self.first_pass = first_pass
        self.words = []

    def wrap_target(self):
        self.target_at = len(self.words)

    def wrap(self):
        self.wrap_at = len(self.words) - 1

    def label(self, name):
        assert not self.first_pass or name not in self.labels, "duplicate label"
        self.labels[name] = len(self.words)

    def __getitem__(self, delay):
        assert 0 <= delay <= 31, "delay too large"
        self.words[-1] |= delay << 8
        return self

    def _word(self, word):
        self.words.append(word)
        return self

    def jmp(self, condition, label=None):
        if label is None:
            condition, label = 0, condition
        return self._word(condition << 5 | (0 if self.first_pass else self.labels[label]))

    def wait(self, polarity, source, index):
        return self._word(0x2000 | polarity << 7 | (1 if source == _NAMES["pin"] else 0) << 5 | index)

    def in_(self, source, bits):
        return self._word(0x4000 | source << 5 | bits & 31)

    def push(self, mode=0):
        return self._word(0x8000 if mode == _NAMES["noblock"] else 0x8020)

    def pull(self, mode=0):
        return self._word(0x8080 if mode == _NAMES["noblock"] else 0x80A0)

    def mov(self, destination, source):
        return self._word(0xA000 | destination << 5 | source)

    def nop(self):
        return self.mov(_NAMES["y"], _NAMES["y"])

    def set(self, destination, value):
        return self._word(0xE000 | destination << 5 | value)


def asm_pio(set_init=None):
    """Assemble the decorated function, which finds the instructions among its globals."""

    def assembled(function):
        assembler = _Assembler()
        known = function.__globals__
        before = dict(known)
        known.update(assembler.names())
        try:
            for first_pass in (True, False):
                assembler.begin(first_pass)
                function()
        finally:
            known.clear()
            known.update(before)
        wrap = len(assembler.words) - 1 if assembler.wrap_at is None else assembler.wrap_at
        return Program(array("H", assembler.words), assembler.target_at, wrap, set_init)

    return assembled


class StateMachine:
    """One state machine. Its clock starts with `active(1)`; the world runs it on until now before any pin changes."""

    def __init__(self, number, program=None, freq=-1, in_base=None, jmp_pin=None, set_base=None):
        assert 0 <= number < 8, "invalid StateMachine"
        self._block = number // 4
        self._queue_in = []
        self._queue_out = []
        self._active = False
        self._set_pin = -1
        self._run_until_us = WORLD.now_us
        WORLD.claim(number, self)
        if program is not None:
            self.init(program, freq, in_base=in_base, jmp_pin=jmp_pin, set_base=set_base)

    def init(self, program, freq=-1, in_base=None, jmp_pin=None, set_base=None):
        """Load the program where it is not yet, and stand at its start."""
        used = WORLD.blocks[self._block]
        if program not in used:
            room = _BLOCK_ROOM - sum([len(other.code) for other in used])
            if len(program.code) > room:
                raise OSError(12)  # ENOMEM
            used.append(program)
        assert 125000000 // 65536 < freq <= 125000000, "freq out of range"
        self._program = program
        self._code = list(program.code)
        self._hz = freq
        self._in_pin = in_base.number if in_base else 0
        self._jmp_pin = jmp_pin.number if jmp_pin else 0
        self._set_pin = set_base.number if set_base else -1
        if set_base:
            WORLD.pin(self._set_pin).to_pio(0)
        self.x = self.y = self.isr = self.osr = 0
        self._at = 0
        self._delay = 0
        self._marked = None
        self._queue_in = []
        self._queue_out = []
        self._active = False
        self._run_until_us = WORLD.now_us

    def active(self, value=None):
        """Run or stand; whether it runs."""
        if value is not None:
            self.catch_up()
            self._active = bool(value)
            self._run_until_us = WORLD.now_us
        return self._active

    def put(self, value):
        """Queue a word for the program."""
        assert len(self._queue_in) < _QUEUE, "put would wait for ever"
        self._queue_in.append(value & _WORD)

    def get(self):
        """Take the oldest word of the program."""
        assert self._queue_out, "get would wait for ever"
        return self._queue_out.pop(0)

    def rx_fifo(self):
        """How many words wait to be taken."""
        return len(self._queue_out)

    def exec(self, instruction):
        """Run one instruction now."""
        self.catch_up()
        at = self._at
        self._do(instruction)
        self._at = at

    def stop(self):
        """What a soft reset does."""
        self._active = False

    def makes_steps(self):
        """Whether it runs a program that moves a pin, and has not been told to stand."""
        return self._active and self._set_pin >= 0 and self.x > 0

    def catch_up(self):
        """Run until the world's now."""
        if not self._active:
            self._run_until_us = WORLD.now_us
            return
        cycles = round((WORLD.now_us - self._run_until_us) * self._hz / 1000000)
        self._run_until_us = WORLD.now_us
        self.run(cycles)

    def run(self, cycles):
        """So many cycles at the present levels; what goes round without a change is not gone through."""
        self._marked = None
        since = 0
        code = self._code
        while cycles > 0:
            if self._delay:
                waited = min(self._delay, cycles)
                self._delay -= waited
                cycles -= waited
                continue
            if code[self._at] == 0x80 | self._at and self.y > 1:
                # a loop that only counts Y down
                looped = min(self.y, cycles)
                self.y -= looped
                cycles -= looped
                continue
            state = (self._at, self.x, self.y)
            if state == self._marked:
                cycles %= since
                self._marked = None
                if not cycles:
                    return
            if self._marked is None or since > 32:
                self._marked = state
                since = 0
            since += 1
            cycles -= 1
            self._step(code[self._at])

    def _step(self, instruction):
        at = self._at
        self._at = self._program.wrap_target if at == self._program.wrap else at + 1
        if self._do(instruction):
            self._at = at
        else:
            self._delay = instruction >> 8 & 31

    def _do(self, instruction):
        """Whether it must be tried again."""
        kind = instruction >> 13
        first = instruction >> 5 & 7
        second = instruction & 31
        if kind == 0:
            if self._jumps(first):
                self._at = second
        elif kind == 1:
            assert first & 3 == 1, "wait for a pin only"
            return WORLD.level(self._in_pin + second) != instruction >> 7 & 1
        elif kind == 2:
            bits = second or 32
            self.isr = (self.isr << bits | self._source(first) & (1 << bits) - 1) & _WORD
        elif kind == 4 and not instruction & 0x80:
            assert len(self._queue_out) < _QUEUE
            self._queue_out.append(self.isr)
            self.isr = 0
        elif kind == 4:
            if self._queue_in:
                self.osr = self._queue_in.pop(0)
            elif instruction & 0x20:
                return True
            else:
                self.osr = self.x
        elif kind == 5:
            assert not second & 0x18, "moves without inversion only"
            self._put(first, self._source(second & 7))
        elif kind == 7:
            self._put(first, second)
        else:
            raise ValueError(hex(instruction))
        return False

    def _jumps(self, condition):
        if condition == 0:
            return True
        if condition == 1:
            return self.x == 0
        if condition == 2:
            x = self.x
            self.x = x - 1 & _WORD
            return x != 0
        if condition == 4:
            y = self.y
            self.y = y - 1 & _WORD
            return y != 0
        assert condition == 6, condition
        return WORLD.level(self._jmp_pin) == 1

    def _source(self, number):
        return (0, self.x, self.y, 0, 0, 0, self.isr, self.osr)[number]

    def _put(self, number, value):
        if number == 0:
            WORLD.pin(self._set_pin).pio_write(value & 1)
            self._marked = None  # a loop that moves a pin is gone through
        elif number == 1:
            self.x = value
        elif number == 2:
            self.y = value
        else:
            raise ValueError(number)

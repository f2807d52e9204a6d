"""Reads and drives a Pico's pins 5,000 times with the heap locked, and lets its lease end: an allocation raises.

MicroPython only. What the board itself does in C is replaced by objects that do nothing; what is ours is as it is.
"""

import micropython

from fakes import bench  # the board's modules must be there before its files

# isort: split
from boards import hardware
from boards.levels import Beyond
from boards.motor_drive import PwmDrive
from boards.pico import ScratchWords
from boards.pio_steps import StepMaker
from windcore.signals import Inputs, Outputs

PASSES = 5000
MASK = (1 << 30) - 1
LINE = b"=7 progress 00000000\n"
ADDRESSES = [0x40058000 + offset for offset in (12, 16, 20, 24, 32)]


class QuietPin:
    """A pin without a world."""

    OUT = 1

    def __init__(self):
        self.level = 0

    def value(self, level=-1):
        """Read or set."""
        if level >= 0:
            self.level = level
        return self.level

    def init(self, mode, value=0):
        """An output."""
        self.level = value if mode else 0


class QuietLevel:
    """A voltage without a world: high while `level` is 1."""

    def __init__(self):
        self.level = 0

    def read_u16(self):
        """Either end."""
        return 65535 * self.level


class QuietMachine:
    """A state machine whose registers fall by some at each look, over the wrap."""

    def __init__(self):
        self.left = 3000

    def active(self, _):
        """Nothing."""

    def exec(self, _):
        """Nothing."""

    def put(self, _):
        """Nothing."""

    def get(self):
        """30 bits."""
        self.left = self.left - 7 & MASK
        return self.left


class QuietPwm:
    """A PWM."""

    def duty_u16(self, _):
        """Nothing."""


class QuietClock:
    """The time module."""

    def __init__(self):
        self.now = MASK - 20000

    def ticks_ms(self):
        """Wraps."""
        self.now = self.now - MASK + 8 & MASK  # nine more, and no sum reaches 2^30
        return self.now


class QuietMemory:
    """mem32."""

    def __init__(self):
        self.words = [0, 0, 0, 0, 0]

    def __getitem__(self, address):
        return self.words[ADDRESSES.index(address)]

    def __setitem__(self, address, value):
        self.words[ADDRESSES.index(address)] = value


class QuietPort:
    """Standard input and output, and what looks at them: a byte always comes, and always goes."""

    READY = (1,)

    def __init__(self):
        self.went = 0

    def ipoll(self, _):
        """Ready. The real one gives itself, and makes nothing."""
        return self.READY

    def readinto(self, room):
        """A byte."""
        room[0] = 46
        return 1

    def write(self, data):
        """So many bytes."""
        self.went += len(data)
        return len(data)


def quiet_board():
    """A Pico with two channels, a wheel, either motor, and a level for the strand's tension."""
    board = bench.switch_on("rp2", 2, wheel=True, tension_snag_permille=500)
    board._counter._edges_a._machine = QuietMachine()
    board._counter._edges_b._machine = QuietMachine()
    board._wheel._machine = QuietMachine()
    board._dc = PwmDrive(QuietPin(), 20000)
    board._dc._pwm = QuietPwm()
    board._steps = StepMaker(2, QuietPin())
    board._steps._machine = QuietMachine()
    board._steps._prepared = True
    board._enable = QuietPin()
    board._lamp = QuietPin()
    board._buzzer = QuietPin()
    board._switches._switches = [
        (Beyond(QuietLevel(), 500, True) if isinstance(pin, Beyond) else QuietPin(), level, bit, at_once)
        for pin, level, bit, at_once in board._switches._switches
    ]
    console = board._console
    console._source = console._sink = console._incoming = console._outgoing = QuietPort()
    hardware.time = QuietClock()
    return board


def main():
    board = quiet_board()
    bench.fakes.machine.mem32 = QuietMemory()
    words = ScratchWords(ADDRESSES)
    pins = [pin._level if isinstance(pin, Beyond) else pin for pin, _, _, _ in board._switches._switches]
    inputs = Inputs()
    outputs = Outputs()
    lapses = 0
    seen = 0
    room = bytearray(16)
    micropython.heap_lock()
    try:
        for index in range(PASSES):
            outputs.duty = index % 1001
            outputs.step_rate = index * 37 % 60000
            outputs.brake = index & 1
            outputs.lamp = index % 5
            outputs.buzzer = index & 1
            pins[index % len(pins)].level = index >> 3 & 1
            board.read(inputs)
            board.apply(outputs)
            seen |= inputs.switches
            assert board.receive(room) == len(room)
            assert board.send(LINE)
            words[index % 5] = MASK - index
            assert words[index % 5] == MASK - index
            if index % 500 == 499:
                while board._lapses == board._mended:
                    board._look_at_lease(board)
                lapses += 1
                board._mended = board._lapses
                assert not board._enable.level
    finally:
        micropython.heap_unlock()
    assert lapses == PASSES // 500
    assert seen == 31, seen
    assert board._console._sink.went == PASSES * len(LINE)
    print("passes without allocation:", PASSES)


main()

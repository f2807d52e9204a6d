"""What all boards with pins have in common: a board in the sense of `windcore.loop`, put together from its parts."""

import gc
import os
import time

import machine
from machine import WDT, Pin, Timer

from boards.console import Console
from boards.lamp import lit
from boards.levels import Beyond
from boards.loopback import make_pulses
from boards.slot_files import SlotFiles
from boards.switches import Switches
from windcore.journal import WORDS
from windcore.service import Identity
from windcore.ticks import LEASE_MS, LOOP_MS, WATCHDOG_MS
from windlink import codes
from windlink.pins import LIMITS

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any, Protocol

    from boards.description import Description
    from boards.levels import Level
    from boards.switches import Input
    from windcore.journal import Words
    from windcore.signals import Inputs, Outputs

    class Counter(Protocol):
        """A hardware counter. checks: whether it can tell transitions that two channels cannot make.

        counts_up_to: hundredths of a pulse a second.
        """

        checks: bool
        counts_up_to: int

        @property
        def illegal(self) -> int:
            """How many of them it has seen, modulo 2^30."""

        def read(self) -> int:
            """Pulses modulo 2^30, from anywhere. Allocates nothing."""

    class Drive(Protocol):
        """A pin that turns a motor."""

        def drive(self, amount: int) -> None:
            """Thousandths of full drive, or steps a second; 0 for none."""

        def off(self) -> None:
            """No more drive, pin low."""

        def low(self) -> None:
            """Pin low at once, from an interrupt too. Allocates nothing. `off` follows later."""


# The lease is looked at this often, so it ends between LEASE_MS and this more: whatever it ends is late by the clock.
LEASE_LOOK_MS = 5
_LEASE_LOOKS = LEASE_MS // LEASE_LOOK_MS + 1
_LAPSES_MASK = (1 << 16) - 1

# What came in a pass and what went in one, between two collections. Each leaves up to 2.5 kB of garbage, and nothing
# else leaves any; a heap that is full is collected in the middle of a request.
_COLLECT_AFTER = 24
_START_MS = 100  # from a reset of the chip until its clock runs, at most; our guess

# Role, bit, and whether it acts at once: what stops the winder for a person's sake waits for no second look.
_SWITCHES = (
    ("stop_button", codes.STOP_BUTTON, True),
    ("guard", codes.GUARD_SWITCH, True),
    ("run_out", codes.RUN_OUT_SWITCH, False),
    ("tension", codes.TENSION_SWITCH, False),
    ("go_button", codes.GO_BUTTON, False),
)


def clock_ms() -> int:
    """Milliseconds that wrap at 2^30, as `time.ticks_ms` counts them on every board."""
    return time.ticks_ms()  # type: ignore[return-value] # the stubs have a type of their own for what is a plain int


def input_pin(description: "Description", role: str) -> Pin:
    """The pin of an input, with its pull."""
    number = description.pin(role)
    pull = description.pull(role)
    if pull == "none":
        # said, since an ESP32 else keeps the pull that was there
        return Pin(number, Pin.IN, None)  # type: ignore[arg-type,unused-ignore] # not in the stubs of every port
    return Pin(number, Pin.IN, Pin.PULL_UP if pull == "up" else Pin.PULL_DOWN)


def level_of(number: int) -> "Level":
    """The voltage at a pin. On an ESP32 by its widest range, which ends somewhat short of the supply's voltage."""
    widest = getattr(machine.ADC, "ATTN_11DB", None)
    settings: "dict[str, Any]" = {} if widest is None else {"atten": widest}
    return machine.ADC(Pin(number), **settings)


def switches_of(description: "Description") -> Switches:
    """The switches that a machine has, and the levels that act like them."""
    found: "list[tuple[Input, int, int, bool]]" = [
        (input_pin(description, role), description.active_level(role), bit, at_once)
        for role, bit, at_once in _SWITCHES
        if description.pin(role) >= 0
    ]
    for limit in LIMITS:
        number = description.pin(limit.role)
        permille = description.number(limit.key)
        if number >= 0 and permille:
            found.append((Beyond(level_of(number), permille, limit.above), 1, limit.capability, False))
    return Switches(found)


def output_pin(description: "Description", role: str, active: int = 0) -> "Pin | None":
    """The pin of an output, driven; None where it is not there. active: 1 to begin with the role active."""
    number = description.pin(role)
    if number < 0:
        return None
    level = description.active_level(role)
    return Pin(number, Pin.OUT, value=level if active else 1 - level)


def blind_ms_after(cause: int, asked_for: bool) -> int:
    """The longest time without counting that led to this start; 0 where nobody can tell.

    A watchdog that had bitten would have said so: what ran before a soft reset was fed within WATCHDOG_MS. asked_for:
    whether the program before has left word of its end, which may have been long ago.
    """
    if asked_for or cause not in (codes.WATCHDOG, codes.SOFT_RESET):
        return 0
    since_start_ms = clock_ms() if cause == codes.WATCHDOG else 0
    return WATCHDOG_MS + LOOP_MS + min(since_start_ms, 60000) + _START_MS


class HardwareBoard:
    """A winder on pins. counter, wheel: hardware counters; dc, steps: drives; None for what is not there.

    backup: registers that outlive a reset. cause: of this start, one of the link's causes.
    hard_timer: whether the interpreter's timers can interrupt what is not bytecode.
    """

    def __init__(
        self,
        name: str,
        description: "Description",
        counter: "Counter",
        wheel: "Counter | None",
        dc: "Drive | None",
        steps: "Drive | None",
        backup: "Words",
        cause: int,
        timer_number: int,
        hard_timer: bool,
    ) -> None:
        self._enable = output_pin(description, "motor_enable")
        self._dc = dc
        self._steps = steps
        # a direction is set once, while nothing is driven
        output_pin(description, "motor_direction", 1)
        output_pin(description, "step_direction", 1)
        self._counter = counter
        self._wheel = wheel
        self._lamp = output_pin(description, "lamp")
        self._lamp_level = description.active_level("lamp")
        self._buzzer = output_pin(description, "buzzer")
        self._buzzer_level = description.active_level("buzzer")
        self._switches = switches_of(description)
        capabilities = description.capabilities | (codes.CAN_CHECK_QUADRATURE if counter.checks else 0)
        boot = int.from_bytes(os.urandom(2), "big")
        self.identity = Identity(name, capabilities, boot, cause, 1, counter.counts_up_to)
        self.backup = backup
        self.store = SlotFiles()
        self.blind_ms = blind_ms_after(cause, bool(backup[WORDS - 1]))
        # a sensor that stands high counts once as its counter begins: before the first reading, not after it
        time.sleep_ms(2 + max(description.number("debounce_us"), description.number("wheel_debounce_us")) // 1000)
        self._console = Console()
        # low from the start: a jumper to a pin with a pull-up would else bring an edge with each taking and letting go
        self._loopback = (output_pin(description, "loopback_a"), output_pin(description, "loopback_b"))
        enough = 2 if description.pin("sensor_b") >= 0 else 1
        self.make_pulses = self._make_pulses if None not in self._loopback[:enough] else None
        self._watchdog: "WDT | None" = None
        self._served = 0
        self._period_ms = time.ticks_ms()
        self._lease = 0  # looks until the motor goes off by itself; 0 once it has
        self._lapses = 0
        self._mended = 0  # the lapses after which the drives were put in order
        self._timer = Timer(timer_number)
        self._begin_lease(hard_timer)

    # --- what the loop calls ---------------------------------------------------------------------------------

    def now_ms(self) -> int:
        """The clock, in milliseconds that wrap at 2^30."""
        return clock_ms()

    def read(self, inputs: "Inputs") -> None:
        """Fill in what the counters and switches say. Allocates nothing."""
        inputs.pulses = self._counter.read()
        inputs.illegal = self._counter.illegal
        if self._wheel is not None:
            inputs.wheel_pulses = self._wheel.read()
        inputs.switches = self._switches.read()
        inputs.lapses = self._lapses

    def apply(self, outputs: "Outputs") -> None:
        """Drive motor, lamp and buzzer, and renew the motor's lease."""
        # renewed before the look at it: no lapse comes between that look and what follows from it
        self._lease = _LEASE_LOOKS
        if self._mended != self._lapses:
            # the pins are low; what drove them is put in order before it drives again
            self._mended = self._lapses
            self.off()
        if self._dc is not None:
            self._dc.drive(outputs.duty)
        if self._steps is not None:
            self._steps.drive(outputs.step_rate)
        if self._enable is not None:
            self._enable.value(1 if outputs.duty or outputs.step_rate or outputs.brake else 0)
        if self._lamp is not None:
            shines = lit(outputs.lamp, clock_ms())
            self._lamp.value(self._lamp_level if shines else 1 - self._lamp_level)
        if self._buzzer is not None:
            self._buzzer.value(self._buzzer_level if outputs.buzzer else 1 - self._buzzer_level)

    def off(self) -> None:
        """Motor off, whatever happened before. Never raises."""
        try:
            self._low()
            if self._dc is not None:
                self._dc.off()
            if self._steps is not None:
                self._steps.off()
        except Exception:
            # whatever fails on the way, the pins are low before and after it
            self._low()

    def feed(self) -> None:
        """Feed the watchdog, which begins with the first good pass."""
        if self._watchdog is None:
            self._watchdog = WDT(timeout=WATCHDOG_MS)
        self._watchdog.feed()

    def collect(self) -> bool:
        """Collect garbage once enough was left; whether it was."""
        if self._served < _COLLECT_AFTER:
            return False
        self._served = 0
        gc.collect()
        return True

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived. Raises KeyboardInterrupt where Ctrl-C was pressed."""
        count = self._console.receive(room)
        if count:
            self._served += 1
        return count

    def send(self, line: bytes) -> bool:
        """Hand a whole line to the port, or nothing of it."""
        self._served += 1
        return self._console.send(line)

    def wait(self) -> bool:
        """Wait for the next period; what has already passed of it is not made good."""
        self._console.flush()
        left_ms = LOOP_MS - time.ticks_diff(time.ticks_ms(), self._period_ms)
        if 0 < left_ms <= LOOP_MS:
            time.sleep_ms(left_ms)
            self._period_ms = time.ticks_add(self._period_ms, LOOP_MS)
        else:
            self._period_ms = time.ticks_ms()
        return True

    # --- what main calls ---------------------------------------------------------------------------------------

    def starts_again(self) -> bool:
        """Never: on hardware the interpreter itself starts anew."""
        return False

    def restart(self) -> None:
        """Reset the chip. Does not return."""
        self.off()
        machine.reset()

    def leave_port(self, line: str) -> None:
        """Run nothing: say a line, and leave the port to the interpreter's prompt."""
        self.off()
        self._console.say(line)

    def close(self) -> None:
        """Drive off, lamp dark, buzzer still. The lease's timer goes on: it may only turn the motor off."""
        self.off()
        if self._lamp is not None:
            self._lamp.value(1 - self._lamp_level)
        if self._buzzer is not None:
            self._buzzer.value(1 - self._buzzer_level)

    def _make_pulses(self, way: int, count: int, gap_us: int, bounce: int) -> int:
        pin_a, pin_b = self._loopback
        if pin_a is None:
            return 0
        # with one channel there may be no second pin, and none is used
        return make_pulses(pin_a.value, (pin_b or pin_a).value, way, count, gap_us, bounce)

    # --- within ------------------------------------------------------------------------------------------------

    def _begin_lease(self, hard_timer: bool) -> None:
        """Let the timer look at the lease: in an interrupt, where asked for."""
        if hard_timer:
            self._timer.init(mode=Timer.PERIODIC, period=LEASE_LOOK_MS, callback=self._look_at_lease, hard=True)
        else:
            self._timer.init(mode=Timer.PERIODIC, period=LEASE_LOOK_MS, callback=self._look_at_lease)

    def _low(self) -> None:
        if self._enable is not None:
            self._enable.value(0)
        if self._dc is not None:
            self._dc.low()
        if self._steps is not None:
            self._steps.low()

    def _look_at_lease(self, _: Timer) -> None:
        """Called by the timer, maybe in an interrupt: allocates nothing, and turns the motor off when nobody renews."""
        if self._lease > 0:
            self._lease -= 1
            if not self._lease:
                self._lapses = self._lapses + 1 & _LAPSES_MASK
                self._low()

"""What lies behind the fake modules: time, pins, registers, and a shaft with its sensors. There is one, WORLD.

Time is virtual: it goes on when the program sleeps, and when a test lets it. A reset of the chip clears everything but
the registers that outlive it; a restart of the interpreter leaves pins, watchdog and registers as they are.
"""

WRAP_MS = 1 << 30
_MOST_SLICE_US = 1000


class Bitten(BaseException):
    """The watchdog has reset the chip: what was running is gone, and runs none of its endings."""


class Pin:
    """One pin as the chip has it. driven_by: who drives it: None for an input, "out", "pwm" or "pio"."""

    def __init__(self, world, number):
        self._world = world
        self.number = number
        self.rises = 0  # rising edges that a state machine or a counter has made
        self.outside = None  # level from outside, or None where nothing is connected
        self.permille_outside = 0  # voltage from outside, for a pin that reads one; thousandths of the supply's
        self.chip_reset()

    def chip_reset(self):
        """An input with a pull-down."""
        self.driven_by = None
        self.out_level = 0
        self.pio_level = 0
        self.pull = 0
        self.pulse = None

    def to_out(self, level):
        """An output of the program's own."""
        if level is not None:
            self.out_level = level
        self.driven_by = "out"

    def to_pio(self, level):
        """A state machine's pin, from now on."""
        self.driven_by = "pio"
        self.pio_level = level

    def pio_write(self, level):
        """A state machine sets its level; the pin follows while it is the machine's."""
        if self.driven_by == "pio" and level and not self.pio_level:
            self.rises += 1
        self.pio_level = level

    def level(self):
        """The level at the pin now."""
        if self.driven_by is None:
            return self.pull if self.outside is None else self.outside
        if self.driven_by == "pwm":
            return self.pulse.level(self._world.now_us)
        return self.pio_level if self.driven_by == "pio" else self.out_level

    def permille(self):
        """What the pin gives on the average from now on, thousandths of full."""
        if self.driven_by == "pwm":
            return self.pulse.permille(self._world.now_us)
        return 1000 * self.level()


class Pulse:
    """The counter behind a PWM pin. freezes: whether a release keeps the level of its moment, or leaves the pin low."""

    def __init__(self, hz, freezes):
        self.period_us = 1000000 // hz
        self._freezes = freezes
        self._duty = 0
        self._next = 0
        self._next_from_us = 0
        self._running = False
        self._frozen = 0

    def set(self, duty, now_us):
        """A new duty, of 65535, from the next period on."""
        self._settle(now_us)
        self._next = duty
        self._next_from_us = now_us - now_us % self.period_us + self.period_us
        self._running = True

    def release(self, now_us):
        """Stop counting."""
        self._frozen = self.level(now_us) if self._freezes else 0
        self._running = False

    def level(self, now_us):
        """The level now."""
        self._settle(now_us)
        if not self._running:
            return self._frozen
        return 1 if now_us % self.period_us * 65535 < self._duty * self.period_us else 0

    def permille(self, now_us):
        """The average from the next period on."""
        self._settle(now_us)
        if not self._running:
            return 1000 * self._frozen
        return (self._next * 1000 + 32767) // 65535

    def _settle(self, now_us):
        if now_us >= self._next_from_us:
            self._duty = self._next


class Shaft:
    """What the motor turns, with its sensors on it. rate: pulses a second at full drive. Ideal: stops at once.

    pins: numbers by role. steps_per_pulse: of a stepper. bounce: further edges at each edge of the sensor.
    """

    def __init__(self, world, pins, rate=60.0, steps_per_pulse=160.0, bounce=0):
        self._world = world
        self._pins = pins
        self.full_rate = rate
        self.steps_per_pulse = steps_per_pulse
        self.bounce = bounce
        self.turned = 0.0  # pulses
        self.wheel = 0.0  # pulses of the measuring wheel
        self.wheel_share = 0.0  # of a wheel pulse to a shaft pulse
        self.forced = None  # pulses a second, whatever the pins say
        # one channel counts where it rises, two where A falls
        self._phase = 0.5 if "sensor_b" in pins else 0.0
        self.show()

    def rate(self):
        """Pulses a second that the pins ask for; steps are counted, see `follow`."""
        if self.forced is not None:
            return self.forced
        if "motor_pwm" not in self._pins or not self.enabled():
            return 0.0
        return self.full_rate * self._world.pin(self._pins["motor_pwm"]).permille() / 1000

    def enabled(self):
        """Whether the driver is."""
        return "motor_enable" not in self._pins or self._world.pin(self._pins["motor_enable"]).level()

    def follow(self, time_us, rate):
        """Turn for so long, at a rate or by the steps that were made."""
        turned = rate * time_us / 1000000
        if "step" in self._pins:
            made = self._world.steps(self._pins["step"], time_us)
            if self.enabled() and self.forced is None:
                turned += made / self.steps_per_pulse
        if turned:
            self.turn(turned)

    def turn(self, pulses):
        """Turn by so many pulses, at once as far as the clock is concerned, and show it to the sensors."""
        self.turned += pulses
        self.wheel += pulses * self.wheel_share
        self.show()

    def show(self):
        """Put the sensors' levels on their pins."""
        at = self.turned + self._phase
        self._show("sensor_a", at)
        self._show("sensor_b", at - 0.25)
        self._show("wheel_a", self.wheel)

    def _show(self, role, at):
        if role not in self._pins:
            return
        number = self._pins[role]
        level = 1 if at % 1.0 < 0.5 else 0
        if self._world.pin(number).outside == level:
            return
        for _ in range(self.bounce if role == "sensor_a" else 0):
            self._world.set_level(number, level)
            self._world.pass_quietly(11)
            self._world.set_level(number, 1 - level)
            self._world.pass_quietly(7)
        self._world.set_level(number, level)


class World:
    """Everything. port: "rp2" or "esp32"."""

    def __init__(self):
        self.begin("rp2")

    def begin(self, port):
        """A new board, switched on for the first time."""
        self.port = port
        self.now_us = 0
        self.start_ms = 0
        self.pins = {}
        self.registers = {}
        self.rtc = b""
        self.caused_by_watchdog = False
        self.listeners = []
        self.between = None  # called whenever the program sleeps
        self.shaft = None
        self.typed = []  # bytes that wait at standard input; 3 interrupts
        self.told = bytearray()  # bytes at standard output
        self.room = 256  # bytes that the host's side still takes
        self.flash = {}
        self.stalls = 0  # writes that did not fit
        self.restarted = False  # the interpreter alone
        self._clear()

    def _clear(self):
        self.blocks = ([], [])
        self.machines = {}
        self.timers = []
        self.bites_at_us = None
        self.patience_us = 0
        self.listeners = []
        for pin in self.pins.values():
            pin.chip_reset()

    def chip_reset(self, by_watchdog):
        """The chip starts anew; its clock too."""
        self._clear()
        self.caused_by_watchdog = by_watchdog
        self.start_ms = -(self.now_us // 1000)
        self.restarted = False

    def soft_reset(self):
        """The interpreter starts anew. Pins keep their function and level; a PWM of some slices stops as it is."""
        self.restarted = True
        for machine in self.machines.values():
            machine.stop()
        self.machines = {}
        self.blocks = ([], [])
        self.timers = []
        self.listeners = []
        for pin in self.pins.values():
            if pin.driven_by == "pwm" and self.port == "rp2" and not 8 <= pin.number <= 15:
                pin.pulse.release(self.now_us)

    def pin(self, number):
        """The pin of this number."""
        if number not in self.pins:
            self.pins[number] = Pin(self, number)
        return self.pins[number]

    def level(self, number):
        """The level at a pin."""
        return self.pin(number).level()

    def set_level(self, number, level):
        """A level from outside; who counts is told."""
        pin = self.pin(number)
        if pin.outside == level:
            return
        for machine in self.machines.values():
            machine.catch_up()
        pin.outside = level
        for listener in self.listeners:
            listener.edge(number, level)

    def claim(self, number, machine):
        """A state machine is in use."""
        self.machines[number] = machine

    def steps(self, number, time_us):
        """Rising edges that a pin has made in the time that has just gone by."""
        pin = self.pin(number)
        if self.port == "rp2":
            for machine in self.machines.values():
                machine.catch_up()
            made = pin.rises
            pin.rises = 0
            return made
        if pin.driven_by != "pwm" or not pin.permille():
            return 0
        return time_us / pin.pulse.period_us

    def pass_quietly(self, time_us):
        """Time for the state machines only."""
        self.now_us += time_us

    def advance(self, time_us, interpreting=True):
        """Let time go by. interpreting: whether soft callbacks get their turn, as they do not within a call of C."""
        until = self.now_us + time_us
        while self.now_us < until:
            to = min(until, self.now_us + _MOST_SLICE_US)
            for timer in self.timers:
                to = min(to, max(timer.due_us, self.now_us + 1))
            rate = self.shaft.rate() if self.shaft else 0.0
            if not rate and not self.machines and not self.timers:
                to = until
            passed = to - self.now_us
            self.now_us = max(self.now_us, to)
            if self.shaft:
                self.shaft.follow(passed, rate)
            for timer in list(self.timers):
                timer.run(self.now_us, interpreting)
            if interpreting:
                for listener in self.listeners:
                    listener.call_back()
            if self.bites_at_us is not None and self.now_us >= self.bites_at_us:
                self.chip_reset(True)
                raise Bitten

    def ticks_ms(self):
        """The program's clock."""
        return (self.start_ms + self.now_us // 1000) % WRAP_MS


WORLD = World()

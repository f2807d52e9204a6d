"""The simulated board: the plant instead of pins, virtual time, a pseudo-terminal or a socket for a port.

Argument 1 is a JSON file: seed, pace (virtual seconds in a real one, 0 for as fast as it can), faults (pairs of
kind and turns), turned_by_hand (whether a person turns the spool at rest), truth_path, stops (pulses of every wind, the
target last), tcp_port (0 for a terminal, whose open file has the number terminal), and what the plant reads: the tables
take_up, pay_off, strand, machine. It may have tension_level, see `boards/simulated_level.py`, in place of both strand
switches.
"""

import json
import sys

from boards.desktop import SocketPort, TerminalPort
from boards.free_prompt import FreePrompt
from boards.motor_pins import MOTOR_PINS, let_go
from boards.noise import Noise
from boards.simulated_level import switches_of
from boards.simulated_memory import SimulatedFlash, SimulatedRegisters
from boards.simulated_pin import FULL, PERIOD_US, PwmPin
from boards.truth_file import TruthFile
from boards.usb_port import UsbPort
from boards.virtual_pace import VirtualPace
from plant.chance import Chance
from plant.truth import Overshoot
from plant.winder import Plant
from windcore.journal import Registers
from windcore.service import Identity
from windcore.signals import Inputs, Outputs
from windcore.ticks import LEASE_MS, LOOP_MS, WATCHDOG_MS
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any

INTERRUPT = b"\x03"  # the byte that a terminal sends for Ctrl-C
_CLOCK_MASK = (1 << 30) - 1
_COUNTER_MASK = (1 << 30) - 1
# So that every run sees both wrap.
_CLOCK_START_MS = (1 << 30) - 5000
_COUNTER_START = (1 << 30) - 100

_CAPABILITIES = (
    codes.STOP_BUTTON
    | codes.GUARD_SWITCH
    | codes.RUN_OUT_SWITCH
    | codes.TENSION_SWITCH
    | codes.GO_BUTTON
    | codes.CAN_HAND
    | codes.CAN_DC
    | codes.CAN_STEPPER
    | codes.CAN_QUADRATURE
    | codes.MEASURING_WHEEL
    | codes.CAN_CHECK_QUADRATURE
)

_OF_STRAND = codes.RUN_OUT_SWITCH | codes.TENSION_SWITCH  # what a tension sensor stands in for

# What a period of the loop takes by the pin's clock: a little more than whole periods of its own, so that what is done
# to the pin meets it at every phase.
_LOOP_US = LOOP_MS * 1000 + 7
_FIRST_LINE_MS = 20  # from a restart of the interpreter to the first statement of boot.py, our guess
_BOOT_MS = 300  # from there until the program counts and drives again, our guess

# How long nothing is counted before each start: nobody can tell where the power was gone.
_BLIND_MS = {
    codes.WATCHDOG: WATCHDOG_MS + LOOP_MS + _BOOT_MS,
    codes.SOFT_RESET: _FIRST_LINE_MS + _BOOT_MS,
    codes.POWER_DIP: 0,
    codes.POWER_ON: 0,
}

# Each cause of a restart, as the truth tells it.
_RESTARTS = {
    codes.COMMANDED: "commanded",
    codes.WATCHDOG: "watchdog",
    codes.SOFT_RESET: "soft_reset",
    codes.POWER_DIP: "power_dip",
    codes.POWER_ON: "power_cut",
}

# Pulses so near one another tell of a spool that turns. By default a job waits for longer before it takes one for
# resting, and under a crank for a second.
_QUIET_MS = 250


class SimulatedBoard:
    """A board in the sense of `windcore.loop`. `starts_again` says whether the mind must be built anew on it."""

    def __init__(self, spec: "dict[str, Any]", port: "TerminalPort | SocketPort") -> None:
        self._port = port
        self._pace = VirtualPace(float(spec["pace"]), port)
        self._told_pace = round(spec["pace"])
        self.plant = Plant(spec, LOOP_MS)
        level = spec.get("tension_level")
        self._level = switches_of(self.plant, level) if level else None
        self._overshoot = Overshoot(spec["stops"], self._kept)
        self._truth = TruthFile(spec["truth_path"], self.plant, self._overshoot)
        self._boots = Chance(spec["seed"] + 1)
        self._noise = (Noise(Chance(spec["seed"] + 2)), Noise(Chance(spec["seed"] + 3)))
        self._usb = UsbPort(port, *self._noise)
        self._registers = SimulatedRegisters(Chance(spec["seed"] + 4))
        self.backup = self._registers.words
        self.store = SimulatedFlash(self._turns, self._let_pass)
        self._jumper = 0  # pulses of loopbacks
        self._counted = 0
        self._quiet_ms = _QUIET_MS  # since the counter counted last
        self._elapsed_ms = 0  # since the machine was switched on: never wraps, never starts again
        self._applied = Outputs()
        self._pin = PwmPin(MOTOR_PINS["rp2"][0])
        self._driving = Outputs()  # what the other pins carry
        self._resting = True
        self._heard_ms = 0
        self._restart_cause = -1  # of a restart that is under way
        self._remainder = b""
        self._start(codes.POWER_ON)

    # --- what the loop calls -----------------------------------------------------------------------------

    def now_ms(self) -> int:
        """The virtual clock, in milliseconds that wrap at 2^30."""
        return self._clock_ms

    def read(self, inputs: Inputs) -> None:
        """Fill in what the counters and switches say."""
        inputs.pulses = self.plant.pulses + self._jumper - self._zero & _COUNTER_MASK
        inputs.switches = self.plant.switches
        if self._level:
            inputs.switches = inputs.switches & ~_OF_STRAND | self._level.read()
        inputs.lapses = self._lapses
        inputs.illegal = self.plant.illegal + _COUNTER_START & _COUNTER_MASK
        inputs.wheel_pulses = self.plant.wheel_pulses + _COUNTER_START & _COUNTER_MASK

    def make_pulses(self, way: int, count: int, gap_us: int, bounce: int) -> int:
        """A loopback over an ideal jumper to a sensor input that has the faults of the sensor."""
        del bounce  # the input is filtered
        faults = self.plant.faults
        counted = 0 if faults.sensor_dead else count
        if faults.sensor_weak:
            counted -= count // 3
        back = way == codes.PULSES_BACK
        if way != codes.ONE_CHANNEL and faults.swapped_channels:
            back = not back
        self._jumper += -counted if back else counted
        return 2 * count * gap_us

    def apply(self, outputs: Outputs) -> None:
        """Keep what to drive; it reaches the machine in the period after this one. Renews the motor's lease."""
        _copy(outputs, self._applied)
        self._renewed_ms = self._elapsed_ms

    def off(self) -> None:
        """Motor off, now."""
        self._applied.off()
        self._driving.off()
        let_go(self._pin, self._pin.low, self._pin.wait_us, PERIOD_US)

    def feed(self) -> None:
        """Feed the watchdog."""
        self._fed_ms = self._elapsed_ms

    def collect(self) -> bool:
        """Never: a desktop collects garbage by itself."""
        return False

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived. Raises KeyboardInterrupt on the byte of Ctrl-C, as the real port does."""
        count = self._port.receive(room)
        if count:
            self._heard_ms = self._elapsed_ms
            if bytes(room[:count]).find(INTERRUPT) >= 0:
                raise KeyboardInterrupt
        if self.plant.faults.link_silent:
            return 0
        return self._usb.receive(room, count, self._elapsed_ms)

    def send(self, line: bytes) -> bool:
        """Hand a line to the port, byte by byte and asking before each. What does not fit goes before the next line."""
        self._send_remainder()
        if self._remainder or not self._usb.writable():
            return False
        self._truth.sent(line, self.identity.boot, self._elapsed_ms, self._pin.output_permille(), self.motor())
        self._remainder = line
        self._send_remainder()
        return True

    def _send_remainder(self) -> None:
        sent = 0
        while sent < len(self._remainder) and self._usb.writable():
            self.write(self._remainder[sent : sent + 1])
            sent += 1
        self._remainder = self._remainder[sent:]
        self._usb.flush(self._elapsed_ms)

    def write(self, data: bytes) -> int:
        """The port's own write, which holds everything up when `data` does not fit; how many bytes it took."""
        return self._usb.write(data, self._elapsed_ms, self._held_up)

    def wait(self) -> bool:
        """Let a period pass: the previous outputs drive the machine. False on a restart, or when nobody is there."""
        self._advance()
        self._drive(self._applied)
        self._usb.flush(self._elapsed_ms)
        faults = self.plant.faults
        while faults.hang or faults.hitch:
            self._advance()
            self._keep_pace()
            if self._elapsed_ms - self._fed_ms > WATCHDOG_MS:
                return self._restart(codes.WATCHDOG)
        if faults.soft_reset:
            return self._restart(codes.SOFT_RESET)
        if faults.power_dip:
            return self._restart(codes.POWER_DIP)
        if faults.power_cut:
            return self._restart(codes.POWER_ON)
        self._keep_pace()
        return not self._port.gone

    # --- what main calls ---------------------------------------------------------------------------------

    def restart(self) -> None:
        """Reset the chip. On hardware this does not return."""
        self._restart(codes.COMMANDED)

    def leave_port(self, line: str) -> None:
        """Run nothing: say a line, and leave the port to the interpreter's prompt until Ctrl-D restarts it there."""
        prompt = FreePrompt(self._port, line)
        self._truth.write("port_free", self._elapsed_ms, 0, self.motor())
        while not self._port.gone:
            self._let_pass(LOOP_MS)
            if prompt.restarts():
                self._restart(codes.SOFT_RESET)
                return

    def starts_again(self) -> bool:
        """Whether the board has restarted: the mind is built anew, with what registers and flash have kept."""
        cause = self._restart_cause
        if cause < 0:
            return False
        self._restart_cause = -1
        self._start(cause)
        return True

    def close(self) -> None:
        """The machine is switched off: the drive first, then the last word of the truth."""
        self.off()
        self._truth.write("end", self._elapsed_ms, 0, "off", cable=[noise.told() for noise in self._noise])
        self._truth.close()

    def motor(self) -> str:
        """What the pins do to the motor now: drive, brake or off."""
        if self._pin.output_permille() or self._driving.step_rate:
            return "drive"
        return "brake" if self._driving.brake else "off"

    # --- within ------------------------------------------------------------------------------------------

    def _start(self, cause: int) -> None:
        """The program begins: a boot number, a clock and a counter of its own."""
        self.identity = Identity("simulated", _CAPABILITIES, self._boots.below(65536), cause, self._told_pace)
        self.blind_ms = _BLIND_MS[cause]
        self._renewed_ms = self._elapsed_ms
        self._lapses = 0
        self._fed_ms = self._elapsed_ms
        self._clock_ms = _CLOCK_START_MS
        self._zero = self.plant.pulses - _COUNTER_START
        self._remainder = b""
        self._usb.forget()
        self._overshoot.restarted()
        self._pace.set_out(self._elapsed_ms)

    def _kept(self) -> "tuple[int, int] | None":
        """The job and its count that the program keeps in the registers; None where it keeps none."""
        past = Registers(self.backup).read()
        return None if past is None else (past.job_id, past.count)

    def _drive(self, outputs: Outputs) -> None:
        """Put the outputs on the pins."""
        _copy(outputs, self._driving)
        if outputs.duty or self._pin.output_permille():
            self._pin.pwm()
            self._pin.duty_u16(outputs.duty * FULL // 1000)

    def _advance(self) -> None:
        """A period passes for the machine, whether or not the program runs."""
        if not self._elapsed_ms:
            # once the loop runs: whoever waits for it may interrupt at once, and the end is told all the same
            self._truth.write("start", 0, 0, "off")
        plant = self.plant
        self._pin.wait_us(_LOOP_US)
        duty = self._pin.output_permille()
        others = self._driving
        running = bool(duty or others.brake or others.step_rate or others.lamp)
        plant.step(duty, others.brake, others.step_rate, others.lamp)
        self._overshoot.step(plant.passed, plant.pulses, running)
        self._elapsed_ms += LOOP_MS
        self._quiet_ms += LOOP_MS
        if plant.pulses != self._counted:
            self._counted = plant.pulses
            self._quiet_ms = 0
        self._clock_ms = (self._clock_ms + LOOP_MS) & _CLOCK_MASK
        at_rest = not running and plant.speed == 0.0
        if at_rest and not self._resting:
            self._truth.write("rest", self._elapsed_ms, 0, "off")
        self._resting = at_rest
        self._usb.noisy = plant.faults.noise
        self._truth.sample(self._elapsed_ms, duty, self.motor())
        if self._elapsed_ms - self._renewed_ms >= LEASE_MS and self.motor() != "off":
            self._lapses += 1
            self.off()
            self._truth.write("lease_ended", self._elapsed_ms, 0, "off")

    def _held_up(self) -> int:
        """A period goes by in which the port holds the program up; what the clock is then."""
        self._advance()
        self._keep_pace()
        return self._elapsed_ms

    def _restart(self, cause: int) -> bool:
        """The program is gone, without a word of goodbye. What happens until it runs again; False, to end the loop.

        A reset of the chip lets go of every pin, and pull-downs hold them low. A restart of the interpreter leaves
        them as they are until boot.py. Steps end either way: who makes them is reset with the interpreter.
        """
        faults = self.plant.faults
        self._applied.off()
        self._driving.step_rate = 0
        if cause == codes.SOFT_RESET:
            self._pin.soft_reset()
            self._let_pass(_FIRST_LINE_MS)
            self._pin.low()
        else:
            self._pin.chip_reset()
        if cause == codes.POWER_DIP:
            self._registers.dip()
        elif cause == codes.POWER_ON:
            self._registers.lose_power()
        self._driving = Outputs()
        self._truth.write(_RESTARTS[cause], self._elapsed_ms, 0, "off")
        while faults.power_dip or faults.power_cut:
            self._let_pass(LOOP_MS)
        self._let_pass(_BOOT_MS)
        faults.restarted()
        # the chip takes a reset that its program asks for to be its watchdog's: that is how it is made
        self._restart_cause = codes.WATCHDOG if cause == codes.COMMANDED else cause
        return False

    def _turns(self) -> bool:
        """Whether flash must not be written: a motor drives, what it has driven does not stand, or pulses come.

        A spool that a hand turns behind a dead sensor is none of these. No program can know of it, and the stall
        harms nothing: no drive is there to be let alone, and no pulse to be lost.
        """
        plant = self.plant
        if plant.motor_speed != 0.0 or self.motor() == "drive":
            return True
        return plant.speed != 0.0 and self._quiet_ms < _QUIET_MS

    def _let_pass(self, time_ms: int) -> None:
        for _ in range(0, time_ms, LOOP_MS):
            # there is no program whose lease could end
            self._renewed_ms = self._elapsed_ms
            self._advance()
            self._keep_pace()

    def _keep_pace(self) -> None:
        self._pace.keep(self._elapsed_ms, self._elapsed_ms - self._heard_ms, self._resting)


def _copy(source: Outputs, to: Outputs) -> None:
    to.duty = source.duty
    to.brake = source.brake
    to.step_rate = source.step_rate
    to.lamp = source.lamp


def open_board(arguments: "list[str]") -> SimulatedBoard:
    """The board that the JSON file of the first argument describes. Ends the program when there is none."""
    if not arguments:
        sys.stderr.write("The simulated board needs a machine: start it with `reelwright simulate JOB.toml`.\n")
        raise SystemExit(2)
    with open(arguments[0]) as file:
        spec = json.load(file)
    port = SocketPort(spec["tcp_port"]) if spec["tcp_port"] else TerminalPort(spec["terminal"])
    return SimulatedBoard(spec, port)

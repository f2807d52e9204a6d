"""The simulated board: the plant instead of pins, virtual time, a pseudo-terminal or a socket for a port.

Argument 1 is a JSON file: seed, pace (virtual seconds in a real one, 0 for as fast as it can), faults (pairs of
kind and turns), truth_path, stops (pulses, the target last), tcp_port (0 for standard input and output), and the
tables take_up, pay_off, strand and machine that the plant reads.
"""

import json
import sys

from boards.desktop import SocketPort, StandardPort, real_ms
from boards.noise import Noise
from boards.truth_file import TruthFile
from plant.chance import Chance
from plant.truth import Overshoot
from plant.winder import Plant
from windcore.service import Identity
from windcore.signals import Inputs, Outputs
from windcore.ticks import LOOP_MS
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any

INTERRUPT = b"\x03"  # the byte that a terminal sends for Ctrl-C
_CLOCK_MASK = (1 << 30) - 1
_CLOCK_START_MS = (1 << 30) - 5000  # so that every run sees it wrap

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
)

# At full speed the clock waits for a silent host, so that the word of a live one always comes in time and the silence
# of a dead one still passes; and it takes its time when nothing happens either.
_FREE_MS = 500
_WAITING_PACE = 20.0
_IDLE_MS = 60000
_IDLE_PACE = 1.0

_SHORTEST_PAUSE_MS = 2.0
_LONGEST_LAG_MS = 100.0  # of real time: beyond it the clock does not catch up


class SimulatedBoard:
    """A board in the sense of `windcore.loop`. `starts_again` says whether the mind must be built anew on it."""

    def __init__(self, spec: "dict[str, Any]", port: "StandardPort | SocketPort") -> None:
        self._port = port
        self._pace = float(spec["pace"])
        self.plant = Plant(spec, LOOP_MS)
        self._overshoot = Overshoot(spec["stops"])
        self._truth = TruthFile(spec["truth_path"], self.plant, self._overshoot)
        self._boots = Chance(spec["seed"] + 1)
        self._noise = Noise(Chance(spec["seed"] + 2))
        self._elapsed_ms = 0  # since the machine was switched on: never wraps, never starts again
        self._applied = Outputs()
        self._driving = Outputs()
        self._resting = True
        self._heard_ms = 0
        self._cut = False
        self._remainder = b""
        self._start()
        self._truth.write("start", 0, 0, "off")

    # --- what the loop calls -----------------------------------------------------------------------------

    def now_ms(self) -> int:
        """The virtual clock, in milliseconds that wrap at 2^30."""
        return self._clock_ms

    def read(self, inputs: Inputs) -> None:
        """Fill in pulses and switches."""
        inputs.pulses = self.plant.pulses - self._zero
        inputs.switches = self.plant.switches

    def apply(self, outputs: Outputs) -> None:
        """Keep what to drive; it reaches the machine in the period after this one."""
        _copy(outputs, self._applied)

    def off(self) -> None:
        """Motor off, now."""
        self._applied.off()
        self._driving.off()

    def receive(self, room: bytearray) -> int:
        """Bytes that have arrived. Raises KeyboardInterrupt on the byte of Ctrl-C, as the real port does."""
        count = self._port.receive(room)
        if not count:
            return 0
        self._heard_ms = self._elapsed_ms
        if bytes(room[:count]).find(INTERRUPT) >= 0:
            raise KeyboardInterrupt
        faults = self.plant.faults
        if faults.link_silent:
            return 0
        if faults.noise:
            left = self._noise.spoil(room[:count])
            count = len(left)
            room[:count] = left
        return count

    def send(self, line: bytes) -> bool:
        """Hand a line to the port. What it does not take at once is kept, and goes before the next line."""
        if self._remainder:
            self._remainder = self._remainder[self._port.write(self._remainder) :]
            if self._remainder:
                return False
        if self.plant.faults.noise:
            line = self._noise.spoil(line)
        taken = self._port.write(line)
        if taken < len(line):
            if not taken:
                return False
            self._remainder = line[taken:]
        return True

    def wait(self) -> bool:
        """Let a period pass: the previous outputs drive the machine. False on a power cut, or when nobody is there."""
        self._advance(self._driving)
        _copy(self._applied, self._driving)
        if self.plant.faults.power_cut:
            self._black_out()
            return False
        self._keep_pace()
        return not self._port.gone

    # --- what main calls ---------------------------------------------------------------------------------

    def starts_again(self) -> bool:
        """Whether the power has come back after a cut: the mind starts anew, with the count and the job lost."""
        if self._cut:
            self._cut = False
            self._start()
            return True
        return False

    def close(self) -> None:
        """The machine is switched off: the drive first, then the last word of the truth."""
        self.off()
        self._truth.write("end", self._elapsed_ms, 0, "off")
        self._truth.close()

    # --- within ------------------------------------------------------------------------------------------

    def _start(self) -> None:
        """Power on: a boot number, a clock and a counter of its own."""
        self.identity = Identity(
            "simulated", _CAPABILITIES, self._boots.below(65536), codes.POWER_ON, round(self._pace)
        )
        self._clock_ms = _CLOCK_START_MS
        self._zero = self.plant.pulses
        self._remainder = b""
        self._set_out()

    def _advance(self, outputs: Outputs) -> None:
        plant = self.plant
        running = bool(outputs.duty or outputs.brake or outputs.step_rate or outputs.lamp)
        plant.step(outputs.duty, outputs.brake, outputs.step_rate, outputs.lamp)
        self._overshoot.step(plant.passed, plant.pulses, running)
        self._elapsed_ms += LOOP_MS
        self._clock_ms = (self._clock_ms + LOOP_MS) & _CLOCK_MASK
        at_rest = not running and plant.speed == 0.0
        if at_rest and not self._resting:
            self._truth.write("rest", self._elapsed_ms, 0, "off")
        self._resting = at_rest
        self._truth.sample(self._elapsed_ms, outputs.duty, _motor(outputs))

    def _black_out(self) -> None:
        self.off()
        self._truth.write("power_cut", self._elapsed_ms, 0, "off")
        dark = Outputs()
        while self.plant.faults.power_cut:
            self._advance(dark)
            self._keep_pace()
        self._cut = True

    def _set_out(self) -> None:
        """Measure the pace from here."""
        self._from_virtual_ms = self._elapsed_ms
        self._from_real_ms = real_ms()
        self._present_pace = 0.0

    def _keep_pace(self) -> None:
        pace = self._pace or self._pace_for_host()
        if pace != self._present_pace:
            self._set_out()
            self._present_pace = pace
        if not pace:
            return
        ahead_ms = (self._elapsed_ms - self._from_virtual_ms) / pace - (real_ms() - self._from_real_ms)
        if ahead_ms >= _SHORTEST_PAUSE_MS:
            self._port.pause(int(ahead_ms))
        elif ahead_ms < -_LONGEST_LAG_MS:
            self._set_out()
            self._present_pace = pace

    def _pace_for_host(self) -> float:
        silent_ms = self._elapsed_ms - self._heard_ms
        if silent_ms <= _FREE_MS:
            return 0.0
        if self._resting and silent_ms > _IDLE_MS:
            return _IDLE_PACE
        return _WAITING_PACE


def _copy(source: Outputs, to: Outputs) -> None:
    to.duty = source.duty
    to.brake = source.brake
    to.step_rate = source.step_rate
    to.lamp = source.lamp


def _motor(outputs: Outputs) -> str:
    if outputs.duty or outputs.step_rate:
        return "drive"
    return "brake" if outputs.brake else "off"


def open_board(arguments: "list[str]") -> SimulatedBoard:
    """The board that the JSON file of the first argument describes. Ends the program when there is none."""
    if not arguments:
        sys.stderr.write("The simulated board needs a machine: start it with `reelwright simulate JOB.toml`.\n")
        raise SystemExit(2)
    with open(arguments[0]) as file:
        spec = json.load(file)
    port = SocketPort(spec["tcp_port"]) if spec["tcp_port"] else StandardPort()
    return SimulatedBoard(spec, port)

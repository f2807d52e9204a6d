"""The whole machine, one step at a time."""

import math

from plant.chance import Chance
from plant.faults import Faults
from plant.friction import Friction, Shaft
from plant.hand import Hand, SpoolTurner
from plant.motor import Motor, geared
from plant.sensor import SlotSensor
from plant.spools import PayOff, TakeUp, wound_inertia_kg_m2
from plant.stepper import Stepper
from plant.strand import Span
from windlink.codes import DC, HAND, RUN_OUT_SWITCH, TENSION_SWITCH

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any

_TWO_PI = 2.0 * math.pi
_PER_TURN = 1.0 / _TWO_PI

# A sane machine, by common practice: a 12 V motor whose winding settles in a millisecond, a gearbox that
# loses a few hundredths of the stall torque, a rotor that reaches speed in about a tenth of a second, and
# eight times the torque that the strand asks for at the flange.
_SUPPLY_V = 12.0
_WINDING_S = 0.001
_GEAR_RATIO = 50.0
_TORQUE_RESERVE = 8.0
_LEAST_STALL_NM = 0.8
_SLIDING_SHARE = 0.03
_BREAKAWAY_SHARE = 0.045
_ROTOR_S = 0.1
_TENSION_SWITCH_TIMES = 4.0  # back tensions at which a tension switch acts
_WEAK_SHARES = (1e-9, 0.67)  # of the edges that a weak sensor misses, in turn; never all seen, or it would catch up
_WEAK_STEPS = 50  # on average until the next
_SLIPPING_SHARE = 0.5  # of the shaft's turns that a slipping spool does not follow
_STEPS_MADE = 1 / 3  # by a stepper that loses steps
_WEIGHING_CHANGE = 0.005  # change of inertia worth preparing the motor again


class Plant:
    """Motor or crank, spools, strand and sensor, in steps of step_ms, repeatable to the bit from spec["seed"].

    spec: what the host wrote, see `boards/simulated.py`. Read `pulses`, `wheel_pulses`, `illegal`, `switches`, and the
    truth in `turns`, `passed`, `length_mm`, `speed` (radians a second) and what a motor makes of that, `motor_speed`.
    """

    def __init__(self, spec: "dict[str, Any]", step_ms: int) -> None:
        chance = Chance(spec["seed"])
        machine = spec["machine"]
        strand = spec["strand"]
        self.faults = Faults([(kind, turns) for kind, turns in spec["faults"]])
        self.drive = machine["drive"]
        self._step_ms = step_ms
        self._take_up = _take_up(spec)
        self._pay_off = _pay_off(spec)
        self._span = Span()
        self._tension_limit_n = _TENSION_SWITCH_TIMES * machine["back_tension_n"] + 1.0
        self._sensor = SlotSensor(
            _fraction(machine["pulses_per_spool_turn"]), machine["channels"], chance, missed=machine.get("missed", 0.0)
        )
        wheel_mm = machine.get("wheel_mm_per_pulse", 0.0)
        self._wheel = SlotSensor(1.0 / wheel_mm, 1, Chance(spec["seed"] + 3)) if wheel_mm else None
        self._hand = Hand(machine["spool_rpm"], chance, step_ms)
        self._weakness = Chance(spec["seed"] + 6)
        self._turner = SpoolTurner(Chance(spec["seed"] + 5), step_ms) if spec.get("turned_by_hand") else None
        self._shaft = _geared_shaft(spec)
        self._stepper = _stepper(spec, step_ms)
        self._end_mm = self._pay_off.length_mm
        self._gram_per_mm = strand["density_g_cm3"] * 1e-3 * 0.25 * math.pi * strand["diameter_mm"] ** 2
        self._bare_kg_m2 = _bare_inertia_kg_m2(spec)
        self._barrel_mm = 0.5 * spec["take_up"]["barrel_diameter_mm"]
        self._inertia_kg_m2 = 0.0
        self._next_weighing_turns = 0.0
        self.speed = 0.0
        self.motor_speed = 0.0
        self._shaft_turns = 0.0
        self._slipped_turns = 0.0  # of the shaft within the spool
        self._weigh()
        if spec.get("tension_level"):
            # whoever has the tension watched draws the strand taut, or the winder would not start
            self._span.tension_n = self._pay_off.slip_n

    @property
    def turns(self) -> float:
        """True turns of the take-up spool, signed."""
        return self._take_up.turns

    @property
    def passed(self) -> int:
        """Slot edges that truly passed the sensor, signed."""
        return self._sensor.passed

    @property
    def pulses(self) -> int:
        """What the hardware counter says."""
        return self._sensor.counted

    @property
    def illegal(self) -> int:
        """Transitions that the counter has seen and no shaft can make."""
        return self._sensor.illegal

    @property
    def wheel_pulses(self) -> int:
        """What the measuring wheel's counter says; 0 where there is none."""
        return self._wheel.count if self._wheel else 0

    @property
    def length_mm(self) -> float:
        """True length of strand on the take-up spool."""
        return min(self._take_up.length_mm, self._end_mm)

    @property
    def tension_n(self) -> float:
        """Tension of the strand between the spools."""
        return self._span.tension_n

    @property
    def switches(self) -> int:
        """Bits of the switches that are active, fitted or not."""
        active = self.faults.switches
        if self._take_up.length_mm >= self._end_mm:
            active |= RUN_OUT_SWITCH
        if self._span.tension_n > self._tension_limit_n:
            active |= TENSION_SWITCH
        return active

    def step(self, duty: int, brake: int, step_rate: int, lamp: int) -> None:
        """One step under these outputs of the control."""
        faults = self.faults
        take_up = self._take_up
        faults.step(take_up.turns, self.speed != 0.0, self._step_ms)
        pull_nm = self._span.tension_n * take_up.radius_mm * 1e-3
        if self.drive == DC:
            if faults.motor_dead:
                duty = brake = 0
            elif faults.runaway:
                duty = 1000
            elif faults.dead_drive:
                duty = 0
            if faults.swapped_leads:
                duty = -duty
            turned = self._shaft.step(duty, brake, pull_nm) * _PER_TURN
            self.speed = self._shaft.motor.speed
        elif self.drive == HAND:
            turned = self._hand.step(lamp)
            self.speed = self._hand.speed_rps * _TWO_PI
        else:
            self._stepper.dead = faults.motor_dead
            made = _STEPS_MADE if faults.lost_steps else 1.0
            turned = self._stepper.step(step_rate, pull_nm) * _PER_TURN * made
            self.speed = self._stepper.speed * made
        self.motor_speed = 0.0 if self.drive == HAND else self.speed
        if self._turner:
            by_hand = self._turner.step(turned)
            if by_hand:
                turned += by_hand
                self.speed += by_hand * _TWO_PI * 1000 / self._step_ms
        if turned:
            self._turn(turned)
        elif not faults.snag and self._span.tension_n > self._pay_off.slip_n:
            # strand that was caught and is freed draws some off the pay-off spool by itself
            self._span.drawn(0.0, self._pay_off.slip_n)
        if faults.sensor_noise and not faults.sensor_dead:
            self._sensor.disturb()

    def _turn(self, turned: float) -> None:
        take_up = self._take_up
        before_mm = take_up.length_mm
        self._shaft_turns += turned
        if self.faults.slip:
            self._slipped_turns += _SLIPPING_SHARE * turned
        turns = self._shaft_turns - self._slipped_turns
        take_up.turn_to(turns)
        sensor = self._sensor
        sensor.dead = self.faults.sensor_dead
        sensor.swapped = self.faults.swapped_channels
        if self.faults.sensor_weak and self._weakness.below(_WEAK_STEPS) == 0:
            sensor.missed = _WEAK_SHARES[self._weakness.below(2)]
        sensor.turn_to(self._shaft_turns)
        if self.faults.run_out and before_mm < self._end_mm:
            self._end_mm = before_mm
        if before_mm >= self._end_mm:
            slip_n = 0.0
        elif self.faults.snag:
            slip_n = 1e9
        else:
            slip_n = self._pay_off.slip_n
        self._span.drawn(take_up.length_mm - before_mm, slip_n)
        if self._wheel:
            self._wheel.dead = self.faults.wheel_dead
            self._wheel.turn_to(self.length_mm)
        if turns >= self._next_weighing_turns:
            self._weigh()

    def _weigh(self) -> None:
        """Once a turn: what the strand that moved over changes about either spool."""
        take_up = self._take_up
        self._next_weighing_turns = take_up.turns + 1.0
        self._pay_off.taken(self.length_mm)
        inertia = self._bare_kg_m2 + wound_inertia_kg_m2(
            self.length_mm, self._gram_per_mm, self._barrel_mm, take_up.radius_mm
        )
        if abs(inertia - self._inertia_kg_m2) > _WEIGHING_CHANGE * inertia:
            self._inertia_kg_m2 = inertia
            if self.drive == DC:
                self._shaft.motor.prepare(inertia, self._step_ms / 1000)
            self._stepper.inertia_kg_m2 = inertia


def _fraction(pair: "list[int]") -> float:
    return pair[0] / pair[1]


def _take_up(spec: "dict[str, Any]") -> TakeUp:
    machine = spec["machine"]
    strand = spec["strand"]
    return TakeUp(
        spec["take_up"]["barrel_diameter_mm"],
        machine["stroke_mm"],
        _fraction(machine["turns_per_layer"]),
        _fraction(machine["first_pass_turns"]),
        strand["diameter_mm"],
        strand["rise"],
        _fraction(machine.get("dwell_turns", (0, 1))),
    )


def _pay_off(spec: "dict[str, Any]") -> PayOff:
    spool = spec["pay_off"]
    return PayOff(
        spool["length_mm"],
        spool["barrel_diameter_mm"],
        spool["inside_width_mm"],
        spec["strand"]["diameter_mm"],
        spec["machine"]["back_tension_n"],
    )


def _stall_nm(spec: "dict[str, Any]") -> float:
    flange_m = 0.5e-3 * float(spec["take_up"]["flange_diameter_mm"])
    return max(_LEAST_STALL_NM, _TORQUE_RESERVE * float(spec["machine"]["back_tension_n"]) * flange_m)


def _no_load_speed(spec: "dict[str, Any]") -> float:
    return float(spec["machine"]["no_load_rpm"]) / 60.0 * _TWO_PI


def _geared_shaft(spec: "dict[str, Any]") -> Shaft:
    """A motor that reaches the no-load speed of the spec against its own friction, at full duty."""
    stall_nm = _stall_nm(spec)
    speed = _no_load_speed(spec)
    constant = _SUPPLY_V * (1.0 - _SLIDING_SHARE) / speed
    resistance_ohm = constant * _SUPPLY_V / stall_nm
    motor = Motor(resistance_ohm, resistance_ohm * _WINDING_S, 0.0, constant / _GEAR_RATIO)
    friction = Friction(_SLIDING_SHARE * stall_nm, _BREAKAWAY_SHARE * stall_nm, spec["machine"]["ratchet"])
    return Shaft(geared(motor, _GEAR_RATIO), friction, _SUPPLY_V)


def _stepper(spec: "dict[str, Any]", step_ms: int) -> Stepper:
    stall_nm = _stall_nm(spec)
    return Stepper(
        _fraction(spec["machine"]["steps_per_spool_turn"]),
        stall_nm,
        2.0 * _no_load_speed(spec),
        _SLIDING_SHARE * stall_nm,
        step_ms / 1000,
    )


def _bare_inertia_kg_m2(spec: "dict[str, Any]") -> float:
    """The empty spool taken as a disc of the flange's radius, and a DC motor's rotor seen through its gearbox."""
    flange_mm = 0.5 * float(spec["take_up"]["flange_diameter_mm"])
    spool = 0.5e-9 * float(spec["take_up"]["empty_mass_g"]) * flange_mm * flange_mm
    if spec["machine"]["drive"] != DC:
        return spool
    return spool + _ROTOR_S * _stall_nm(spec) / _no_load_speed(spec)

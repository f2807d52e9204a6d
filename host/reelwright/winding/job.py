"""A job: what to wind, from what, onto what, with which machine.

The classes have the shape and the names of a job file, so that a range, a unit and a default stand in one
place. They hold checked values: ranges are beside each type, and what one value forbids another is checked
by whoever builds a Job. Optional numbers are None where the job does not say.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Literal, cast

from attrs import fields_dict, frozen, has

from reelwright.winding.gears import turns_per_layer
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from attrs import AttrsInstance

Millimetres = Annotated[float, Quantity("mm", above=0, at_most=5000)]
StrandMillimetres = Annotated[float, Quantity("mm", at_least=0.05, at_most=50)]
Grams = Annotated[float, Quantity("g", above=0, at_most=100_000)]
EmptyGrams = Annotated[float, Quantity("g", at_least=0, at_most=50_000)]
Metres = Annotated[float, Quantity("m", above=0, at_most=1_000_000)]
EndMetres = Annotated[float, Quantity("m", at_least=0, at_most=1000)]
Rpm = Annotated[float, Quantity("rpm", above=0, at_most=10_000)]
# a host that has nothing to ask speaks every half second: four of its words may be lost
LinkLossS = Annotated[float, Quantity("s", at_least=2, at_most=600)]
Turns = Annotated[Fraction, Quantity("turns", above=0, at_most=10_000_000)]
Teeth = Annotated[int, Quantity("teeth", at_least=1, at_most=10_000)]
TorqueNm = Annotated[float, Quantity("N m", above=0, at_most=10_000)]
Correlation = Annotated[float, Quantity("", at_least=-1, at_most=1)]
Density = Annotated[float, Quantity("g/cm3", above=0.1, at_most=25)]

Figure = Literal["diameter", "rise", "density"]
RiseModel = Literal["crossing", "nested", "stacked"]
Fitting = Literal["run_out_switch", "tension_switch", "guard_switch", "stop_button", "go_button", "measuring_wheel"]

DEFAULT_DRIVE_EFFICIENCY = 0.85  # three spur stages at 95 % each, common practice
DEFAULT_DENSITY_U_G_CM3 = 0.02  # the spread of one plastic between its grades, general plastics tables


@frozen
class TakeUp:
    """The spool wound onto."""

    barrel_diameter_mm: Millimetres
    flange_diameter_mm: Millimetres
    inside_width_mm: Millimetres
    empty_mass_g: EmptyGrams | None = None
    barrel_diameter_u_mm: Annotated[float, Quantity("mm", at_least=0, at_most=50)] = 0.1
    barrel: Literal["smooth", "grooved"] = "smooth"
    name: str = ""


@frozen
class PayOff:
    """The spool wound from, known by its mass, by its wound diameter, or by the length that it holds.

    held_u_m is a standard uncertainty.
    """

    gross_mass_g: Grams | None = None
    empty_mass_g: EmptyGrams | None = None
    wound_diameter_mm: Millimetres | None = None
    held_m: Metres | None = None
    held_u_m: Annotated[float, Quantity("m", at_least=0, at_most=100_000)] | None = None
    barrel_diameter_mm: Millimetres | None = None
    inside_width_mm: Millimetres | None = None
    name: str = ""


@frozen
class Strand:
    """The strand. diameter_u_mm and density_u_g_cm3 are standard uncertainties.

    second_diameter_mm: across the first, where the strand is oval. Strand turns freely round its axis as it is drawn,
    so it lies with either diameter upright as often: its lay goes by the mean of the two, its mass by their
    product. diameter_u_mm is then of the mean, and shifts both alike, as a micrometer's error does.
    """

    diameter_mm: StrandMillimetres
    diameter_u_mm: Annotated[float, Quantity("mm", at_least=0, at_most=5)] = 0.02
    density_g_cm3: Density | None = None
    density_u_g_cm3: Annotated[float, Quantity("g/cm3", at_least=0, at_most=5)] | None = None
    material: str = ""
    name: str = ""
    second_diameter_mm: StrandMillimetres | None = None

    @property
    def mean_diameter_mm(self) -> float:
        """The diameter that the lay goes by."""
        return self.diameter_mm if self.second_diameter_mm is None else (self.diameter_mm + self.second_diameter_mm) / 2

    @property
    def known_density_u_g_cm3(self) -> float:
        """The density's standard uncertainty, with its default."""
        return DEFAULT_DENSITY_U_G_CM3 if self.density_u_g_cm3 is None else self.density_u_g_cm3


@frozen
class Machine:
    """The winder: gears, sensor, drive, and what is fitted to it. All rpm are of the take-up spool.

    back_tension_n is of the strand before any fixed guide; guide_wrap_deg and guide_friction are of the guides that
    it then bends round. motor_torque_n_m is what the motor gives at its own shaft at winding speed for as long as a
    wind takes, gear_torque_n_m what the gearing bears at the spool's shaft.

    dwell_turns: turns of a pass in which the guide stands at the flange while the spool turns. They are part of the
    turns per layer, half of them at each end of a pass.
    """

    pulses_per_turn: Annotated[int, Quantity("pulses", at_least=1, at_most=100_000)]
    gears: tuple[tuple[Teeth, Teeth], ...] | None = None
    screw_turns_per_pass: Annotated[Fraction, Quantity("turns", above=0, at_most=10_000)] | None = None
    turns_per_layer: Annotated[Fraction, Quantity("turns", above=0, at_most=10_000)] | None = None
    stroke_mm: Millimetres | None = None
    sensor_shaft: Literal["spool", "crank", "motor"] = "spool"
    shaft_turns_per_spool_turn: Annotated[Fraction, Quantity("turns", above=0, at_most=10_000)] = Fraction(1)
    sensor: Literal["single", "quadrature"] = "single"
    phase_turns: Annotated[Fraction, Quantity("turns", at_least=0, at_most=10_000)] | None = None
    dwell_turns: Annotated[Fraction, Quantity("turns", at_least=0, at_most=10_000)] = Fraction(0)
    drive: Literal["hand", "dc", "stepper"] = "dc"
    steps_per_spool_turn: Annotated[Fraction, Quantity("steps", above=0, at_most=10_000_000)] | None = None
    max_spool_rpm: Rpm = 120.0
    spool_rpm: Rpm | None = None
    line_speed_m_s: Annotated[float, Quantity("m/s", above=0, at_most=100)] | None = None
    creep_rpm: Rpm | None = None
    no_load_rpm: Rpm | None = None
    acceleration_rpm_s: Annotated[float, Quantity("rpm/s", above=0, at_most=100_000)] = 60.0
    deceleration_rpm_s: Annotated[float, Quantity("rpm/s", above=0, at_most=100_000)] | None = None
    ratchet: bool = True
    back_tension_n: Annotated[float, Quantity("N", at_least=0, at_most=1000)] = 2.0
    guide_wrap_deg: Annotated[float, Quantity("deg", at_least=0, at_most=1080)] = 0.0
    guide_friction: Annotated[float, Quantity("", at_least=0, at_most=1)] = 0.0
    motor_torque_n_m: TorqueNm | None = None
    motor_turns_per_spool_turn: Annotated[Fraction, Quantity("turns", above=0, at_most=10_000)] | None = None
    drive_efficiency: Annotated[float, Quantity("", above=0, at_most=1)] = DEFAULT_DRIVE_EFFICIENCY
    gear_torque_n_m: TorqueNm | None = None
    on_link_loss: Literal["wind_on", "pause", "trip"] = "pause"
    link_loss_s: LinkLossS = 5.0
    guide_distance_mm: Annotated[float, Quantity("mm", above=0, at_most=100_000)] | None = None
    fitted: tuple[Fitting, ...] = ("stop_button",)
    measuring_wheel_mm_per_pulse: Annotated[float, Quantity("mm", above=0.01, at_most=1000)] | None = None
    slip_percent: Annotated[float, Quantity("%", at_least=1, at_most=50)] = 10.0
    standstill_s: Annotated[float, Quantity("s", at_least=0.05, at_most=10)] = 0.3
    no_pulses_s: Annotated[float, Quantity("s", at_least=0.1, at_most=60)] = 1.0
    name: str = ""

    @property
    def layer_turns(self) -> Fraction:
        """Spool turns per layer, N, given or from the gears."""
        if self.turns_per_layer is not None:
            return self.turns_per_layer
        if self.gears is None or self.screw_turns_per_pass is None:
            raise ValueError("a machine needs turns_per_layer, or gears and screw_turns_per_pass")
        return turns_per_layer(self.gears, self.screw_turns_per_pass)

    @property
    def first_pass_turns(self) -> Fraction:
        """Turns left to the guide's next reversal; at a flange a whole layer."""
        return self.phase_turns or self.layer_turns

    @property
    def pulses_per_spool_turn(self) -> Fraction:
        """Pulses of the sensor in one turn of the take-up spool."""
        return self.pulses_per_turn * self.shaft_turns_per_spool_turn

    @property
    def cruise_rpm(self) -> float:
        """The speed to wind at: spool_rpm, by default the highest allowed. A line speed may ask for less."""
        return self.max_spool_rpm if self.spool_rpm is None else self.spool_rpm

    @property
    def motor_ratio(self) -> Fraction:
        """Motor turns in one spool turn: given, or as a sensor on the motor has them, or else 1."""
        if self.motor_turns_per_spool_turn is not None:
            return self.motor_turns_per_spool_turn
        return self.shaft_turns_per_spool_turn if self.sensor_shaft == "motor" else Fraction(1)

    @property
    def approach_rpm(self) -> float:
        """The speed of the last approach to a stop: creep_rpm, by default 6 rpm or the cruise if that is less."""
        return min(6.0, self.cruise_rpm) if self.creep_rpm is None else self.creep_rpm

    @property
    def slowing_rpm_s(self) -> float:
        """How fast the spool slows down; unless said, half as fast as it gains speed, since a motor brakes less."""
        if self.deceleration_rpm_s is not None:
            return self.deceleration_rpm_s
        return self.acceleration_rpm_s if self.drive == "stepper" else self.acceleration_rpm_s / 2

    @property
    def full_duty_rpm(self) -> float:
        """Spool speed of the unloaded drive at full duty: no_load_rpm, by default 1.4 times the highest allowed."""
        return 1.4 * self.max_spool_rpm if self.no_load_rpm is None else self.no_load_rpm


@frozen
class Lay:
    """How layers rise: a model's name, or a measured factor. rise_u is its standard uncertainty.

    Where it is not given, `lay.default_rise_u` tells it by model and lay pitch.
    """

    rise: RiseModel | Annotated[float, Quantity("", above=0, at_most=1.5)] = "crossing"
    rise_u: Annotated[float, Quantity("", at_least=0, at_most=0.5)] | None = None


@frozen
class Calibration:
    """Where figures of this job's strand were measured. The program writes it; the values stand in strand and lay.

    figures: those of this job that are the calibration's. found: those that its measurements settled, the rest was
    known before. date: as 2031-05-04. readings: how many measurements. pitch_mm: lay pitch at which the
    rise was found. diameter_rise_r and so on: correlation coefficients of the figures' errors.
    """

    strand: str = ""
    method: str = ""
    date: str = ""
    readings: Annotated[int, Quantity("", at_least=0, at_most=1_000_000)] = 0
    figures: tuple[Figure, ...] = ()
    found: tuple[Figure, ...] = ()
    pitch_mm: Millimetres | None = None
    diameter_rise_r: Correlation = 0.0
    diameter_density_r: Correlation = 0.0
    rise_density_r: Correlation = 0.0

    @property
    def correlations(self) -> tuple[float, float, float]:
        """Of diameter and rise, diameter and density, rise and density; 0 where the job has another value for one."""
        pairs = (("diameter", "rise"), ("diameter", "density"), ("rise", "density"))
        given = (self.diameter_rise_r, self.diameter_density_r, self.rise_density_r)
        with_rise, with_density, of_others = (
            value if set(pair) <= set(self.figures) else 0.0 for pair, value in zip(pairs, given, strict=True)
        )
        return with_rise, with_density, of_others


@frozen
class Target:
    """How much to wind: exactly one of TARGET_KINDS.

    Length and mass are of the counted strand; leader_m and tail_m are wound besides. Layers and turns are of
    everything wound. flange_margin_mm fills the spool: every level of strand that leaves at least so much flange on
    each side is wound in full, and none is begun that would not. Marks are lengths of counted strand at which to
    pause.
    """

    length_m: Metres | None = None
    mass_g: Grams | None = None
    layers: Annotated[Fraction, Quantity("layers", above=0, at_most=1000)] | None = None
    turns: Turns | None = None
    flange_margin_mm: Annotated[float, Quantity("mm", at_least=0, at_most=2500)] | None = None
    leader_m: EndMetres = 0.0
    tail_m: EndMetres = 0.0
    pause_every_layer: bool = False
    pause_at_layers: tuple[Annotated[int, Quantity("", at_least=1, at_most=1000)], ...] = ()
    marks_m: tuple[Metres, ...] = ()

    @property
    def ends_m(self) -> float:
        """Strand that is wound and not counted: leader and tail."""
        return self.leader_m + self.tail_m


STRAND_SIZES_MM = (1.75, 2.85)  # that such strand is sold in; common practice

TARGET_KINDS = ("length_m", "mass_g", "layers", "turns", "flange_margin_mm")


@frozen
class Job:
    """One wind, whole. Build it with `profiles.load_job` or `profiles.build_job`, which check it."""

    take_up: TakeUp
    strand: Strand
    machine: Machine
    target: Target
    lay: Lay = Lay()
    pay_off: PayOff | None = None
    calibration: Calibration | None = None

    @property
    def stroke_mm(self) -> float:
        """Distance between the outermost strand centres: given, or what the inside width leaves."""
        if self.machine.stroke_mm is not None:
            return self.machine.stroke_mm
        return self.take_up.inside_width_mm - self.strand.mean_diameter_mm

    def to_dict(self) -> dict[str, object]:
        """The job as plain JSON or TOML data, every default but None written out; `build_job` reads it back."""
        return _plain(self)


class ImpossibleJobError(ValueError):
    """A job whose values are each allowed and together cannot be wound.

    key: path in the job. message: why, and the mend.
    """

    def __init__(self, key: str, message: str) -> None:
        super().__init__(f"{key}: {message}")
        self.key = key
        self.message = message


def _plain(table: object) -> dict[str, object]:
    kind = cast("type[AttrsInstance]", type(table))
    values = ((name, getattr(table, name)) for name in fields_dict(kind))
    return {name: _plain_value(value) for name, value in values if value is not None}


def _plain_value(value: object) -> object:
    if has(type(value)):
        return _plain(value)
    if isinstance(value, Fraction):
        # a whole number stays a number; any other fraction is text, which keeps it exact
        return value.numerator if value.denominator == 1 else str(value)
    if isinstance(value, tuple):
        return [_plain_value(item) for item in value]
    return value

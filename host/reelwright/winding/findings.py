"""What a person should know before winding: the limits, declared once, and what is found beyond them.

The sentences of the plan, its JSON and the table of the README all come from LIMITS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import reduce
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from reelwright.winding.nouns import agreeing
from reelwright.winding.rounding import rounded_down, rounded_up

if TYPE_CHECKING:
    from reelwright.winding.job import Job

OWN = "own limit"
PRACTICE = "common practice"
GEOMETRY = "geometry"
ROPE_MANUAL = "Wire Rope Users Manual, fig. 39"
COUNTING = "the winder counts whole pulses"
THE_JOB = "given in the job"

_SLACK = 1e-9  # of the limit, or of 1 at a limit of 0: what floats may add to a value that is meant to stand at it


class Limit(NamedTuple):
    """How far a quantity may go, who says so, and what happens beyond.

    The limit is `factor`, in `unit`, or so many times the value at `key` of the job, or another figure of the plan;
    `beside` says it in words where number or key would not. remedy: what to do where no value of the job mends it.
    blocks: beyond it the wind must not be started.
    """

    code: str
    quantity: str
    bound: Literal["at least", "at most"]
    factor: float
    unit: str
    source: str
    consequence: str
    key: str = ""
    beside: str = ""
    remedy: str = ""
    blocks: bool = False

    def of(self, job: Job) -> float | None:
        """The limit for this job; None where the job does not give the value that it hangs on."""
        if not self.key:
            return self.factor
        value: Any = reduce(getattr, self.key.split("."), job)
        return None if value is None else self.factor * float(value)

    def text(self) -> str:
        """The limit for any job: "at most 1.25 x strand.diameter_mm"."""
        if self.beside:
            return f"{self.bound} {self.beside}"
        if self.key:
            return f"{self.bound} {'' if self.factor == 1 else f'{self.factor:g} x '}{self.key}"
        return f"{self.bound} {self.factor:g} {self.unit}".rstrip()


LIMITS: dict[str, Limit] = {
    limit.code: limit
    for limit in (
        Limit(
            "over_flange", "flange left above the strand", "at least", 0, "mm", GEOMETRY,
            "the strand stands above the flange and slips off", blocks=True,
        ),
        Limit(
            "near_flange", "flange left above the strand", "at least", 1, "mm", OWN,
            "the last turns may slip over the flange", key="strand.mean_diameter_mm", beside="one strand diameter",
        ),
        Limit(
            "pitch_tight", "lay pitch", "at least", 1, "mm", GEOMETRY,
            "turns climb onto one another, and length and layers do not come out as planned",
            key="strand.mean_diameter_mm", beside="one strand diameter",
        ),
        Limit(
            "pitch_wide", "lay pitch", "at most", 1.25, "mm", OWN,
            "turns leave gaps, and upper layers sag into them", key="strand.mean_diameter_mm",
            beside="1.25 strand diameters",
        ),
        Limit(
            "overfull_layers", "share of the layers' space that the strand takes", "at most", 100, "%", GEOMETRY,
            "not even as one solid piece would it go in, so that the layers rise by more", blocks=True,
        ),
        Limit(
            "against_flange", "gap between the outermost turn and the flange", "at least", 0, "mm", GEOMETRY,
            "the guide presses the strand against the flange", blocks=True,
        ),
        Limit(
            "end_gap", "gap between the outermost turn and the flange", "at most", 1, "mm", GEOMETRY,
            "turns of upper layers fall into it", key="strand.mean_diameter_mm", beside="one strand diameter",
        ),
        Limit(
            # one turn fills the place at the flange in the layer that ends there, one in the layer that begins there
            "flange_heap", "turns of a layer with the guide at a flange", "at most", 2, "turns", GEOMETRY,
            "more do not lie side by side there but heap up, and the wind is longer than planned",
        ),
        Limit(
            "tight_bend", "bending strain on the barrel", "at most", 3, "%", OWN,
            "stiff or damp strand may crack when it is left so",
        ),
        Limit(
            "fleet_angle", "fleet angle onto a smooth barrel", "at most", 1.5, "deg", ROPE_MANUAL,
            "the strand rubs on its neighbours and lies unevenly",
        ),
        Limit(
            "fleet_angle_grooved", "fleet angle onto a grooved barrel", "at most", 2, "deg", ROPE_MANUAL,
            "the strand rubs on the grooves and jumps out of them",
        ),
        Limit(
            "fleet_angle_small", "fleet angle at the flange", "at least", 0.5, "deg", ROPE_MANUAL,
            "nothing draws the strand back from the flange at the reversal, and turns pile up there",
        ),
        Limit(
            "crossed_layers", "crossings of the layer below in a turn, for a nested rise", "at most", 0, "", PRACTICE,
            "layers of opposite hand cross, and rise by more than nested ones",
        ),
        Limit(
            # at a pitch of one diameter the crossing model's rise moves by 0.003 for 3 %, a third of what a measured
            # one is unsure of by default
            "calibration_pitch", "lay pitch's distance from that at which the rise was calibrated", "at most", 3, "%",
            OWN, "the rise hangs on the pitch, and may be another one here",
            remedy="Calibrate at this pitch, or give lay.rise and lay.rise_u.",
        ),
        Limit(
            "line_speed_beyond", "spool speed for the line speed in layer 1", "at most", 1, "rpm", THE_JOB,
            "the strand runs slower than wanted there", key="machine.max_spool_rpm",
        ),
        Limit(
            "motor_torque", "torque of the motor that starts a full spool", "at most", 1, "N m", THE_JOB,
            "the motor stalls or lags behind its ramp", key="machine.motor_torque_n_m",
        ),
        Limit(
            "gear_torque", "torque at the shaft that starts a full spool", "at most", 1, "N m",
            THE_JOB, "the gearing wears or breaks", key="machine.gear_torque_n_m",
        ),
        Limit(
            "too_few_pulses", "sensor's count in a layer and up to the target", "at least", 1, "pulses",
            COUNTING, "the winder cannot stop there", remedy="Wind more.", blocks=True,
        ),
        Limit(
            "source_short", "strand that the pay-off spool may hold at most", "at least", 0, "m", THE_JOB,
            "it runs out before the target", beside="what the wind takes",
            remedy="Wind less, or take a fuller spool.", blocks=True,
        ),
        Limit(
            "source_doubtful", "strand that the pay-off spool surely holds", "at least", 0, "m", THE_JOB,
            "it may run out before the target", beside="what the wind takes",
            remedy="Weigh it and an empty one like it, or be ready for a run-out.",
        ),
        Limit(
            "tare_unknown", "doubt that the pay-off spool's unknown empty mass leaves", "at most", 0, "m", OWN,
            "so much more or less than reckoned may be on it",
            remedy="Weigh an empty spool of the same kind and set pay_off.empty_mass_g.",
        ),
    )
}  # fmt: skip


class Change(NamedTuple):
    """A value of the job file to change, and to what: at least or at most this, or "" for just this."""

    key: str
    bound: Literal["at least", "at most", ""]
    value: float | str

    @property
    def doing(self) -> str:
        """The verb, with what it does not share: "take a spool with"."""
        return _DOING[self.key][0]

    @property
    def what(self) -> str:
        """What to do it to: "a barrel of at least 56.6 mm"."""
        value = self.value if isinstance(self.value, str) else f"{self.value:.12g}"
        return agreeing(value, _DOING[self.key][1]).format(f"{self.bound} {value}".lstrip())


# Changes to make together.
Mend = tuple[Change, ...]
Mends = Iterable[Mend]

_DOING = {
    "lay.rise": ("set the rise to", "{}, or to a measured factor"),
    "machine.acceleration_rpm_s": ("gain speed by", "{} rpm/s"),
    "machine.back_tension_n": ("loosen the brake to", "{} N of back tension"),
    "machine.dwell_turns": ("let the guide stand for", "{} turns"),
    "machine.guide_distance_mm": ("set the fixed guide", "{} mm from the spool"),
    "machine.line_speed_m_s": ("ask for a line speed of", "{} m/s"),
    "machine.max_spool_rpm": ("let the spool turn at", "{} rpm, if the winder may"),
    "machine.motor_turns_per_spool_turn": ("gear the motor for", "{} turns a spool turn"),
    "machine.pulses_per_turn": ("fit a sensor of", "{} pulses a turn"),
    "machine.shaft_turns_per_spool_turn": ("gear the sensor's shaft for", "{} turns a spool turn"),
    "machine.stroke_mm": ("set the stroke to", "{} mm"),
    "machine.turns_per_layer": ("gear for", "{} spool turns a layer"),
    "strand.diameter_mm": ("wind strand of", "{} mm"),
    "strand.second_diameter_mm": ("wind strand of", "{} mm across"),
    "take_up.barrel_diameter_mm": ("take a spool with", "a barrel of {} mm"),
    "take_up.flange_diameter_mm": ("take a spool with", "a flange of {} mm"),
    "take_up.inside_width_mm": ("take a spool with", "an inside width of {} mm"),
    "target.flange_margin_mm": ("leave", "{} mm of flange"),
    "target.layers": ("wind", "{} layers"),
    "target.length_m": ("wind", "{} m"),
    "target.mass_g": ("wind", "{} g"),
    "target.turns": ("wind", "{} turns"),
}


class Finding(NamedTuple):
    """Something a person should know before winding. blocks: the wind must not be started.

    fact: what is found, with its number, its limit and who set it. remedy: what to do, in words; mends: the same as
    values of the job file, each mend enough by itself for this finding. value and limit are in `unit`.
    """

    code: str
    fact: str
    blocks: bool = False
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    source: str = ""
    remedy: str = ""
    mends: tuple[Mend, ...] = ()

    @property
    def message(self) -> str:
        """Fact and remedy in one text."""
        return f"{self.fact} {self.remedy}".rstrip()

    def to_dict(self) -> dict[str, object]:
        """The finding as plain JSON data."""
        return {
            "code": self.code,
            "message": self.message,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
            "source": self.source,
            "remedy": self.remedy,
            "mends": [{change.key: change.value for change in mend} for mend in self.mends],
        }


def judge(
    code: str,
    value: float,
    against: Job | float,
    mends: Callable[[float], Mends] = lambda _limit: (),
    more: Callable[[float], str] = lambda _limit: "",
) -> list[Finding]:
    """The finding of this code if the value lies beyond its limit, else none.

    value: in the limit's unit. against: the job, which gives the limit, or another figure of the plan. mends, more (a
    further fact): asked with the limit, and only beyond it.
    """
    row = LIMITS[code]
    limit = against if isinstance(against, float | int) else row.of(against)
    if limit is None or within(row, value, limit):
        return []
    # a limit as one may go by it, and the value away from it, lest both read alike
    inside, outside = (rounded_up, rounded_down) if row.bound == "at least" else (rounded_down, rounded_up)
    fact = (
        f"The {row.quantity} is {_told(outside(value), row.unit)} and {'must' if row.blocks else 'should'} be "
        f"{row.bound} {_told(inside(limit), row.unit)} ({row.source}): {row.consequence}."
    )
    mended = tuple(mends(limit))
    return [
        Finding(
            code,
            f"{fact} {more(limit)}".rstrip(),
            row.blocks,
            value,
            limit,
            row.unit,
            row.source,
            remedy_text(mended) or row.remedy,
            mended,
        )
    ]


def _told(value: float, unit: str) -> str:
    text = f"{value:.4g}"
    return f"{text} {agreeing(text, unit)}".rstrip()


def within(row: Limit, value: float, limit: float) -> bool:
    """Whether the value keeps the limit; a value at the limit does, whatever rounding adds to it."""
    slack = _SLACK * (abs(limit) or 1.0)
    return value <= limit + slack if row.bound == "at most" else value >= limit - slack


def remedy_text(mends: Mends) -> str:
    """What to do, in a sentence: "Gear for at most 34.8 spool turns a layer, or ...". Empty without mends."""
    text = ", or ".join(" and ".join(_steps(mend)) for mend in mends)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _steps(mend: Mend) -> Iterator[str]:
    doing = ""
    for change in mend:
        yield change.what if change.doing == doing else f"{change.doing} {change.what}"
        doing = change.doing


def limits_table() -> str:
    """The limits as a table of Markdown, a row a code."""
    rows = ["| code | what | limit | source | beyond it |", "| --- | --- | --- | --- | --- |"]
    for row in LIMITS.values():
        forbidden = "; **forbidden**" if row.blocks else ""
        rows.append(f"| `{row.code}` | {row.quantity} | {row.text()} | {row.source} | {row.consequence}{forbidden} |")
    return "\n".join(rows)

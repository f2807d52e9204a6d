"""The plan of a wind: everything that is known before it starts, and what a count means while it runs."""

from __future__ import annotations

from bisect import bisect_right
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

from attrs import frozen

from reelwright.winding.drive import line_speed_m_s
from reelwright.winding.source import Drawn

if TYPE_CHECKING:
    from fractions import Fraction

    from reelwright.winding.coil import Coil
    from reelwright.winding.drive import Ramp
    from reelwright.winding.drive_load import DriveLoad
    from reelwright.winding.findings import Finding
    from reelwright.winding.fit import Fit
    from reelwright.winding.job import Job
    from reelwright.winding.pace import Pace
    from reelwright.winding.pulses import PulseScale
    from reelwright.winding.source import SourceCheck
    from reelwright.winding.uncertainty import Estimate, Inputs

StopKind = Literal["layer", "mark"]


class LayerRow(NamedTuple):
    """One layer of the plan. Lengths are of all strand wound, leader and tail included."""

    layer: int
    turns: float
    length_m: float
    cumulative_length_m: float
    diameter_mm: float  # over the strand once the layer is laid
    spool_rpm: float  # that draws the wanted line speed here, up to the machine's limit; else the machine's own
    line_speed_m_s: float  # at that speed
    torque_n_m: float  # at the spool, from the back tension


class Wound(NamedTuple):
    """What is on the spool at a count. u is standard; mass is None where the density is not known."""

    pulses: int
    turns: float
    layers: int  # layers begun
    length_m: float  # counted strand
    length_u_m: float
    mass_g: float | None  # of the counted strand
    mass_u_g: float | None
    phase_turns: Fraction  # turns left to the guide's next reversal


@frozen(slots=False, eq=False)  # the answers that a live view asks for again and again are kept
class Plan:
    """A wind planned. Build it with `make_plan`.

    length_m and mass_g are of the counted strand; wound_length_m and wound_mass_g add leader and tail.
    turns, full_layers and last_layer_turns are of everything wound: turns = full layers + last_layer_turns.
    """

    job: Job
    coil: Coil
    scale: PulseScale
    inputs: Inputs
    rise_factor: float
    exact_turns: Fraction
    full_layers: int
    last_layer_turns: float
    length: Estimate  # mm
    mass: Estimate | None  # g
    wound_length_m: float
    wound_mass_g: float | None
    fit: Fit
    outer_diameter: Estimate  # mm
    fits_length_m: float  # of counted strand, the most that the spool takes below its flange's rim
    source: SourceCheck | None
    target_pulses: int
    layer_pulses: tuple[int, ...]  # end of each layer; the last is the target
    layers: tuple[LayerRow, ...]
    stops: tuple[tuple[int, StopKind], ...]  # pauses before the target, ascending
    pace: Pace
    seconds: float  # turning time, without the pauses
    load: DriveLoad
    findings: tuple[Finding, ...]
    phase_turns: Fraction  # turns left to the guide's next reversal once the target's pulse is reached

    @property
    def turns(self) -> float:
        """Spool turns to the target."""
        return float(self.exact_turns)

    @property
    def counted_turns(self) -> float:
        """The turns that people are told of the job: those at the target's pulse, as the winder stops at no other."""
        return self.scale.turns(self.target_pulses)

    @property
    def length_m(self) -> float:
        """Counted strand: as asked for, to the last digit, where a length was."""
        asked_m = self.job.target.length_m
        return self.length.value / 1000 if asked_m is None else asked_m

    @property
    def fits_more_m(self) -> float:
        """How much more counted strand the spool takes than is asked for; negative where that is too much."""
        return self.fits_length_m - self.length_m

    @property
    def drawn(self) -> Drawn:
        """What the wind takes off the pay-off spool."""
        return Drawn(self.inputs.strand, self.inputs.wound_mm(self.coil, float(self.exact_turns)))

    @property
    def length_u_m(self) -> float:
        """Standard uncertainty of length_m."""
        return self.length.u / 1000

    @property
    def mass_g(self) -> float | None:
        """Mass of the counted strand, likewise."""
        if self.mass is None or self.job.target.mass_g is None:
            return None if self.mass is None else self.mass.value
        return self.job.target.mass_g

    @property
    def mass_u_g(self) -> float | None:
        """Standard uncertainty of mass_g."""
        return None if self.mass is None else self.mass.u

    @property
    def length_reason(self) -> str:
        """What makes the length unsure most, and what to do about it; "" where nothing does."""
        return self.length.reason("length", self.job.calibration)

    @property
    def mass_reason(self) -> str | None:
        """Likewise of the mass; None where the density is not known."""
        return None if self.mass is None else self.mass.reason("mass", self.job.calibration)

    @property
    def layer_turns(self) -> Fraction:
        """Spool turns per layer."""
        return self.coil.turns_per_layer

    @property
    def first_pass_turns(self) -> Fraction:
        """Turns of layer 1: a whole layer, or what is left of the pass that the guide stands in."""
        return self.coil.first_pass_turns

    @property
    def pulses_per_spool_turn(self) -> Fraction:
        """Pulses in one turn of the take-up spool, exactly."""
        return self.scale.per_spool_turn

    @property
    def pulses_per_layer(self) -> Fraction:
        """Pulses in one whole layer, exactly."""
        return self.coil.turns_per_layer * self.scale.per_spool_turn

    @property
    def cruise_rpm(self) -> float:
        """Speed of the spool in the first layer, where it is fastest; a wanted line speed lowers it in those above."""
        return self.layers[0].spool_rpm

    @property
    def slowest_rpm(self) -> float:
        """Cruise in the last layer."""
        return self.load.cruise_rpm

    @property
    def ramp(self) -> Ramp | None:
        """How the drive goes from stop to stop; None for a hand drive."""
        return self.pace.ramp

    @property
    def torque_n_m(self) -> float:
        """Torque at the spool in the outer layer, from the back tension."""
        return self.load.spool_torque_n_m

    @property
    def blocking(self) -> tuple[str, ...]:
        """Codes of the findings that forbid winding."""
        return tuple(finding.code for finding in self.findings if finding.blocks)

    @cached_property
    def _leader_mm(self) -> float:
        return 1000 * self.job.target.leader_m

    @cached_property
    def _tail_mm(self) -> float:
        return 1000 * self.job.target.tail_m

    @cached_property
    def _turns(self) -> float:
        return float(self.exact_turns)

    def turns_at(self, pulses: int) -> float:
        """Spool turns at this count; negative where the spool was turned back beyond its start."""
        return self.scale.turns(pulses)

    def wound_length_m_at(self, pulses: int) -> float:
        """All strand on the spool at this count."""
        return self.coil.length_mm(self.scale.turns(pulses)) / 1000

    def length_m_at(self, pulses: int) -> float:
        """Counted strand on the spool at this count.

        The leader is not counted and comes first; the tail comes last, so the figure stands still over the
        tail, and goes on with whatever is wound beyond the target.
        """
        return self._counted_mm(self.scale.turns(pulses))[0] / 1000

    def layer_at(self, pulses: int) -> tuple[int, float, float]:
        """(layer from 1, turns laid in it, turns that it will have) at this count.

        A layer just filled is still the present one. The last planned layer may have fewer turns.
        """
        begun = max(pulses, 1)
        layer = self.coil.full_passes(self.scale.exact_turns(begun)) + 1
        while self.scale.pulses(self.coil.pass_end(layer - 1)) >= begun:
            layer -= 1  # a pass that ends on this pulse, or is rounded up to it
        start = self.coil.end_turns(layer - 1)
        planned = self.layers[layer - 1].turns if layer <= len(self.layers) else float(self.coil.turns_per_layer)
        if pulses > self.target_pulses:
            planned = self.coil.end_turns(layer) - start
        return layer, min(max(self.scale.turns(pulses) - start, 0.0), planned), planned

    def line_speed_m_s(self, pulses: int, rpm: float) -> float:
        """Speed of the strand at this count and spool speed."""
        return line_speed_m_s(rpm, self.coil.turn_length_at_mm(self.scale.turns(pulses)))

    def seconds_left(self, pulses: int, rpm: float) -> float | None:
        """Turning time left to the target, the ramps of the stops on the way included; None at rest."""
        if rpm <= 0:
            return None
        left = max(self._turns - self.scale.turns(pulses), 0.0)
        if self.ramp is None:
            return left * 60 / rpm
        following = bisect_right(self._leg_ends, pulses)
        if following == len(self._leg_ends):
            return 0.0
        return self.pace.seconds(pulses, self._leg_ends[following], rpm) + self._legs_after[following]

    def at_pulses(self, pulses: int, uncertain_turns: float = 0.0) -> Wound:
        """What was really wound at this count, short of the target or beyond it.

        uncertain_turns: the count may be off by so many either way, as restarts have left it.
        """
        exact = self.scale.exact_turns(max(pulses, 0))
        turns = float(exact)
        _, ends_mm = self._counted_mm(turns)
        length, mass = self.inputs.length_and_mass(self.coil, turns, ends_mm, uncertain_turns)
        return Wound(
            pulses=pulses,
            turns=self.scale.turns(pulses),
            layers=self.layer_at(pulses)[0] if pulses > 0 else 0,
            length_m=max(length.value, 0.0) / 1000,
            length_u_m=length.u / 1000,
            mass_g=None if mass is None else max(mass.value, 0.0),
            mass_u_g=None if mass is None else mass.u,
            phase_turns=turns_to_reversal(self.coil, exact),
        )

    def _counted_mm(self, turns: float) -> tuple[float, float]:
        """(counted length, uncounted ends) at these turns."""
        wound = self.coil.length_mm(turns)
        leader = min(wound, self._leader_mm)
        planned = 1000 * self.wound_length_m - self._leader_mm - self._tail_mm
        tail = min(max(wound - leader - planned, 0.0), self._tail_mm)
        return wound - leader - tail, leader + tail

    @cached_property
    def _leg_ends(self) -> list[int]:
        return [pulses for pulses, _ in self.stops] + [self.target_pulses]

    @cached_property
    def _legs_after(self) -> list[float]:
        """For each leg, the time of all that follow it."""
        after = [0.0]
        if self.ramp is not None:
            for begin, end in zip(self._leg_ends[-2::-1], self._leg_ends[:0:-1], strict=True):
                after.append(after[-1] + self.pace.seconds(begin, end))
        return after[::-1]

    def to_dict(self) -> dict[str, object]:
        """The plan as plain JSON data; units as in the keys."""
        from reelwright.winding.record import plan_record  # loaded late: the two need one another

        return plan_record(self)


def turns_to_reversal(coil: Coil, turns: Fraction) -> Fraction:
    """Turns left until the guide turns back; a whole layer where it has just done so."""
    return coil.pass_end(coil.full_passes(turns) + 1) - turns

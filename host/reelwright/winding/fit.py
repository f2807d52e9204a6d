"""Does the wind fit the spool, and will it lie well? The figures; what they mean is said in `advice`."""

from __future__ import annotations

from math import atan, degrees, pi, radians, tan
from typing import TYPE_CHECKING, NamedTuple

from reelwright.winding.coil import MOST_LAYERS
from reelwright.winding.mass import section_mm2

if TYPE_CHECKING:
    from fractions import Fraction

    from reelwright.winding.coil import Coil
    from reelwright.winding.job import Job

CROSSINGS_A_TURN = 2  # layers of opposite hand, one turn on another of the same pitch
_SLACK = 1e-10  # of a layer: what floats may take from a layer that just fits


class Fit(NamedTuple):
    """How the strand sits on the spool. Lengths in mm, shares and strain as plain ratios."""

    outer_diameter_mm: float
    flange_margin_mm: float  # left on each side between the strand and the flange's rim; negative: too much
    end_gap_mm: float  # between the outermost turn and the flange
    fill_share: float  # of the space between the flanges, by volume
    bending_strain: float
    fleet_angle_deg: float | None
    largest_strand_mm: float  # that this gearing and stroke lay without climbing
    crossings: float  # of a turn over one of the layer below, in the whole wind


def layer_share(job: Job, coil: Coil) -> float:
    """Of the space that the lay leaves to a layer, what its strand takes: section over pitch times rise."""
    return section_mm2(job.strand.diameter_mm, job.strand.second_diameter_mm) / (coil.pitch_mm * coil.rise_mm)


def bending_strain(strand_diameter_mm: float, barrel_diameter_mm: float) -> float:
    """Strain at the outside of strand bent round the barrel: d / (barrel + d), beam theory."""
    return strand_diameter_mm / (barrel_diameter_mm + strand_diameter_mm)


def fleet_angle_deg(stroke_mm: float, guide_distance_mm: float) -> float:
    """Largest angle of the strand between the last fixed guide and the spool: half the stroke over the distance."""
    return degrees(atan(stroke_mm / 2 / guide_distance_mm))


def guide_distance_mm(stroke_mm: float, angle_deg: float) -> float:
    """Distance of the last fixed guide that gives this fleet angle; the inverse of fleet_angle_deg."""
    return stroke_mm / 2 / tan(radians(angle_deg))


def laying_turns(job: Job, coil: Coil) -> float:
    """Spool turns of a layer in which the guide travels."""
    return job.stroke_mm / coil.pitch_mm


def touching_turns(job: Job, coil: Coil, stroke_mm: float) -> float:
    """Spool turns per layer at which turns just touch on this stroke, p = d."""
    return float(coil.turns_per_layer) - laying_turns(job, coil) + stroke_mm / job.strand.mean_diameter_mm


def strand_for_pitch_mm(job: Job, coil: Coil, pitch_in_diameters: float) -> float:
    """Strand that these gears lay at this pitch, in its diameters; a stroke not given follows the strand."""
    if job.machine.stroke_mm is not None:
        return coil.pitch_mm / pitch_in_diameters
    return job.take_up.inside_width_mm / (pitch_in_diameters * laying_turns(job, coil) + 1)


def crossings(coil: Coil, turns: float) -> float:
    """How often the strand crosses a turn of the layer below: twice a turn from layer 2 on, layers being of
    opposite hand. Wire-rope practice on multi-layer drums; also by the geometry of two helices.
    """
    return CROSSINGS_A_TURN * sum(laid for laid, level in coil.stretches(turns) if level > 0)


def outer_diameter_mm(coil: Coil, strand_diameter_mm: float, level: int) -> float:
    """Diameter over the strand at this level."""
    return 2 * coil.radius_mm(level) + strand_diameter_mm


def spool_volume_mm3(outer_mm: float, barrel_mm: float, width_mm: float) -> float:
    """Volume between barrel and outer diameter: pi/4 (D^2 - B^2) W."""
    return pi / 4 * (outer_mm * outer_mm - barrel_mm * barrel_mm) * width_mm


def measure_fit(job: Job, coil: Coil, turns: float) -> Fit:
    """The fit of these turns on the job's take-up spool."""
    spool, diameter = job.take_up, job.strand.mean_diameter_mm
    outer = outer_diameter_mm(coil, diameter, coil.top_level(turns))
    strand_mm3 = section_mm2(job.strand.diameter_mm, job.strand.second_diameter_mm) * coil.length_mm(turns)
    space_mm3 = spool_volume_mm3(spool.flange_diameter_mm, spool.barrel_diameter_mm, spool.inside_width_mm)
    distance = job.machine.guide_distance_mm
    return Fit(
        outer_diameter_mm=outer,
        flange_margin_mm=(spool.flange_diameter_mm - outer) / 2,
        end_gap_mm=(spool.inside_width_mm - job.stroke_mm - diameter) / 2,
        fill_share=strand_mm3 / space_mm3,
        bending_strain=bending_strain(diameter, spool.barrel_diameter_mm),
        fleet_angle_deg=None if distance is None else fleet_angle_deg(job.stroke_mm, distance),
        largest_strand_mm=strand_for_pitch_mm(job, coil, 1.0),
        crossings=crossings(coil, turns) * laying_turns(job, coil) / float(coil.turns_per_layer),
    )


def layers_that_fit(job: Job, coil: Coil, margin_mm: float = 0.0) -> int:
    """How many whole layers the flange holds, with so much of it left above them."""
    room = job.take_up.flange_diameter_mm / 2 - margin_mm - coil.inner_radius_mm - job.strand.mean_diameter_mm / 2
    layers = room / coil.rise_mm + _SLACK
    return 0 if layers < 0 else 1 + int(layers)


def filling_turns(job: Job, coil: Coil, margin_mm: float = 0.0) -> Fraction:
    """The turns that fill every level which leaves this margin at the flange, and begin no higher one.

    At most MOST_LAYERS - 1 levels, more than any spool holds.
    """
    return coil.turns_below(min(layers_that_fit(job, coil, margin_mm), MOST_LAYERS - 1))

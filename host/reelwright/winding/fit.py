"""Does the wind fit the spool, and will it lie well? Findings, each with a code and a sentence."""

from __future__ import annotations

from math import atan, degrees, pi
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from fractions import Fraction

    from reelwright.winding.coil import Coil
    from reelwright.winding.job import Job

WIDEST_PITCH = 1.25  # in strand diameters. Our own limit: beyond it a nested layer sinks by more than a fifth
HIGHEST_STRAIN = 0.03  # our own limit: stiff plastics crack when bent further and left so
WIDEST_FLEET_DEG = 1.5  # smooth drum, Wire Rope Users Manual


class Finding(NamedTuple):
    """Something a person should know before winding. blocks: the wind must not be started."""

    code: str
    message: str
    blocks: bool = False


class Fit(NamedTuple):
    """How the strand sits on the spool. Lengths in mm, shares and strain as plain ratios."""

    outer_diameter_mm: float
    flange_margin_mm: float  # left on each side between the strand and the flange's rim; negative: too much
    end_gap_mm: float  # between the outermost turn and the flange
    fill_share: float  # of the space between the flanges, by volume
    bending_strain: float
    fleet_angle_deg: float | None


def bending_strain(strand_diameter_mm: float, barrel_diameter_mm: float) -> float:
    """Strain at the outside of strand bent round the barrel: d / (barrel + d), beam theory."""
    return strand_diameter_mm / (barrel_diameter_mm + strand_diameter_mm)


def fleet_angle_deg(stroke_mm: float, guide_distance_mm: float) -> float:
    """Largest angle of the strand between the last fixed guide and the spool: half the stroke over the distance."""
    return degrees(atan(stroke_mm / 2 / guide_distance_mm))


def outer_diameter_mm(coil: Coil, strand_diameter_mm: float, level: int) -> float:
    """Diameter over the strand at this level; over the bare barrel for level -1."""
    if level < 0:
        return 2 * coil.inner_radius_mm - strand_diameter_mm
    return 2 * coil.radius_mm(level) + strand_diameter_mm


def spool_volume_mm3(outer_mm: float, barrel_mm: float, width_mm: float) -> float:
    """Volume between barrel and outer diameter: pi/4 (D^2 - B^2) W."""
    return pi / 4 * (outer_mm * outer_mm - barrel_mm * barrel_mm) * width_mm


def measure_fit(job: Job, coil: Coil, turns: float) -> Fit:
    """The fit of these turns on the job's take-up spool."""
    spool, diameter = job.take_up, job.strand.diameter_mm
    outer = outer_diameter_mm(coil, diameter, coil.top_level(turns))
    strand_mm3 = pi / 4 * diameter * diameter * coil.length_mm(turns)
    space_mm3 = spool_volume_mm3(spool.flange_diameter_mm, spool.barrel_diameter_mm, spool.inside_width_mm)
    distance = job.machine.guide_distance_mm
    return Fit(
        outer_diameter_mm=outer,
        flange_margin_mm=(spool.flange_diameter_mm - outer) / 2,
        end_gap_mm=(spool.inside_width_mm - job.stroke_mm - diameter) / 2,
        fill_share=strand_mm3 / space_mm3,
        bending_strain=bending_strain(diameter, spool.barrel_diameter_mm),
        fleet_angle_deg=None if distance is None else fleet_angle_deg(job.stroke_mm, distance),
    )


def layers_that_fit(job: Job, coil: Coil) -> int:
    """How many whole layers the flange holds."""
    room = job.take_up.flange_diameter_mm / 2 - coil.inner_radius_mm - job.strand.diameter_mm / 2
    return 0 if room < 0 else 1 + int(room / coil.rise_mm)


def fit_findings(job: Job, coil: Coil, fit: Fit, turns: Fraction) -> list[Finding]:
    """Everything about the fit that a person should know."""
    found = [*_flange(job, coil, fit, turns), *_pitch(job, coil), *_ends(job, fit)]
    if fit.bending_strain > HIGHEST_STRAIN:
        found.append(
            Finding(
                "tight_bend",
                f"The strand is bent by {fit.bending_strain:.1%} on this barrel; stiff or damp strand may crack. "
                "Take a spool with a wider barrel.",
            )
        )
    if fit.fleet_angle_deg is not None and fit.fleet_angle_deg > WIDEST_FLEET_DEG:
        found.append(
            Finding(
                "fleet_angle",
                f"The strand swings by {fit.fleet_angle_deg:.2f} degrees from the fixed guide, more than "
                f"{WIDEST_FLEET_DEG:g} (wire rope practice). Move the guide further from the spool.",
            )
        )
    return found


def _flange(job: Job, coil: Coil, fit: Fit, turns: Fraction) -> list[Finding]:
    margin, diameter = fit.flange_margin_mm, job.strand.diameter_mm
    if margin < 0:
        layers = layers_that_fit(job, coil)
        held = coil.length_mm(float(coil.pass_end(layers))) / 1000
        return [
            Finding(
                "over_flange",
                f"{float(turns):.1f} turns stand {-margin:.1f} mm above the flange ({fit.outer_diameter_mm:.1f} mm on "
                f"{job.take_up.flange_diameter_mm:g} mm). This spool holds {layers} whole layers, {held:.1f} m: "
                "wind less, or take a larger spool.",
                blocks=True,
            )
        ]
    if margin < diameter:
        return [
            Finding(
                "near_flange",
                f"Only {margin:.1f} mm of flange are left, less than one strand: the last turns may slip over.",
            )
        ]
    return []


def _pitch(job: Job, coil: Coil) -> list[Finding]:
    pitch, diameter = coil.pitch_mm, job.strand.diameter_mm
    if pitch < diameter * (1 - 1e-9):
        return [
            Finding(
                "pitch_tight",
                f"The lay pitch of {pitch:.3f} mm is less than the strand's {diameter:g} mm: turns climb onto one "
                "another, and length and layers will not come out as planned. Fewer turns per layer or a longer "
                "stroke mend it.",
            )
        ]
    if pitch > WIDEST_PITCH * diameter:
        return [
            Finding(
                "pitch_wide",
                f"The lay pitch of {pitch:.3f} mm leaves gaps of {pitch - diameter:.2f} mm beside strand of "
                f"{diameter:g} mm: upper layers sag into them. More turns per layer or a shorter stroke mend it.",
            )
        ]
    return []


def _ends(job: Job, fit: Fit) -> list[Finding]:
    diameter = job.strand.diameter_mm
    if fit.end_gap_mm < -1e-9:
        return [
            Finding(
                "against_flange",
                f"The stroke of {job.stroke_mm:g} mm and the strand need {job.stroke_mm + diameter:.2f} mm, and the "
                f"spool is {job.take_up.inside_width_mm:g} mm wide inside: the guide presses the strand against the "
                f"flange. Set machine.stroke_mm to at most {job.take_up.inside_width_mm - diameter:.2f}.",
                blocks=True,
            )
        ]
    if fit.end_gap_mm > diameter:
        return [
            Finding(
                "end_gap",
                f"{fit.end_gap_mm:.1f} mm stay free at each flange, more than one strand: turns of upper layers fall "
                "into the gap. A longer stroke or a narrower spool mends it.",
            )
        ]
    return []

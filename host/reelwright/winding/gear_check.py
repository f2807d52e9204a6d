"""What a gear train is worth: teeth, shafts, hands and the pitch at which it lays strand."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from attrs import frozen

from reelwright.winding.findings import GEOMETRY, LIMITS, PRACTICE, Finding, within
from reelwright.winding.gear_teeth import (
    Hand,
    MeetingTeeth,
    ToothForm,
    Undercut,
    centre_distance_mm,
    contact_ratio,
    helix_hands,
    least_profile_shift,
    least_teeth,
    least_teeth_in_practice,
    meeting_teeth,
    pitch_diameter_mm,
    tip_diameter_mm,
    undercut,
)
from reelwright.winding.gears import Stages, train_ratio, turns_per_layer, turns_same_way
from reelwright.winding.rounding import rounded_down, rounded_up

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

PitchVerdict = Literal["climbs", "good", "gaps"]

LEAST_CONTACT = 1.2  # common practice for quiet running; below 1 the teeth lose each other


@frozen
class Gear:
    """One gear. shaft: 1 is the spool's. hand: of its helix; a herringbone names both halves."""

    teeth: int
    shaft: int
    hand: Hand
    pitch_diameter_mm: float
    tip_diameter_mm: float
    undercut: Undercut
    profile_shift: float  # in modules, the least that frees it of undercut


@frozen
class Mesh:
    """Two gears that mesh, the driver on the shaft nearer to the spool."""

    driver: Gear
    driven: Gear
    centre_distance_mm: float
    contact_ratio: float
    meeting: MeetingTeeth


class StrandStroke(NamedTuple):
    """A strand and the stroke at which it would be laid. All in mm, exact."""

    diameter_mm: Fraction
    stroke_mm: Fraction


def pitch_verdict(pitch_mm: Fraction, strand_diameter_mm: Fraction) -> PitchVerdict:
    """How turns lie side by side, by the limits of the plan: below one they climb, beyond the other they leave gaps."""
    words: dict[str, PitchVerdict] = {"pitch_tight": "climbs", "pitch_wide": "gaps"}
    for code, verdict in words.items():
        if not within(LIMITS[code], float(pitch_mm), LIMITS[code].factor * float(strand_diameter_mm)):
            return verdict
    return "good"


@frozen
class LayPitch:
    """How a train lays one strand: exact pitch, and the verdict of the fit's own limits."""

    diameter_mm: Fraction
    stroke_mm: Fraction
    pitch_mm: Fraction
    verdict: PitchVerdict
    touching_stroke_mm: Fraction  # the stroke at which turns of this strand would just touch

    @property
    def error_mm(self) -> Fraction:
        """Pitch less strand diameter: negative where turns climb, else the gap between them."""
        return self.pitch_mm - self.diameter_mm


@frozen
class TrainCheck:
    """A train, looked at from all sides. meshes: from the spool to the screw."""

    form: ToothForm
    stages: Stages
    ratio: Fraction
    screw_turns_per_pass: Fraction
    turns_per_layer: Fraction
    dwell_turns: Fraction
    meshes: tuple[Mesh, ...]
    same_way: bool  # the screw turns the way the spool does
    coaxial: bool  # the last shaft can stand on the first one's axis
    lays: tuple[LayPitch, ...]
    findings: tuple[Finding, ...]


def check_train(
    stages: Stages,
    screw_turns_per_pass: Fraction,
    form: ToothForm,
    strands: Iterable[StrandStroke] = (),
    *,
    dwell_turns: Fraction = Fraction(0),
    want_coaxial: bool = False,
) -> TrainCheck:
    """Look at a train of at least one stage.

    dwell_turns: spool turns of a layer in which the guide stands at the flange, fewer than the layer has.
    want_coaxial: the last shaft is to stand on the first one's axis.
    """
    meshes = _meshes(stages, form)
    turns = turns_per_layer(stages, screw_turns_per_pass)
    lays = tuple(_lay(strand, turns - dwell_turns) for strand in strands)
    coaxial = len(stages) == 2 and sum(stages[0]) == sum(stages[1])
    found = [*_gear_findings(meshes, form), *_mesh_findings(meshes), *_shaft_findings(meshes)]
    if want_coaxial and not coaxial:
        found.append(_not_coaxial(meshes))
    found += [finding for lay in lays for finding in _lay_findings(lay)]
    return TrainCheck(
        form=form,
        stages=stages,
        ratio=train_ratio(stages),
        screw_turns_per_pass=screw_turns_per_pass,
        turns_per_layer=turns,
        dwell_turns=dwell_turns,
        meshes=meshes,
        same_way=turns_same_way(len(stages)),
        coaxial=coaxial,
        lays=lays,
        findings=tuple(found),
    )


def _meshes(stages: Stages, form: ToothForm) -> tuple[Mesh, ...]:
    hands = helix_hands(len(stages), form)
    return tuple(
        Mesh(
            _gear(driver, shaft, hand, form),
            _gear(driven, shaft + 1, driven_hand, form),
            centre_distance_mm(driver, driven, form),
            contact_ratio(driver, driven, form),
            meeting_teeth(driver, driven),
        )
        for shaft, ((driver, driven), (hand, driven_hand)) in enumerate(zip(stages, hands, strict=True), 1)
    )


def _gear(teeth: int, shaft: int, hand: Hand, form: ToothForm) -> Gear:
    return Gear(
        teeth,
        shaft,
        hand,
        pitch_diameter_mm(teeth, form),
        tip_diameter_mm(teeth, form),
        undercut(teeth, form),
        least_profile_shift(teeth, form),
    )


def _lay(strand: StrandStroke, laying_turns: Fraction) -> LayPitch:
    pitch = strand.stroke_mm / laying_turns
    return LayPitch(
        strand.diameter_mm,
        strand.stroke_mm,
        pitch,
        pitch_verdict(pitch, strand.diameter_mm),
        strand.diameter_mm * laying_turns,
    )


def _gear_findings(meshes: tuple[Mesh, ...], form: ToothForm) -> Iterator[Finding]:
    least, in_practice = least_teeth(form), least_teeth_in_practice(form)
    for gear in (gear for mesh in meshes for gear in (mesh.driver, mesh.driven)):
        if gear.undercut == "undercut":
            yield Finding(
                "undercut",
                f"The gear of {gear.teeth} teeth on shaft {gear.shaft} is undercut: its flanks lose their foot below "
                f"{least} teeth ({in_practice} in practice).",
                value=gear.teeth,
                limit=in_practice,
                unit="teeth",
                source=GEOMETRY,
                remedy="Take more teeth in the same proportion, or shift its profile outward by at least "
                f"{rounded_up(gear.profile_shift, 3):.3f} modules.",
            )


def _mesh_findings(meshes: tuple[Mesh, ...]) -> Iterator[Finding]:
    for mesh in meshes:
        if mesh.contact_ratio < LEAST_CONTACT:
            pairs = rounded_down(mesh.contact_ratio, 2)
            yield Finding(
                "low_contact",
                f"{mesh.driver.teeth} and {mesh.driven.teeth} teeth have {pairs:.2f} pairs in contact, "
                f"less than the {LEAST_CONTACT:g} of {PRACTICE}: they run rough.",
                value=mesh.contact_ratio,
                limit=LEAST_CONTACT,
                source=PRACTICE,
                remedy="Take more teeth.",
            )


def _shaft_findings(meshes: tuple[Mesh, ...]) -> Iterator[Finding]:
    """A gear on a shaft between two stages may be so large that the next shaft stands in it."""
    for before, after in pairwise(meshes):
        for gear, distance, shaft in (
            (before.driven, after.centre_distance_mm, after.driven.shaft),
            (after.driver, before.centre_distance_mm, before.driver.shaft),
        ):
            reach = gear.tip_diameter_mm / 2
            if reach >= distance:
                yield Finding(
                    "shaft_in_the_way",
                    f"The gear of {gear.teeth} teeth on shaft {gear.shaft} reaches {reach:.2f} mm from its axis, and "
                    f"shaft {shaft} stands {distance:.2f} mm away.",
                    value=reach,
                    limit=distance,
                    unit="mm",
                    source=GEOMETRY,
                    remedy="End that shaft before the gear, or share the ratio otherwise between the stages.",
                )


def _not_coaxial(meshes: tuple[Mesh, ...]) -> Finding:
    if len(meshes) != 2:
        stages = "one stage" if len(meshes) == 1 else f"{len(meshes)} stages"
        return Finding(
            "not_coaxial",
            f"A train of {stages} cannot end on the axis it begins on.",
            source=GEOMETRY,
            remedy="Share the ratio between two stages with the same sum of teeth.",
        )
    first, last = (mesh.centre_distance_mm for mesh in meshes)
    return Finding(
        "not_coaxial",
        f"The centre distances of {first:.3f} and {last:.3f} mm differ, so the screw's shaft misses the spool's axis "
        f"by {abs(first - last):.3f} mm.",
        value=abs(first - last),
        limit=0.0,
        unit="mm",
        source=GEOMETRY,
        remedy="Take gears with the same sum of teeth in both stages.",
    )


def _lay_findings(lay: LayPitch) -> Iterator[Finding]:
    diameter, pitch = float(lay.diameter_mm), float(lay.pitch_mm)
    touching = f"a stroke of {rounded_up(float(lay.touching_stroke_mm), 2):.2f} mm"
    if lay.verdict == "climbs":
        row = LIMITS["pitch_tight"]
        fact = f"Strand of {diameter:g} mm climbs at a pitch of {pitch:.3f} mm."
        remedy = f"It needs {row.bound} {touching}, or fewer turns per layer."
    elif lay.verdict == "gaps":
        row = LIMITS["pitch_wide"]
        fact = (
            f"Strand of {diameter:g} mm lies with gaps of {pitch - diameter:.2f} mm at a pitch of {pitch:.3f} mm, more "
            f"than {row.factor:g} diameters ({row.source}): {row.consequence}."
        )
        remedy = f"Turns touch at {touching}; more turns per layer mend it too."
    else:
        return
    limit = row.factor * diameter
    yield Finding(row.code, fact, value=pitch, limit=limit, unit=row.unit, source=row.source, remedy=remedy)

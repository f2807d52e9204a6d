"""Involute gears on parallel shafts: diameters, centre distance, undercut, contact and hand of helix.

All gears of a train are cut to one form, without profile shift. With a helix, module and pressure angle are
those of the section normal to the tooth, as cutters are named. Formulas: gear handbooks; ISO 21771 names.
"""

from __future__ import annotations

from math import atan, ceil, cos, floor, gcd, pi, radians, sin, sqrt, tan
from typing import Annotated, Literal, NamedTuple

from attrs import frozen

from reelwright.winding.quantities import Quantity

Hand = Literal["none", "right", "left", "right/left", "left/right"]
Undercut = Literal["none", "slight", "undercut"]

_OTHER: dict[Hand, Hand] = {
    "none": "none",
    "right": "left",
    "left": "right",
    "right/left": "left/right",
    "left/right": "right/left",
}


@frozen
class ToothForm:
    """What all gears of a train share. A helix angle of 0 is a spur gear.

    herringbone: the two halves of each gear are mirrored helices. module_mm and pressure_angle_deg are normal.
    """

    module_mm: Annotated[float, Quantity("mm", at_least=0.1, at_most=50)] = 1.0
    pressure_angle_deg: Annotated[float, Quantity("degrees", at_least=10, at_most=35)] = 20.0
    helix_angle_deg: Annotated[float, Quantity("degrees", at_least=0, at_most=60)] = 0.0
    herringbone: bool = False

    @property
    def kind(self) -> Literal["spur", "helical", "herringbone"]:
        """What the trade calls such a gear."""
        if self.herringbone:
            return "herringbone"
        return "helical" if self.helix_angle_deg else "spur"

    @property
    def transverse_module_mm(self) -> float:
        """The module in the plane of rotation: mn / cos beta."""
        return self.module_mm / cos(radians(self.helix_angle_deg))

    @property
    def transverse_pressure_rad(self) -> float:
        """The pressure angle in the plane of rotation: tan at = tan an / cos beta."""
        return atan(tan(radians(self.pressure_angle_deg)) / cos(radians(self.helix_angle_deg)))

    @property
    def thrust_share(self) -> float:
        """Axial push of a gear on its shaft, as a share of the tangential tooth force: tan beta; 0 where balanced."""
        return 0.0 if self.herringbone else tan(radians(self.helix_angle_deg))


def pitch_diameter_mm(teeth: int, form: ToothForm) -> float:
    """Pitch diameter: transverse module times teeth."""
    return form.transverse_module_mm * teeth


def tip_diameter_mm(teeth: int, form: ToothForm) -> float:
    """Diameter over the teeth, which stand one normal module above the pitch circle."""
    return pitch_diameter_mm(teeth, form) + 2 * form.module_mm


def centre_distance_mm(driver_teeth: int, driven_teeth: int, form: ToothForm) -> float:
    """Distance of the two shafts: mn (z1 + z2) / (2 cos beta)."""
    return form.transverse_module_mm * (driver_teeth + driven_teeth) / 2


def undercut_limit(form: ToothForm) -> float:
    """Teeth below which a rack-shaped cutter eats into the flank: 2 cos beta / sin^2 at; 17.10 for spur gears, 20°."""
    limit = 2 * cos(radians(form.helix_angle_deg)) / sin(form.transverse_pressure_rad) ** 2
    return round(limit, 9)  # 8 at 30 degrees, where the last bits of the sine would make it more


def least_teeth(form: ToothForm) -> int:
    """The fewest teeth without any undercut: the limit rounded up, 18 for spur gears of 20 degrees."""
    return ceil(undercut_limit(form))


def least_teeth_in_practice(form: ToothForm) -> int:
    """The fewest teeth that practice takes: the limit rounded to the nearest, 17 for spur gears of 20 degrees.

    Common practice: the undercut of the tooth that is missing is too small to matter.
    """
    return floor(undercut_limit(form) + 0.5)


def undercut(teeth: int, form: ToothForm) -> Undercut:
    """Whether the flanks of a gear lose something to the cutter."""
    if teeth >= undercut_limit(form):
        return "none"
    return "slight" if teeth >= least_teeth_in_practice(form) else "undercut"


def least_profile_shift(teeth: int, form: ToothForm) -> float:
    """Profile shift, in modules, that frees a gear of undercut: 1 - z / limit; 0 where none is needed.

    Source: gear handbooks, for a cutter that works to one module below the pitch line.
    """
    return max(0.0, 1 - teeth / undercut_limit(form))


def contact_ratio(driver_teeth: int, driven_teeth: int, form: ToothForm, addendum: float = 1.0) -> float:
    """Pairs of teeth in contact on average, in the plane of rotation (transverse contact ratio).

    Path of contact over base pitch. addendum: height of the teeth above the pitch circle, in normal modules.
    Each end of the path lies on the mate's tip circle, and at the farthest where the line of action touches
    the base circle, as there is no involute beyond. Of an undercut gear some of that is cut away too, so that
    it has at most this ratio. Source: gear handbooks.
    """
    angle = form.transverse_pressure_rad
    height = addendum * cos(radians(form.helix_angle_deg))  # in transverse modules, as all lengths here
    radii = (driver_teeth / 2, driven_teeth / 2)
    path = 0.0
    for radius, mate in (radii, radii[::-1]):
        to_tip = sqrt((radius + height) ** 2 - (radius * cos(angle)) ** 2) - radius * sin(angle)
        path += min(to_tip, mate * sin(angle))
    return path / (pi * cos(angle))


class MeetingTeeth(NamedTuple):
    """How the teeth of a pair take turns. hunting: each tooth meets every tooth of the mate.

    driver_turns: until the same two teeth meet again.
    """

    common_factor: int
    driver_turns: int
    hunting: bool


def meeting_teeth(driver_teeth: int, driven_teeth: int) -> MeetingTeeth:
    """How often the same two teeth meet. Coprime numbers of teeth wear evenly (a millwrights' rule)."""
    common = gcd(driver_teeth, driven_teeth)
    return MeetingTeeth(common, driven_teeth // common, common == 1)


def helix_hands(stage_count: int, form: ToothForm) -> tuple[tuple[Hand, Hand], ...]:
    """Hand of the helix of (driver, driven) for each stage, from the spool to the screw.

    Gears that mesh on parallel shafts have opposite hands. The two gears on one shaft of a compound train take
    the same hand: one is driven and the other drives, so that their axial pushes oppose each other. Herringbone
    halves are named from the same end of every shaft. All hands may be exchanged together.
    """
    first: dict[str, Hand] = {"spur": "none", "helical": "right", "herringbone": "right/left"}
    hand = first[form.kind]
    hands = []
    for _ in range(stage_count):
        hands.append((hand, _OTHER[hand]))
        hand = _OTHER[hand]
    return tuple(hands)

"""How much strand lies on a spool, reckoned place by place at 50 digits. Slow, plain, and knows nothing of the planner.

A guide carries the strand to and fro between two flanges, one pitch a turn; at each flange it stands for some turns.
Unrolled in turns of the spool, a pass is a row of places from 0 to N, and the way back runs over the same places in
the other order. Wherever the guide comes to a place, it lays strand on what lies there already: the first time on the
barrel, later on so many layers as it has been there before. So the row is cut into places that the guide passes
whole or not at all, and for each place the turns of strand on it are added up, height by height.
"""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction
from itertools import chain, cycle, pairwise
from math import floor
from typing import TYPE_CHECKING, NamedTuple

from mpmath import mp, mpf

if TYPE_CHECKING:
    from reelwright.winding.job import Job

mp.dps = 50


class Place(NamedTuple):
    """A piece of the row of a pass: where it begins and ends in turns, and whether the guide stands there."""

    begin: Fraction
    end: Fraction
    standing: bool


class Winder(NamedTuple):
    """What turns and what is wound, all exact. Lengths in mm, density in g/cm3, row and its parts in turns.

    stand: turns at each flange. ahead: turns to the first reversal. rise: model, or a measured factor.
    """

    barrel_mm: Fraction
    flange_mm: Fraction
    diameters_mm: tuple[Fraction, Fraction]
    stroke_mm: Fraction
    row: Fraction
    stand: Fraction
    ahead: Fraction
    rise: str | Fraction

    @property
    def strand_mm(self) -> Fraction:
        return sum(self.diameters_mm, Fraction(0)) / 2

    @property
    def pitch_mm(self) -> Fraction:
        return self.stroke_mm / (self.row - 2 * self.stand)


def number(exact: Fraction) -> mpf:
    return mpf(exact.numerator) / exact.denominator


def rise_mm(winder: Winder) -> mpf:
    """How much higher each layer lies, from circles: the strand's centre goes along the arc over the strand below.

    The arc has the radius of one strand diameter. Turns cannot lie closer than that; where the guide asks for
    closer ones, the same packing takes more height in the measure in which more turns lie on the width.
    """
    strand = number(winder.strand_mm)
    if isinstance(winder.rise, Fraction):
        return number(winder.rise) * strand
    apart = max(number(winder.pitch_mm), strand)
    aside = apart / 2
    above = mp.sqrt(strand**2 - aside**2) if aside < strand else mpf(0)  # of the bottom of the groove
    if winder.rise == "nested":
        height = above
    elif winder.rise == "stacked":
        height = strand
    else:
        # the mean height of the arc is the area below it over its width: a sector and a triangle
        height = (strand**2 * mp.asin(aside / strand) / 2 + aside * above / 2) / aside
    return height * apart / number(winder.pitch_mm) if apart > number(winder.pitch_mm) else height


def winder_of(job: Job) -> Winder:
    """The same wind in exact numbers."""
    strand, machine, rise = job.strand, job.machine, job.lay.rise
    second = strand.diameter_mm if strand.second_diameter_mm is None else strand.second_diameter_mm
    assert machine.turns_per_layer is not None
    return Winder(
        barrel_mm=Fraction(job.take_up.barrel_diameter_mm),
        flange_mm=Fraction(job.take_up.flange_diameter_mm),
        diameters_mm=(Fraction(strand.diameter_mm), Fraction(second)),
        stroke_mm=Fraction(job.stroke_mm),
        row=machine.turns_per_layer,
        stand=machine.dwell_turns / 2,
        ahead=machine.phase_turns or machine.turns_per_layer,
        rise=rise if isinstance(rise, str) else Fraction(rise),
    )


def places(winder: Winder, *more: Fraction) -> list[Place]:
    """The row of a pass cut where the guide starts, where it stands and travels, and at `more`."""
    row = winder.row
    cuts = sorted({Fraction(0), row, winder.stand, row - winder.stand, row - winder.ahead, *more})
    return [Place(a, b, b <= winder.stand or a >= row - winder.stand) for a, b in pairwise(cuts)]


def visits(winder: Winder, place: Place, turns: Fraction) -> int:
    """How often the guide has passed the place. It starts towards the far flange, `ahead` turns before it."""
    start, there_and_back = winder.row - winder.ahead, 2 * winder.row
    middle = (place.begin + place.end) / 2
    forth = floor((start + turns - middle) / there_and_back) + 1
    back = floor((start + turns - (there_and_back - middle)) / there_and_back) + 1
    return forth + back - (middle < start)


def resting_place(winder: Winder, turns: Fraction) -> Fraction:
    """Where in the row the guide is after these turns."""
    on = (winder.row - winder.ahead + turns) % (2 * winder.row)
    return min(on, 2 * winder.row - on)


def turns_by_height(winder: Winder, turns: Fraction) -> dict[tuple[int, bool], Fraction]:
    """How many of these turns lie on so many others, in travel and where the guide stands."""
    by_height: dict[tuple[int, bool], Fraction] = defaultdict(Fraction)
    for place in places(winder, resting_place(winder, turns)):
        for height in range(visits(winder, place, turns)):
            by_height[height, place.standing] += place.end - place.begin
    return by_height


def laid(winder: Winder, turns: Fraction) -> tuple[mpf, mpf]:
    """Length of strand and outer diameter after these turns, in mm."""
    by_height = turns_by_height(winder, turns)
    highest = 1 + max((height for height, _ in by_height), default=-1)
    rise, strand, barrel = rise_mm(winder), number(winder.strand_mm), number(winder.barrel_mm)
    innermost, higher = mp.pi * (barrel + strand), 2 * mp.pi * rise
    along_squared = number(winder.pitch_mm) ** 2
    length = mpf(0)
    for (height, standing), count in by_height.items():
        round_mm = innermost + height * higher
        length += number(count) * (round_mm if standing else mp.sqrt(round_mm * round_mm + along_squared))
    return length, barrel + 2 * strand + 2 * (highest - 1) * rise if highest else barrel


def mass_g(winder: Winder, density_g_cm3: Fraction, length_mm: mpf) -> mpf:
    """Density times ellipse times length."""
    first, second = winder.diameters_mm
    return number(density_g_cm3) / 1000 * mp.pi * number(first) * number(second) / 4 * length_mm


def turns_of_layers(winder: Winder, layers: Fraction) -> Fraction:
    """Turns of so many passes, the first of which may be short; a part of a pass is that part of its turns."""
    turns, left = Fraction(0), layers
    each = winder.ahead
    while left > 0:
        turns += min(left, Fraction(1)) * each
        left -= 1
        each = winder.row
    return turns


def turns_to_fill(winder: Winder, margin_mm: Fraction) -> Fraction:
    """Turns until the guide comes to a place where one more strand would leave less than this margin at the flange."""
    room = number((winder.flange_mm - winder.barrel_mm) / 2 - margin_mm - winder.strand_mm)
    if room < 0:
        return Fraction(0)
    most = 1 + int(mp.floor(room / rise_mm(winder)))
    row = places(winder)
    heights = dict.fromkeys(row, 0)
    rest_of_row = [place for place in row if place.begin >= winder.row - winder.ahead]
    turns = Fraction(0)
    for place in chain(rest_of_row, cycle([*reversed(row), *row])):
        if heights[place] == most:
            break
        heights[place] += 1
        turns += place.end - place.begin
    return turns

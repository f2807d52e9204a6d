"""The geometry of a wind: turns to length and length to turns, pass by pass.

The guide seldom stands at a flange when a wind starts. With `first_pass_turns` a left to the next reversal,
pass 1 covers only a/N of the width, on the barrel. Every later pass has that part of its width one level
higher than the rest: a turns of it lie on k - 1 levels of strand, the other N - a on k - 2. The guide comes
back over the high part first after an odd pass, last after an even one. With a = N there is one level a pass.

A guide may stand at the flange for some turns of each pass, its dwell, while the spool turns: circles, without pitch.
Half of the dwell is at each end of a pass, so that a reversal is the middle of a stand. A reversing screw is
alike both ways, so a pass read backwards is a pass; only so does the guide, on its way back, come over each
turn of a pass in mirrored order, which is what makes two levels of a pass and not more. A stand of up to two turns
puts a circle on each of two layers; those of a longer one are reckoned to lie in their layers too, although they
heap up.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction
from itertools import pairwise
from math import lcm, pi, sqrt
from typing import NamedTuple

MOST_LAYERS = 1000


class TooManyLayersError(ValueError):
    """A wind of more than MOST_LAYERS layers, which no spool holds."""


class Stretch(NamedTuple):
    """Turns of one pass that lie at one level, in travel or in a stand. Spool turns; level counts from 0."""

    start_turns: float
    turns: float
    start_length_mm: float
    turn_length_mm: float
    level: int


class _Part(NamedTuple):
    """A stretch of any pass of its kind: turns since the pass began, and level, from that of its lower part."""

    start: int  # in units of the coil's common denominator, as turns
    turns: int
    above: int
    standing: bool


class Coil:
    """Strand as it lies on the barrel.

    inner_radius_mm: of the strand's centre in layer 1. rise_mm: radial growth per layer. pitch_mm: lay
    pitch of the travelling guide. turns_per_layer: N, dwell included. first_pass_turns: a, above 0 and at most N.
    dwell_turns: w, at least 0 and below N.

    The table of stretches grows as deeper layers are asked for, up to MOST_LAYERS.
    """

    def __init__(
        self,
        inner_radius_mm: float,
        rise_mm: float,
        pitch_mm: float,
        turns_per_layer: Fraction,
        first_pass_turns: Fraction | None = None,
        dwell_turns: Fraction = Fraction(0),
    ) -> None:
        first = turns_per_layer if first_pass_turns is None else first_pass_turns
        if not 0 < first <= turns_per_layer:
            raise ValueError(f"the first pass must have more than 0 and at most {turns_per_layer} turns, not {first}")
        if not 0 <= dwell_turns < turns_per_layer:
            raise ValueError(f"the dwell must be at least 0 and below {turns_per_layer} turns, not {dwell_turns}")
        self.inner_radius_mm = inner_radius_mm
        self.rise_mm = rise_mm
        self.pitch_mm = pitch_mm
        self.turns_per_layer = turns_per_layer
        self.first_pass_turns = first
        # turns as integers over one denominator: exact, and quick to divide
        half_dwell = dwell_turns / 2
        self._below = lcm(turns_per_layer.denominator, first.denominator, half_dwell.denominator)
        self._each = int(turns_per_layer * self._below)
        self._first = int(first * self._below)
        self._stand = int(half_dwell * self._below)
        self._first_parts = self._parts(self._each - self._first, self._each, 0)
        self._even_parts = self._parts(0, self._first, 1)
        self._odd_parts = self._parts(0, self._each - self._first, 0)
        self.passes = 0
        self._stretches: list[Stretch] = []
        self._starts: list[float] = []
        self._lengths: list[float] = []
        self._end_turns = 0.0
        self._end_length_mm = 0.0

    def radius_mm(self, level: int) -> float:
        """Radius of the strand's centre on `level` layers of strand."""
        return self.inner_radius_mm + level * self.rise_mm

    def turn_length_mm(self, level: int) -> float:
        """Length of one turn, a helix: sqrt((2 pi r)^2 + p^2)."""
        around = 2 * pi * self.radius_mm(level)
        return sqrt(around * around + self.pitch_mm * self.pitch_mm)

    def circle_mm(self, level: int) -> float:
        """Length of one turn while the guide stands: 2 pi r."""
        return 2 * pi * self.radius_mm(level)

    def pass_end(self, number: int) -> Fraction:
        """Turns at the end of pass `number`, from 1; 0 for pass 0."""
        return self.first_pass_turns + (number - 1) * self.turns_per_layer if number else Fraction(0)

    def end_turns(self, number: int) -> float:
        """pass_end as the nearest float, without the cost of a fraction."""
        return (self._first + (number - 1) * self._each) / self._below if number else 0.0

    def full_passes(self, turns: Fraction) -> int:
        """How many passes are complete at these turns, at least 0."""
        return 1 + (turns - self.first_pass_turns) // self.turns_per_layer  # the first pass is no longer than a layer

    def turns_below(self, level: int) -> Fraction:
        """Turns that lie on the barrel before the first strand comes to this level."""
        if level < 1 or level % 2:
            return self.pass_end(max(level, 0))  # the next pass begins on the part that is highest
        return self.pass_end(level) + self.turns_per_layer - self.first_pass_turns

    def length_mm(self, turns: float) -> float:
        """Length of strand in these turns; 0 at and below zero."""
        if turns <= 0:
            return 0.0
        self._reach_turns(turns)
        stretch = self._stretches[bisect_right(self._starts, turns) - 1]
        return stretch.start_length_mm + (turns - stretch.start_turns) * stretch.turn_length_mm

    def turns(self, length_mm: float) -> float:
        """Turns that take this length; the inverse of length_mm. Raises TooManyLayersError."""
        if length_mm <= 0:
            return 0.0
        while self._end_length_mm < length_mm:
            self._add_pass()
        stretch = self._stretches[bisect_right(self._lengths, length_mm) - 1]
        return stretch.start_turns + (length_mm - stretch.start_length_mm) / stretch.turn_length_mm

    def turn_length_at_mm(self, turns: float) -> float:
        """Length of the turn being laid at these turns."""
        self._reach_turns(turns)
        return self._stretches[max(bisect_right(self._starts, turns) - 1, 0)].turn_length_mm

    def stretches(self, turns: float) -> list[tuple[float, int]]:
        """What lies on the barrel at these turns: (turns, level) of each stretch, the last one cut off there."""
        return [(stretch.turns, stretch.level) for stretch in self._laid(turns)]

    def top_level(self, turns: float) -> int:
        """The highest level with strand on it at these turns; -1 on a bare barrel."""
        return max((level for _, level in self.stretches(turns)), default=-1)

    def sensitivities(self, turns: float) -> tuple[float, float]:
        """Change of the length per mm of inner radius, and per mm of rise: partial derivatives of the sum."""
        by_radius = 0.0
        by_rise = 0.0
        for stretch in self._laid(turns):
            slope = stretch.turns * 4 * pi * pi * self.radius_mm(stretch.level) / stretch.turn_length_mm
            by_radius += slope
            by_rise += stretch.level * slope
        return by_radius, by_rise

    def _laid(self, turns: float) -> list[Stretch]:
        self._reach_turns(turns)
        laid = self._stretches[: bisect_left(self._starts, turns)]
        if laid:
            laid[-1] = laid[-1]._replace(turns=turns - laid[-1].start_turns)
        return laid

    def _parts(self, start: int, split: int, above: int) -> list[_Part]:
        """The parts of a pass from `start`: `above` is the level before the split, the other one is behind it."""
        stand, leave = self._stand, self._each - self._stand
        cuts = sorted({start, self._each, *(cut for cut in (stand, split, leave) if cut > start)})
        return [
            _Part(begin - start, end - begin, above if end <= split else 1 - above, end <= stand or begin >= leave)
            for begin, end in pairwise(cuts)
        ]

    def _reach_turns(self, turns: float) -> None:
        while self._end_turns <= turns:
            self._add_pass()

    def _add_pass(self) -> None:
        if self.passes == MOST_LAYERS:
            raise TooManyLayersError(f"more than {MOST_LAYERS} layers")
        self.passes += 1
        number = self.passes
        begin = self._first + (number - 2) * self._each if number > 1 else 0
        parts = self._first_parts if number == 1 else self._odd_parts if number % 2 else self._even_parts
        for part in parts:
            self._add_stretch(begin + part.start, part.turns, max(number - 2, 0) + part.above, part.standing)

    def _add_stretch(self, start: int, turns: int, level: int, standing: bool) -> None:
        turn_length_mm = self.circle_mm(level) if standing else self.turn_length_mm(level)
        start_turns = start / self._below
        self._stretches.append(Stretch(start_turns, turns / self._below, self._end_length_mm, turn_length_mm, level))
        self._starts.append(start_turns)
        self._lengths.append(self._end_length_mm)
        self._end_length_mm += turns / self._below * turn_length_mm
        self._end_turns = (start + turns) / self._below

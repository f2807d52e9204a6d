"""The geometry of a wind: turns to length and length to turns, pass by pass.

The guide seldom stands at a flange when a wind starts. With `first_pass_turns` a left to the next reversal,
pass 1 covers only a/N of the width, on the barrel. Every later pass has that part of its width one level
higher than the rest: a turns of it lie on k - 1 levels of strand, the other N - a on k - 2. The guide comes
back over the high part first after an odd pass, last after an even one. With a = N there is one level a pass.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction
from math import pi, sqrt
from typing import NamedTuple

MOST_LAYERS = 1000


class TooManyLayersError(ValueError):
    """A wind of more than MOST_LAYERS layers, which no spool holds."""


class Stretch(NamedTuple):
    """Turns of one pass that lie at one level. start and turns are spool turns, level counts from 0."""

    start_turns: float
    turns: float
    start_length_mm: float
    turn_length_mm: float
    level: int


class Coil:
    """Strand as it lies on the barrel.

    inner_radius_mm: of the strand's centre in layer 1. rise_mm: radial growth per layer. pitch_mm: lay
    pitch. turns_per_layer: N. first_pass_turns: a, above 0 and at most N.

    The table of stretches grows as deeper layers are asked for, up to MOST_LAYERS.
    """

    def __init__(
        self,
        inner_radius_mm: float,
        rise_mm: float,
        pitch_mm: float,
        turns_per_layer: Fraction,
        first_pass_turns: Fraction | None = None,
    ) -> None:
        first = turns_per_layer if first_pass_turns is None else first_pass_turns
        if not 0 < first <= turns_per_layer:
            raise ValueError(f"the first pass must have more than 0 and at most {turns_per_layer} turns, not {first}")
        self.inner_radius_mm = inner_radius_mm
        self.rise_mm = rise_mm
        self.pitch_mm = pitch_mm
        self.turns_per_layer = turns_per_layer
        self.first_pass_turns = first
        # turns as integers over one denominator: exact, and quick to divide
        self._below = turns_per_layer.denominator * first.denominator
        self._each = turns_per_layer.numerator * first.denominator
        self._first = first.numerator * turns_per_layer.denominator
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

    def pass_end(self, number: int) -> Fraction:
        """Turns at the end of pass `number`, from 1; 0 for pass 0."""
        return self.first_pass_turns + (number - 1) * self.turns_per_layer if number else Fraction(0)

    def end_turns(self, number: int) -> float:
        """pass_end as the nearest float, without the cost of a fraction."""
        return (self._first + (number - 1) * self._each) / self._below if number else 0.0

    def full_passes(self, turns: Fraction) -> int:
        """How many passes are complete at these turns."""
        beyond = turns - self.first_pass_turns
        return 0 if beyond < 0 else 1 + beyond // self.turns_per_layer

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
        self._reach_turns(turns)
        whole = self._stretches[: bisect_left(self._starts, turns)]
        laid = [(stretch.turns, stretch.level) for stretch in whole]
        if whole:
            laid[-1] = (turns - whole[-1].start_turns, whole[-1].level)
        return laid

    def top_level(self, turns: float) -> int:
        """The highest level with strand on it at these turns; -1 on a bare barrel."""
        return max((level for _, level in self.stretches(turns)[-4:]), default=-1)

    def sensitivities(self, turns: float) -> tuple[float, float]:
        """Change of the length per mm of inner radius, and per mm of rise: partial derivatives of the sum."""
        by_radius = 0.0
        by_rise = 0.0
        for laid, level in self.stretches(turns):
            slope = laid * 4 * pi * pi * self.radius_mm(level) / self.turn_length_mm(level)
            by_radius += slope
            by_rise += level * slope
        return by_radius, by_rise

    def _reach_turns(self, turns: float) -> None:
        while self._end_turns <= turns:
            self._add_pass()

    def _add_pass(self) -> None:
        if self.passes == MOST_LAYERS:
            raise TooManyLayersError(f"more than {MOST_LAYERS} layers")
        self.passes += 1
        number = self.passes
        low = self._each - self._first
        if number == 1:
            self._add_stretch(0, self._first, 0)
            return
        begin = self._first + (number - 2) * self._each
        if number % 2 == 0:
            self._add_stretch(begin, self._first, number - 1)
            if low:
                self._add_stretch(begin + self._first, low, number - 2)
        else:
            if low:
                self._add_stretch(begin, low, number - 2)
            self._add_stretch(begin + low, self._first, number - 1)

    def _add_stretch(self, start: int, turns: int, level: int) -> None:
        turn_length_mm = self.turn_length_mm(level)
        start_turns = start / self._below
        self._stretches.append(Stretch(start_turns, turns / self._below, self._end_length_mm, turn_length_mm, level))
        self._starts.append(start_turns)
        self._lengths.append(self._end_length_mm)
        self._end_length_mm += turns / self._below * turn_length_mm
        self._end_turns = (start + turns) / self._below

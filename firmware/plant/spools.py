"""The two spools: how long the strand on the one is, and how large the other still is."""

import math

_TWO_PI = 2.0 * math.pi


class TakeUp:
    """The spool wound on: its true radius at every turn, and the true length of strand on it.

    The guide runs to and fro over the same row of places and lays strand on what is there, with the given rise for each
    layer. It moves by one pitch a turn, so a turn is sqrt((2 pi r)^2 + p^2) long; but at each end of the row it
    stands for half of the dwell, in circles. In a first pass of fewer turns than a layer it comes over the last
    places of the row only, which from then on are one layer higher than the rest.
    """

    def __init__(
        self,
        barrel_diameter_mm: float,
        stroke_mm: float,
        turns_per_layer: float,
        first_pass_turns: float,
        diameter_mm: float,
        rise: float,
        dwell_turns: float = 0.0,
    ) -> None:
        self.turns = 0.0
        self.length_mm = 0.0
        self.radius_mm = 0.0
        self._barrel_mm = barrel_diameter_mm
        self._pitch_mm = stroke_mm / (turns_per_layer - dwell_turns)
        self._layer = turns_per_layer
        self._first = first_pass_turns
        self._stand = 0.5 * dwell_turns
        self._diameter_mm = diameter_mm
        self._rise_mm = rise * diameter_mm
        self._start = turns_per_layer - first_pass_turns
        cuts = {0.0, self._stand, self._start, turns_per_layer - self._stand, turns_per_layer}
        self._cuts = sorted(cuts)  # place k of the row is from cut k to cut k + 1
        self._unmet = self._cuts.index(self._start)  # places that the first pass does not come over
        self._stretch = 0
        self._bases_mm = [0.0]  # length at the start of each stretch reached so far
        self._enter()

    def turn_to(self, turns: float) -> None:
        """Take the signed turns since the start; length_mm and radius_mm follow."""
        self.turns = turns
        while turns >= self._to:
            self._bases_mm.append(self._bases_mm[-1] + (self._to - self._from) * self._turn_mm)
            self._stretch += 1
            self._enter()
        while turns < self._from and self._stretch:
            self._bases_mm.pop()
            self._stretch -= 1
            self._enter()
        self.length_mm = self._base_mm + (turns - self._from) * self._turn_mm

    def _enter(self) -> None:
        """Find the stretch of even radius from the start, so that nothing is added up."""
        places = len(self._cuts) - 1
        number = 1 + (self._stretch + self._unmet) // places
        place = (self._stretch + self._unmet) % places
        if number % 2 == 0:  # on the way back
            place = places - 1 - place
        low, high = self._cuts[place], self._cuts[place + 1]
        begin = self._first + (number - 2) * self._layer
        self._from = begin + (low if number % 2 else self._layer - high)
        self._to = begin + (high if number % 2 else self._layer - low)
        level = number if place >= self._unmet else number - 1
        self.radius_mm = 0.5 * (self._barrel_mm + self._diameter_mm) + (level - 1) * self._rise_mm
        around_mm = _TWO_PI * self.radius_mm
        standing = high <= self._stand or low >= self._layer - self._stand
        self._turn_mm = around_mm if standing else math.sqrt(around_mm * around_mm + self._pitch_mm * self._pitch_mm)
        self._base_mm = self._bases_mm[-1]


def wound_inertia_kg_m2(length_mm: float, gram_per_mm: float, inner_mm: float, outer_mm: float) -> float:
    """Of a ring of strand about its axis: m (r1^2 + r2^2) / 2, radii in mm."""
    return length_mm * gram_per_mm * 1e-3 * 0.5 * (inner_mm * inner_mm + outer_mm * outer_mm) * 1e-6


class PayOff:
    """The spool wound from: a friction brake of constant torque, so the tension rises as the radius shrinks.

    length_mm: strand on it. packing: share of the wound cross-section's squares d x d that strand takes up.
    """

    PACKING = 0.93

    def __init__(
        self, length_mm: float, barrel_diameter_mm: float, inside_width_mm: float, diameter_mm: float, tension_n: float
    ) -> None:
        self.length_mm = length_mm
        self._core_mm2 = 0.25 * barrel_diameter_mm * barrel_diameter_mm
        self._area_mm = diameter_mm * diameter_mm / (self.PACKING * math.pi * inside_width_mm)
        self.radius_mm = 0.0
        self.slip_n = 0.0  # tension at which the brake lets the spool turn
        self._brake_nmm = tension_n * math.sqrt(self._core_mm2 + length_mm * self._area_mm)
        self.taken(0.0)

    def taken(self, length_mm: float) -> None:
        """Take the length drawn off so far; radius and tension follow."""
        left_mm = max(0.0, self.length_mm - length_mm)
        self.radius_mm = math.sqrt(self._core_mm2 + left_mm * self._area_mm)
        self.slip_n = self._brake_nmm / self.radius_mm

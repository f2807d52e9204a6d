"""Find gear trains that come closest to a wanted lay pitch.

With P the product of the drivers and Q that of the driven gears, a layer has N = Q / P x screw turns per pass,
and the pitch is stroke / (N - dwell). All of it in whole numbers and fractions, so that no two trains are told
apart, or taken for the same, by rounding.

Free searches meet in the middle: for each product of drivers the products of driven gears that lie within the
wanted window are looked up in a sorted list. A set of gears at hand, and trains that end on their first axis,
are few enough to be gone through one by one.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import Counter
from fractions import Fraction
from itertools import combinations, combinations_with_replacement, permutations
from math import ceil, comb, floor, lcm, prod
from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve, frozen

from reelwright.winding.findings import LIMITS
from reelwright.winding.gears import Stages, train_ratio
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator

# Pitch errors are ranked in steps of this share of the wanted pitch. Finer than the strand's own diameter is
# known by far (0.02 mm of 1.75 mm is 1.1 %), so that within a step the smaller train is the better one.
RANK_STEP = Fraction(1, 1000)

MOST_STAGES = 3
# What keeps a search within about a second: different numbers of teeth, by number of stages
MOST_COUNTS = {1: 1000, 2: 200, 3: 64}
MOST_COUNTS_COAXIAL = 100
MOST_GEARS_AT_HAND = {1: 200, 2: 32, 3: 16}

Teeth = tuple[int, ...]  # of all drivers, or of all driven gears, in rising order


@frozen
class WantedPitch:
    """What a train is to bring about. Exact, in mm.

    strand_diameter_mm: trains that lay closer than it are left out, as turns would climb; None: none are.
    tolerance: greatest pitch error, as a share of the wanted pitch. dwell_turns: spool turns of a layer in which
    the guide stands at the flange. strand_diameter_u_mm: from which `usual_pitch_mm` has made pitch_mm; None where
    the pitch was named.
    """

    pitch_mm: Fraction
    stroke_mm: Fraction
    screw_turns_per_pass: Fraction
    strand_diameter_mm: Fraction | None = None
    tolerance: Fraction = Fraction(1, 100)
    dwell_turns: Fraction = Fraction(0)
    strand_diameter_u_mm: Fraction | None = None

    def ratio_for(self, pitch_mm: Fraction) -> Fraction:
        """The ratio at which a train has this pitch, exactly."""
        return (self.stroke_mm / pitch_mm + self.dwell_turns) / self.screw_turns_per_pass

    def pitch_of_mm(self, ratio: Fraction) -> Fraction:
        """The pitch of a train of this ratio, which must leave the guide turns to travel in."""
        return self.stroke_mm / (ratio * self.screw_turns_per_pass - self.dwell_turns)


@frozen
class Choice:
    """The gears to choose from: every number of teeth from least to most, or those at hand, each used once.

    stages: 1 to 3, the most to use. coaxial: two stages of equal centre distance, so that the last shaft
    stands on the first one's axis.
    """

    least_teeth: int
    most_teeth: int
    stages: int = 2
    at_hand: tuple[int, ...] = ()
    coaxial: bool = False


class FoundTrain(NamedTuple):
    """A train, its exact pitch, and by how much that misses the wanted one (negative: closer)."""

    stages: Stages
    pitch_mm: Fraction
    pitch_error_mm: Fraction

    @property
    def ratio(self) -> Fraction:
        """Spool turns for one turn of the screw."""
        return train_ratio(self.stages)

    @property
    def total_teeth(self) -> int:
        """Teeth of all gears; times the transverse module, all pitch diameters in a row."""
        return sum(map(sum, self.stages))


class Search(NamedTuple):
    """What a search found, best first. nearest: the closest of all where none is within the tolerance; trains are
    then those farther off that still lay the strand well.

    reach: how many different trains there are to choose from, told apart by their drivers and driven gears.
    """

    trains: tuple[FoundTrain, ...]
    nearest: FoundTrain | None
    reach: int


def choice_faults(choice: Choice) -> list[tuple[str, str]]:
    """What is impossible about a choice: (name of the field, sentence), all at once."""
    faults = []
    if not 1 <= choice.stages <= MOST_STAGES:
        faults.append(("stages", f"{choice.stages} stages cannot be; give 1 to {MOST_STAGES}"))
    elif choice.coaxial and choice.stages < 2:
        faults.append(("stages", "one stage cannot end on the axis it begins on; give 2"))
    if choice.at_hand:
        return faults + _at_hand_faults(choice)
    if choice.least_teeth < 1:
        faults.append(("least_teeth", f"a gear of {choice.least_teeth} teeth cannot be; give at least 1"))
    if choice.most_teeth < max(choice.least_teeth, 1):
        faults.append(
            (
                "most_teeth",
                f"{choice.most_teeth} teeth at most and {choice.least_teeth} at least leave no gear; raise it",
            )
        )
    if not faults:
        counts = choice.most_teeth - choice.least_teeth + 1
        kind = "coaxial" if choice.coaxial else f"{choice.stages}-stage"
        most = MOST_COUNTS_COAXIAL if choice.coaxial else MOST_COUNTS[choice.stages]
        if counts > most:
            sentence = f"{choice.least_teeth} to {choice.most_teeth} are {counts} numbers of teeth, too many to try"
            faults.append(("most_teeth", f"{sentence}; a {kind} search takes {most}"))
    return faults


def _at_hand_faults(choice: Choice) -> list[tuple[str, str]]:
    faults = [
        ("at_hand", f"a gear of {teeth} teeth cannot be; give at least 1") for teeth in choice.at_hand if teeth < 1
    ]
    needed = 4 if choice.coaxial else 2
    if len(choice.at_hand) < needed:
        faults.append(("at_hand", f"{len(choice.at_hand)} gears make no such train; give at least {needed}"))
    most = MOST_GEARS_AT_HAND.get(choice.stages, MOST_GEARS_AT_HAND[MOST_STAGES])
    if len(choice.at_hand) > most:
        faults.append(
            ("at_hand", f"{len(choice.at_hand)} gears are too many to try; give at most {most} or fewer stages")
        )
    return faults


def find_trains(wanted: WantedPitch, choice: Choice, count: int = 10) -> Search:
    """The best `count` trains within the tolerance.

    Ranked by pitch error in steps of RANK_STEP of the wanted pitch, then by teeth in all, number of gears and
    exact pitch error; trains alike in all that by their teeth. Raises ValueError for an impossible choice.
    """
    faults = choice_faults(choice)
    if faults:
        raise ValueError("; ".join(sentence for _, sentence in faults))
    return _search(_Ranking(wanted, choice, count), choice)


def find_well_laying(wanted: WantedPitch, choice: Choice, count: int = 10) -> Search:
    """As `find_trains`; where none is within the tolerance, those that the plan's limits of the pitch find good.

    That takes a known strand. Raises ValueError for an impossible choice.
    """
    search = find_trains(wanted, choice, count)
    diameter = wanted.strand_diameter_mm
    if search.trains or diameter is None:
        return search
    widest = Fraction(LIMITS["pitch_wide"].factor) * diameter
    reach = max(wanted.pitch_mm - diameter, widest - wanted.pitch_mm) / wanted.pitch_mm
    farther = _search(_Ranking(evolve(wanted, tolerance=reach), choice, count, widest), choice)
    return search._replace(trains=farther.trains)


def _search(ranking: _Ranking, choice: Choice) -> Search:
    reach = _go_through(ranking, choice) if choice.at_hand or choice.coaxial else _meet(ranking, choice)
    trains = tuple(ranking.train(drivers, driven) for *_, drivers, driven in ranking.best)
    return Search(trains, None if trains or ranking.closest is None else ranking.train(*ranking.closest[-2:]), reach)


def arranged(drivers: Teeth, driven: Teeth, *, coaxial: bool) -> Stages | None:
    """Pair drivers with driven gears so that the largest centre distance is least; None where coaxial cannot be."""
    pairings = (tuple(sorted(zip(drivers, order, strict=True))) for order in permutations(driven))
    possible = [stages for stages in pairings if not coaxial or len({sum(stage) for stage in stages}) == 1]
    return min(possible, key=lambda stages: (max(map(sum, stages)), stages), default=None)


class _Ranking:
    """Keeps the best trains of those offered, and the closest one. Compares in whole numbers, which is quick.

    widest_pitch: trains that lay wider are left out; None: none are.
    """

    def __init__(self, wanted: WantedPitch, choice: Choice, count: int, widest_pitch: Fraction | None = None) -> None:
        self.wanted = wanted
        self.coaxial = choice.coaxial
        self.count = count
        self.widest_error = wanted.pitch_mm * wanted.tolerance
        self.least_pitch = wanted.strand_diameter_mm or Fraction(0)
        self.widest_pitch = widest_pitch
        self.least_error = max(self.least_pitch - wanted.pitch_mm, Fraction(0))  # of any pitch allowed
        if widest_pitch is not None:
            self.least_error = max(self.least_error, wanted.pitch_mm - widest_pitch)
        self.step = wanted.pitch_mm * RANK_STEP
        self.best: list[tuple[int, int, int, Fraction, Teeth, Teeth]] = []
        self.closest: tuple[Fraction, int, int, Teeth, Teeth] | None = None
        # pitch = s P / (c Q - D P), so that its error is (p P - q Q) / (u Q - v P), here in whole numbers
        screw, dwell = wanted.screw_turns_per_pass, wanted.dwell_turns
        terms = (wanted.stroke_mm + wanted.pitch_mm * dwell, wanted.pitch_mm * screw, screw, dwell, wanted.stroke_mm)
        whole = lcm(*(term.denominator for term in terms))
        self._p, self._q, self._u, self._v, self._s = (int(term * whole) for term in terms)

    def window(self, error: Fraction) -> tuple[Fraction, Fraction | None]:
        """Least and greatest Q / P at which the pitch is allowed and within this error; None: no end."""
        closest, farthest = max(self.wanted.pitch_mm - error, self.least_pitch), self.wanted.pitch_mm + error
        if self.widest_pitch is not None:
            farthest = min(farthest, self.widest_pitch)
        return self.wanted.ratio_for(farthest), self.wanted.ratio_for(closest) if closest else None

    def offset(self, product: int, driven_product: int) -> int:
        """Whole steps of the ranking between the pitch of these products and the wanted one."""
        missed, unit = self._missed(product, driven_product)
        return missed * self.step.denominator // (unit * self.step.numerator)

    def _missed(self, product: int, driven_product: int) -> tuple[int, int]:
        """The pitch error of these products as numerator and denominator; the latter above 0 if the guide travels."""
        missed = abs(self._p * product - self._q * driven_product)
        return missed, self._u * driven_product - self._v * product

    def is_beaten(self, offset: int, total: int) -> bool:
        """Whether a train so far off, with so many teeth, cannot be among the best any more."""
        return len(self.best) == self.count and (offset, total) > self.best[-1][:2]

    def offer(self, drivers: Teeth, driven: Teeth, total: int) -> None:
        """Keep a train if it is among the best so far, or the closest of those beyond the tolerance."""
        product, driven_product = prod(drivers), prod(driven)
        missed, unit = self._missed(product, driven_product)
        if unit <= 0 or not self._is_allowed(self._s * product, unit):
            return
        error = Fraction(missed, unit)
        rank = (error, total, len(drivers), drivers, driven)
        if self.closest is not None and rank > self.closest:
            return  # nor is it within the tolerance, as the closest one kept is not
        if self.coaxial and arranged(drivers, driven, coaxial=True) is None:
            return
        if error <= self.widest_error:
            offset = self.offset(product, driven_product)
            insort(self.best, (offset, total, len(drivers), error, drivers, driven))
            del self.best[self.count :]
        else:
            self.closest = rank

    def _is_allowed(self, laid: int, unit: int) -> bool:
        """Whether turns of the pitch laid / unit neither climb nor lie too wide."""
        least, widest = self.least_pitch, self.widest_pitch
        return laid * least.denominator >= least.numerator * unit and (
            widest is None or laid * widest.denominator <= widest.numerator * unit
        )

    def train(self, drivers: Teeth, driven: Teeth) -> FoundTrain:
        """The train of these gears, which have been offered."""
        stages = arranged(drivers, driven, coaxial=self.coaxial)
        if stages is None:
            raise ValueError(f"{drivers} and {driven} make no coaxial train")
        pitch = self.wanted.pitch_of_mm(train_ratio(stages))
        return FoundTrain(stages, pitch, pitch - self.wanted.pitch_mm)


def _go_through(ranking: _Ranking, choice: Choice) -> int:
    """Offer every train there is."""
    reach = 0
    for drivers, driven in _at_hand_trains(choice) if choice.at_hand else _coaxial_trains(choice):
        reach += 1
        ranking.offer(drivers, driven, sum(drivers) + sum(driven))
    return reach


def _at_hand_trains(choice: Choice) -> Iterator[tuple[Teeth, Teeth]]:
    gears = sorted(choice.at_hand)
    for stages in (2,) if choice.coaxial else range(1, choice.stages + 1):
        for drivers in sorted(set(combinations(gears, stages))):
            rest = sorted((Counter(gears) - Counter(drivers)).elements())
            for driven in sorted(set(combinations(rest, stages))):
                yield drivers, driven


def _coaxial_trains(choice: Choice) -> Iterator[tuple[Teeth, Teeth]]:
    least, most = choice.least_teeth, choice.most_teeth
    for driver, other in combinations_with_replacement(range(least, most + 1), 2):
        more = other - driver  # teeth that the other driver has more, its driven gear has fewer
        for other_driven in range(least, most - more + 1):
            yield (driver, other), (other_driven, other_driven + more)


class _Side:
    """Products of a number of gears in rising order, each with its smallest sets of teeth: (sum, teeth)."""

    def __init__(self, choice: Choice, stages: int, kept: int) -> None:
        sets: dict[int, list[tuple[int, Teeth]]] = {}
        for teeth in combinations_with_replacement(range(choice.least_teeth, choice.most_teeth + 1), stages):
            sets.setdefault(prod(teeth), []).append((sum(teeth), teeth))
        self.sets = {product: sorted(alike)[:kept] for product, alike in sets.items()}
        self.products = sorted(self.sets)


def _meet(ranking: _Ranking, choice: Choice) -> int:
    """Offer, of all trains with free numbers of teeth, those in a window that opens until enough are found."""
    counts = choice.most_teeth - choice.least_teeth + 1
    sides = [_Side(choice, stages, ranking.count) for stages in range(1, choice.stages + 1)]
    opened = ranking.step
    while True:
        error = min(ranking.least_error + opened, ranking.widest_error)
        ranking.best.clear()
        for side in sides:
            _offer_window(ranking, side, error)
        whole_steps = error // ranking.step  # what lies in them is complete, and goes before all the rest
        if error == ranking.widest_error or sum(found[0] < whole_steps for found in ranking.best) >= ranking.count:
            break
        opened *= 2
    if not ranking.best:
        for side in sides:
            _offer_neighbours(ranking, side)
    return sum(comb(counts + stages - 1, stages) ** 2 for stages in range(1, choice.stages + 1))


def _offer_window(ranking: _Ranking, side: _Side, error: Fraction) -> None:
    least, most = ranking.window(error)
    for product in side.products:
        begin = bisect_left(side.products, ceil(product * least))
        end = len(side.products) if most is None else bisect_right(side.products, floor(product * most))
        for other in side.products[begin:end]:
            _offer_products(ranking, side, product, other)


def _offer_products(ranking: _Ranking, side: _Side, product: int, other: int) -> None:
    """Offer the trains of a pair of products. All have one pitch, and each side's sets come smallest first."""
    offset = ranking.offset(product, other)
    for total, drivers in side.sets[product]:
        for other_total, driven in side.sets[other]:
            if ranking.is_beaten(offset, total + other_total):
                break
            ranking.offer(drivers, driven, total + other_total)


def _offer_neighbours(ranking: _Ranking, side: _Side) -> None:
    """Offer for each product of drivers the nearest on either side, which tells the closest train of all."""
    ratio = ranking.wanted.ratio_for(ranking.wanted.pitch_mm)
    _, most = ranking.window(ranking.wanted.pitch_mm)  # at which turns do not climb yet
    for product in side.products:
        place = bisect_left(side.products, ceil(product * ratio))
        last = len(side.products) if most is None else bisect_right(side.products, floor(product * most))
        for other in side.products[max(min(place, last) - 1, 0) : min(place + 1, last)]:
            (total, drivers), (other_total, driven) = side.sets[product][0], side.sets[other][0]
            ranking.offer(drivers, driven, total + other_total)


def usual_pitch_mm(diameter_mm: Fraction, diameter_u_mm: Fraction) -> Fraction:
    """The pitch to aim at: the thickest strand that the standard uncertainty allows, at k = 2, just fits.

    Common practice is a little above the strand's diameter, as turns that climb do more harm than small gaps.
    """
    return diameter_mm + COVERAGE * diameter_u_mm

"""Where a job stands after its winder has restarted: the count that is known, and how far the spool may be past it.

Pure: from what the winder remembers and what the ledger has, to the lowest and the highest count that the spool
can truly stand at, and the one that it most likely stands at. A spool that was known to be at rest has one count.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.device.job_values import job_values
from windlink import codes
from windlink.job import POSITION
from windlink.sentences import STATES, say

if TYPE_CHECKING:
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

# A board turns the motor off by itself within this time, whatever its program does, and so does a chip that is reset.
DRIVEN_S = 0.1
# Let go, a spool slows down less than on its ramp, where the motor may brake: at this share of its deceleration
# or more. On 300 random simulated machines the least was 0.39; the winder's proof of rest counts on the same.
COAST_SHARE = 1 / 3
# The rate is measured over a short while, in which a spool may have gained speed, and more than its ramp asks for.
RATE_LAG_S = 0.25
RATE_SHARE = 1.25
# A count may have been under way for a while when it was heard: a winder tells for 2 s without hearing its host.
HEARD_LATE_S = 3.0
# A person whose lamp has gone dark looks up and stops: common practice, generously.
HAND_STOPS_S = 2.0
HAND_SHARE = 1.5
MOST_BEYOND_TURNS = 8  # and as much strand again as the job has: no spool coasts farther
# What a spool does as a rule, where the numbers above are what it may do at worst: the motor goes off half way through
# its time, a hand stops after half its own. A dc motor let go slows down about twice as fast as on its ramp (friction
# and back tension; median of some 30 restarts of random simulated machines), and a stepper stands almost at once.
ORDINARY_DRIVEN_S = DRIVEN_S / 2
ORDINARY_COAST_SHARE = 2.0
ORDINARY_HAND_S = HAND_STOPS_S / 2
# Without a ratchet the strand draws the spool back when the motor lets go; a single-channel sensor cannot tell.
DRAWN_BACK_TURNS = 0.1

_RESTS = (codes.WAITING, codes.FINISHED, codes.TRIPPED)


@frozen
class Memory:
    """What a winder remembers of a job from before its last start; fields as in the link's `memory`."""

    job_id: int
    pulses: int
    rate: int
    state: int
    outcome: int
    source: int
    dark_ms: int

    @property
    def under_way(self) -> bool:
        """Whether the job had begun and was not over."""
        return self.job_id != 0 and self.state in (codes.WINDING, codes.EASING, codes.WAITING, codes.TRIPPED)

    @property
    def was_at_rest(self) -> bool:
        """Whether the spool stood when this was kept."""
        return self.state in _RESTS and self.rate == 0


@frozen
class Heard:
    """What the ledger has: the last count, the word of the state that came with it, and how long it then was until the
    restart was noticed, in the winder's own seconds; None where nobody can tell."""

    pulses: int
    state: str
    silent_s: float | None


@frozen
class Standing:
    """The lowest and highest count that the spool can stand at, and where that is known from, in words.

    likely: the count that an ordinary run-out leads to; the middle of the two where that says nothing.
    """

    lowest: int
    highest: int
    source: str
    likely: int

    @property
    def ends(self) -> tuple[int, int]:
        """The lowest and the highest count."""
        return self.lowest, self.highest

    @property
    def best(self) -> int:
        """The likely count, as far as it is possible, and no strand less than none."""
        return max(0, min(max(self.likely, self.lowest), self.highest))

    @property
    def uncertain_pulses(self) -> int:
        """How far the truth can be from `best`, on the side where it can be farther."""
        return max(self.highest - self.best, self.best - self.lowest)


def standing(job: Job, plan: Plan, memory: Memory | None, heard: Heard | None) -> Standing | None:
    """Join the two; None where neither knows the job."""
    reach = _Reach(job, plan)
    if memory is not None and memory.was_at_rest:
        return _at_rest(memory.pulses, "the winder knows it from its last rest")
    if memory is not None and memory.source == codes.FROM_REGISTERS:
        ahead = reach.in_the_dark(memory)
        likely = memory.pulses + reach.ordinarily_in_the_dark(memory)
        source = "the winder kept its running count"
        return Standing(memory.pulses - reach.back, memory.pulses + ahead, source, likely)
    if memory is not None:
        return _from_the_motions_begin(reach, memory, heard)
    if heard is None:
        return None
    if _is_rest(heard.state) and not reach.has_go_button:
        return _at_rest(heard.pulses, "the ledger has the last rest; the winder remembers nothing")
    source = "the ledger has the last count heard; the winder remembers nothing"
    highest = plan.target_pulses if reach.has_go_button else reach.to_next_stop(heard.pulses, heard)
    likely = heard.pulses if _is_rest(heard.state) else reach.ordinarily_from(heard.pulses)
    return Standing(heard.pulses - reach.back, max(heard.pulses, highest), source, likely)


def unseen_pulses(plan: Plan, driven_s: float) -> int:
    """The most pulses that can pass while none is counted: under drive for so long, then let go."""
    return _Reach(plan.job, plan).unseen(driven_s)


def most_pulses(plan: Plan) -> int:
    """The highest count that a winder takes, where nothing else bounds what is on its spool."""
    return _Reach(plan.job, plan).most


def _at_rest(pulses: int, source: str) -> Standing:
    return Standing(pulses, pulses, source, pulses)


def _from_the_motions_begin(reach: _Reach, memory: Memory, heard: Heard | None) -> Standing:
    """Of a motion of which the winder knows the beginning; its host may have heard how far it got."""
    lowest = max(memory.pulses, heard.pulses if heard else 0)
    highest = reach.to_next_stop(lowest, heard)
    if heard is None or _is_rest(heard.state) or (heard.pulses < memory.pulses and heard.silent_s is None):
        # nobody heard of this motion
        source = "the winder knows where the motion began, and no more"
        return Standing(lowest - reach.back, highest, source, (lowest + highest) // 2)
    source = "the winder knows where the motion began, and the ledger the last count heard"
    return Standing(lowest - reach.back, highest, source, reach.ordinarily_from(lowest))


def _is_rest(word: str) -> bool:
    return word in {say(STATES, state).word for state in _RESTS}


class _Reach:
    """How far a spool can go, by the numbers that its winder keeps to. Rates in pulses a second."""

    def __init__(self, job: Job, plan: Plan) -> None:
        values = job_values(job, plan)
        self._plan = plan
        self._is_hand = job.machine.drive == "hand"
        self._is_stepper = job.machine.drive == "stepper"
        self._cruise = values[POSITION["cruise_rate"]] / 100
        self._creep = values[POSITION["creep_rate"]] / 100
        self._highest = values[POSITION["highest_rate"]] / 100
        self._full = values[POSITION["full_rate"]] / 100
        self._gain = values[POSITION["acceleration"]] / 100
        self._loss = values[POSITION["deceleration"]] / 100
        self._per_turn = float(plan.pulses_per_spool_turn)
        self.has_go_button = "go_button" in job.machine.fitted
        # beyond it a winder takes no recount
        self.most = 2 * plan.target_pulses + MOST_BEYOND_TURNS * values[POSITION["overrun_pulses"]]
        self.back = 0 if job.machine.ratchet else math.ceil(DRAWN_BACK_TURNS * self._per_turn)

    def in_the_dark(self, memory: Memory) -> int:
        """Pulses that may have passed uncounted between the last count kept and the next one counted."""
        rate = abs(memory.rate) / 100
        if self._is_hand:
            # while a program hangs its lamp still says to wind
            return self._cranked(max(rate, self._cruise), memory.dark_ms / 1000 or HAND_STOPS_S)
        dark_s = memory.dark_ms / 1000 or math.inf
        lag_s = RATE_LAG_S + (1 / rate if rate else math.inf)
        fastest = min(self._highest, RATE_SHARE * rate + self._gain * lag_s)
        ahead = math.ceil(min(self._coast(fastest), self._highest * dark_s)) + 1
        return max(0, min(ahead, self.most - memory.pulses))

    def unseen(self, driven_s: float) -> int:
        """Pulses of a drive whose sensor is silent: a dc motor may be driven ever harder, a stepper keeps its steps."""
        rate = self._cruise if self._is_stepper else max(self._full, self._highest)
        return math.ceil(rate * driven_s + self._coast(rate)) + 1

    def ordinarily_in_the_dark(self, memory: Memory) -> int:
        """Of these, the pulses that pass as a rule: at the running rate, driven on for a moment, then let go."""
        rate = abs(memory.rate) / 100
        dark_s = memory.dark_ms / 1000 or math.inf
        return round(min(self._run_out(rate), rate * dark_s))

    def ordinarily_from(self, pulses: int) -> int:
        """Where a motion as a rule comes to rest that was cut off at this count: from its cruise, or at its stop."""
        return min(pulses + round(self._run_out(self._cruise)), max(pulses, self._halt(pulses)))

    def to_next_stop(self, pulses: int, heard: Heard | None) -> int:
        """The farthest count of a motion that was under way at this count, or of what the time since allows."""
        halt = self._halt(pulses)
        if self._is_hand:
            return halt + self._cranked(self._cruise, HAND_STOPS_S)
        farthest = halt + math.ceil(self._coast(self._creep)) + 1
        if heard is None or heard.silent_s is None:
            return farthest
        by_time = heard.pulses + self._highest * (heard.silent_s + HEARD_LATE_S) + self._coast(self._highest)
        return min(farthest, max(pulses, math.ceil(by_time) + 1))

    def _halt(self, pulses: int) -> int:
        """The next count at which the winder stops by itself."""
        ends = [stop for stop, _ in self._plan.stops] + [self._plan.target_pulses]
        return next((end for end in ends if end > pulses), pulses)

    def _run_out(self, rate: float) -> float:
        """Pulses from this rate to rest, as a rule."""
        if self._is_hand:
            return rate * ORDINARY_HAND_S
        coast = 0.0 if self._is_stepper else rate * rate / (2 * ORDINARY_COAST_SHARE * self._loss)
        return rate * ORDINARY_DRIVEN_S + coast

    def _cranked(self, rate: float, time_s: float) -> int:
        return math.ceil(HAND_SHARE * rate * time_s) + 1

    def _coast(self, rate: float) -> float:
        """Pulses from this rate to rest: driven on for a moment, then let go."""
        return rate * DRIVEN_S + rate * rate / (2 * COAST_SHARE * self._loss)

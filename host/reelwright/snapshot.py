"""What there is to say of a wind: where it is, what happened, how it ended. Plain data, for views and ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import field, frozen

from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


@frozen
class Snapshot:
    """Where a wind is. Lengths are of counted strand, in metres.

    rpm is as the winder told it, of few pulses; mean_rpm is for people, and line_speed_m_s and seconds_left go by it.
    """

    state: str  # word of the link's state: winding, easing, waiting ...
    pulses: int
    layer: int
    layer_turns: float  # turns laid in this layer
    layer_turns_planned: float  # turns that this layer will have, the last one perhaps fewer
    layers_planned: int
    turns: float
    turns_planned: float
    length_m: float
    length_planned_m: float
    rpm: float  # of the take-up spool
    line_speed_m_s: float
    seconds_left: float | None  # None while the spool is at rest
    next_stop_turns: float  # turns at the next stop, the target included
    mean_rpm: float = field()

    @mean_rpm.default
    def _told_rpm(self) -> float:
        return self.rpm


@frozen
class Happening:
    """An event of the winder, numbered by it, or a notice of the host (number 0)."""

    number: int
    verb: str  # began, layer_done, stopped, ended, tripped, cleared, moved_at_rest; of the host: restarted, resumed
    sentence: str  # for a person
    fields: Mapping[str, object] = field(factory=dict)  # for a program
    remedy: str = ""


def end_of(value: float, u: float | None, times: float) -> float:
    """A value, and so many times its uncertainty; no less than nothing."""
    return max(0.0, value + times * (u or 0.0))


def _as_tuple(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(words)


@frozen
class WindResult:
    """How a wind stands when the host lets go of it: finished, or at rest with the job still in the winder.

    count_known: whether the spool can stand at this count only. Else the amount lies between _lowest_ and _highest_
    (k = 2), and the highest is None where nothing bounds it; of a known count these are the ends of its error bar.
    agreed_within_turns: what a count that was agreed to after a restart has left unknown, either way; the turns and
    amounts have it in. By default, as in a ledger of before these were kept, a count that was not confirmed is the
    least, and what restarts have left unknown of one that was is what was agreed to.
    """

    job_id: int
    state: str
    outcome: str  # reached, abandoned, or "" while the job may go on
    target_pulses: int
    counted_pulses: int
    turns: float
    layers: int
    length_m: float
    length_u_m: float
    mass_g: float | None
    mass_u_g: float | None
    trip: str = ""  # word of the trip that holds the winder, else ""
    uncertain: bool = False  # the count is the last one heard, not one that the winder confirmed at rest
    # the count may be off by so much, on the side where it can be farther; length_u_m and mass_u_g have it in
    uncertain_turns: float = 0.0
    phase_turns: float | None = None  # turns left to the guide's next reversal; None where they are not known
    # words of the trips of this wind, cleared or not, after which the count is not what is on the spool; the ends have
    # in what they leave unknown
    doubts: tuple[str, ...] = field(default=(), converter=_as_tuple)
    count_known: bool = field()
    length_lowest_m: float = field()
    length_highest_m: float | None = field()
    mass_lowest_g: float | None = field()
    mass_highest_g: float | None = field()
    agreed_within_turns: float = field()
    turns_lowest: float = field()
    turns_highest: float | None = field()
    # where the spool most likely stands, where its count is not known and there is more to say than what was heard
    turns_likely: float | None = None

    @count_known.default
    def _is_confirmed(self) -> bool:
        return not self.uncertain

    @length_lowest_m.default
    def _least_m(self) -> float:
        return end_of(self.length_m, self.length_u_m, -COVERAGE)

    @length_highest_m.default
    def _most_m(self) -> float | None:
        return None if not self.count_known else end_of(self.length_m, self.length_u_m, COVERAGE)

    @mass_lowest_g.default
    def _least_g(self) -> float | None:
        return None if self.mass_g is None else end_of(self.mass_g, self.mass_u_g, -COVERAGE)

    @mass_highest_g.default
    def _most_g(self) -> float | None:
        return None if not self.count_known or self.mass_g is None else end_of(self.mass_g, self.mass_u_g, COVERAGE)

    @agreed_within_turns.default
    def _agreed(self) -> float:
        return 0.0 if self.uncertain or not self.count_known else self.uncertain_turns

    @turns_lowest.default
    def _least_turns(self) -> float:
        return max(0.0, self.turns - self.agreed_within_turns)

    @turns_highest.default
    def _most_turns(self) -> float | None:
        return self.turns + self.agreed_within_turns if self.count_known else None

    @property
    def is_agreed(self) -> bool:
        """Whether the operator has agreed to this very count, and nothing else about it is unknown."""
        return 0 < self.agreed_within_turns == self.uncertain_turns

    @property
    def overshoot_pulses(self) -> int:
        """Counted beyond the target; negative while short of it."""
        return self.counted_pulses - self.target_pulses

"""What the trips of a wind leave unknown of the strand on its spool: one rule for results, lists and calibrations.

A trip that is cleared mends no count, so all of a wind's trips tell, until a person agrees to a count that has them in.
Of the rest the count is what is on the spool: a spool that is stopped by a switch or runs on is counted to its rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve, frozen

from reelwright.operation.standing import most_pulses, unseen_pulses
from windlink import codes
from windlink.sentences import DOUBTS, TRIPS, code_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from reelwright.operation.standing import Standing
    from reelwright.snapshot import Happening
    from reelwright.winding.planned import Plan


# Field of a resumption: the count that was agreed to, and how far it may be off, have earlier trips in them.
SETTLES_TRIPS = "settles_trips"


@frozen
class Doubt:
    """words: of the trips after which the count is not what is on the spool, each once. short: pulses that were counted
    and may hold no strand. beyond: pulses that may have passed uncounted, None where nothing bounds them."""

    words: tuple[str, ...] = ()
    short: int = 0
    beyond: int | None = 0


NO_DOUBT = Doubt()


@frozen
class _Trip:
    """A trip, and the counts at which the motion that it ended had begun, and at which the next one did."""

    code: int
    value: int
    pulses: int
    began: int
    rest: int


def doubt_of(plan: Plan, events: Iterable[Happening], pulses: int) -> Doubt:
    """What the trips among a wind's events leave unknown of its spool, which stands at this count."""
    trips = _trips(events, pulses)
    tripped = {each.code for each in trips}
    words = tuple(TRIPS[code].word for code in DOUBTS if code in tripped)
    beyond = [_beyond(plan, each) for each in trips]
    most = None if None in beyond else sum(each or 0 for each in beyond)
    return Doubt(words, sum(_short(each) for each in trips), most)


def ends_with_trip(events: Iterable[Happening]) -> bool:
    """Whether the last that was heard of a wind's motion is that a trip, or a restart, has ended it."""
    last = ""
    for each in events:
        if each.verb in ("began", "stopped", "tripped", "cleared", "restarted", "resumed"):
            last = each.verb
    return last in ("tripped", "restarted")


def beside(where: Standing, doubt: Doubt, plan: Plan) -> Standing:
    """Where a spool can stand, with what the trips of its wind leave unknown."""
    if not doubt.short and doubt.beyond == 0:
        return where
    highest = most_pulses(plan) if doubt.beyond is None else where.highest + doubt.beyond
    return evolve(
        where,
        lowest=where.lowest - doubt.short,
        highest=max(where.highest, highest),
        source=f"{where.source}, and its trips ({', '.join(doubt.words)}) leave more unknown",
    )


def _short(trip: _Trip) -> int:
    """Pulses that may hold no strand, at most."""
    if trip.code == codes.RUN_OUT:
        return max(0, trip.rest - trip.pulses)
    if trip.code in (codes.SLIP, codes.BAD_SENSOR):
        return max(0, trip.rest - trip.began)
    return 0


def _beyond(plan: Plan, trip: _Trip) -> int | None:
    """Pulses that may have passed uncounted, at most."""
    if trip.code == codes.NO_PULSES:
        return unseen_pulses(plan, trip.value / 1000)
    if trip.code == codes.LOST_STEPS:
        return trip.value + unseen_pulses(plan, 0)
    if trip.code == codes.BACKWARDS:
        highest = trip.pulses - trip.value  # of the swapped channels of a spool that never turned back
        return 2 * max(0, highest - trip.rest)
    return None if trip.code == codes.BAD_SENSOR else 0


def _trips(events: Iterable[Happening], pulses: int) -> list[_Trip]:
    """The trips that leave a doubt, in their order."""
    known: list[_Trip] = []
    since: list[tuple[int, Mapping[str, object]]] = []
    began = 0

    def close(rest: int) -> None:
        known.extend(
            _Trip(code, _number(fields, "value"), _number(fields, "pulses"), began, rest) for code, fields in since
        )
        since.clear()

    for each in events:
        fields = each.fields
        if fields.get(SETTLES_TRIPS):
            known.clear()
            since.clear()
        elif each.verb == "began":
            close(_number(fields, "pulses"))
            began = _number(fields, "pulses")
        elif each.verb == "tripped" and (code := _doubted_code(fields)):
            since.append((code, fields))
    close(pulses)
    return known


def _doubted_code(fields: Mapping[str, object]) -> int:
    """Code of a trip that leaves a doubt; 0 for the others, and for the word of a newer winder."""
    words = {TRIPS[code].word for code in DOUBTS}
    return code_of(TRIPS, str(fields["reason"])) if fields.get("reason") in words else 0


def _number(fields: Mapping[str, object], name: str) -> int:
    return int(str(fields.get(name, 0)))

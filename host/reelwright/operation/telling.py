"""The winder's numbers in the operator's terms: snapshot, happening, result."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from reelwright.operation.doubted import NO_DOUBT, SETTLES_TRIPS
from reelwright.snapshot import Happening, Snapshot, WindResult, end_of
from reelwright.winding.uncertainty import COVERAGE
from windlink.sentences import OUTCOMES, STATES, STOPS, TRIPS, say

if TYPE_CHECKING:
    from collections.abc import Container, Iterable

    from reelwright.device.client import Received
    from reelwright.ledger import RecordedEvent
    from reelwright.operation.doubted import Doubt
    from reelwright.operation.standing import Standing
    from reelwright.winding.planned import Plan, Wound

PHASE_SLACK_TURNS = 0.25  # so far off, the guide still stands where it is said to, or at its flange; own choice
# What the host itself notes among a wind's events.
RESTARTED = "restarted"
RESUMED = "resumed"
# Field of a resumption that takes a job back to the winder that held it all along: the series of its earlier stays.
OWN_SERIES = "own_series"


def snapshot_of(plan: Plan, state: int, pulses: int, rate: int, mean_rate: int | None = None) -> Snapshot:
    """Where the wind is. rate: hundredths of a pulse per second, as told; mean_rate: for people, or the same."""
    pulses = _within_reason(plan, pulses)
    layer, layer_turns, layer_turns_planned = plan.layer_at(pulses)
    rpm_of_rate = 0.6 / float(plan.pulses_per_spool_turn)
    mean_rpm = (rate if mean_rate is None else mean_rate) * rpm_of_rate
    return Snapshot(
        state=say(STATES, state).word,
        pulses=pulses,
        layer=layer,
        layer_turns=layer_turns,
        layer_turns_planned=layer_turns_planned,
        layers_planned=len(plan.layers),
        turns=plan.turns_at(pulses),
        turns_planned=plan.counted_turns,
        length_m=plan.length_m_at(pulses),
        length_planned_m=plan.length_m_at(plan.target_pulses),
        rpm=rate * rpm_of_rate,
        mean_rpm=mean_rpm,
        line_speed_m_s=plan.line_speed_m_s(pulses, mean_rpm),
        seconds_left=plan.seconds_left(pulses, mean_rpm),
        next_stop_turns=plan.turns_at(next((p for p, _ in plan.stops if p > pulses), plan.target_pulses)),
    )


def happening_of(plan: Plan, received: Received) -> Happening:
    """An event with its sentence."""
    fields = dict(received.fields)
    if "pulses" not in fields:
        sentence = f"The winder tells of {received.verb}, which this program does not know."
        return Happening(number=received.sequence, verb=received.verb, sentence=sentence)
    pulses = int(fields["pulses"])
    where = f"at {plan.turns_at(pulses):.2f} turns, {plan.length_m_at(_within_reason(plan, pulses)):.2f} m"
    remedy = ""
    verb = received.verb
    if verb == "began":
        sentence = f"Winding from {plan.turns_at(pulses):.2f} turns on."
    elif verb == "layer_done":
        sentence = f"Layer {fields['layer']} is full, {where}."
    elif verb == "stopped":
        stop = say(STOPS, fields["stop"])
        fields["stop"] = stop.word
        sentence = f"{stop.sentence} Waiting in layer {fields['layer']}, {where}."
    elif verb == "ended":
        outcome = say(OUTCOMES, fields["outcome"])
        fields["outcome"] = outcome.word
        sentence = f"{outcome.sentence} Count {pulses}, {where}."
    elif verb in ("tripped", "cleared"):
        trip = say(TRIPS, fields["reason"])
        fields["reason"] = trip.word
        sentence = f"Tripped: {trip.sentence}" if verb == "tripped" else f"Trip cleared: {trip.word}."
        remedy = trip.remedy if verb == "tripped" else ""
    else:
        sentence = f"The sensor counted with the drive off; now {where}."
    return Happening(number=received.sequence, verb=verb, sentence=sentence, fields=fields, remedy=remedy)


def result_of(
    plan: Plan,
    job_id: int,
    state: int,
    pulses: int,
    *,
    outcome: str = "",
    trip: str = "",
    uncertain: bool = False,
    where: Standing | None = None,
    before_turns: float = 0.0,
    doubt: Doubt = NO_DOUBT,
) -> WindResult:
    """How the wind stands at a count: what is really on the spool, overshoot included.

    uncertain: the count is the last one heard. where: the counts that the spool can stand at, and the one where it most
    likely does; the count itself by default. before_turns: what earlier restarts have left unknown of each of them,
    either way, as the operator has agreed to. doubt: of `doubt_of`, what its trips have.
    """
    shaft_lowest, shaft_highest = where.ends if where else (pulses, pulses)
    lowest = shaft_lowest - doubt.short
    highest = None if doubt.beyond is None else shaft_highest + doubt.beyond
    farthest = shaft_highest if highest is None else highest
    # the guide follows the shaft, which turns without strand too
    shaft_turns = before_turns + plan.turns_at(max(farthest - pulses, pulses - shaft_lowest))
    uncertain_turns = before_turns + plan.turns_at(max(farthest - pulses, pulses - lowest))
    wound = _wound(plan, pulses, uncertain_turns)
    least = _wound(plan, lowest, before_turns)
    most = None if highest is None else _wound(plan, highest, before_turns)
    return WindResult(
        job_id=job_id,
        state=say(STATES, state).word,
        outcome=outcome,
        target_pulses=plan.target_pulses,
        counted_pulses=pulses,
        turns=wound.turns,
        layers=wound.layers,
        length_m=wound.length_m,
        length_u_m=wound.length_u_m,
        mass_g=wound.mass_g,
        mass_u_g=wound.mass_u_g,
        trip=trip,
        uncertain=uncertain,
        uncertain_turns=uncertain_turns,
        phase_turns=float(wound.phase_turns) if highest is not None and shaft_turns <= PHASE_SLACK_TURNS else None,
        doubts=doubt.words,
        count_known=lowest == highest and not before_turns,
        length_lowest_m=end_of(least.length_m, least.length_u_m, -COVERAGE),
        length_highest_m=None if most is None else end_of(most.length_m, most.length_u_m, COVERAGE),
        agreed_within_turns=before_turns,
        turns_lowest=max(0.0, plan.turns_at(lowest) - before_turns),
        turns_highest=None if highest is None else plan.turns_at(highest) + before_turns,
        turns_likely=plan.turns_at(where.best) if where and shaft_lowest < shaft_highest else None,
        mass_lowest_g=None if least.mass_g is None else end_of(least.mass_g, least.mass_u_g, -COVERAGE),
        mass_highest_g=None if most is None or most.mass_g is None else end_of(most.mass_g, most.mass_u_g, COVERAGE),
    )


def _wound(plan: Plan, pulses: int, uncertain_turns: float) -> Wound:
    return plan.at_pulses(max(0, _within_reason(plan, pulses)), uncertain_turns)


def _within_reason(plan: Plan, pulses: int) -> int:
    """A count for which the model has a coil: a winder that counts far beyond its target counts no strand."""
    return min(pulses, 4 * plan.target_pulses)


def uncertain_turns_of(events: Iterable[RecordedEvent]) -> float:
    """What the restarts of a wind have left unknown of its count, either way: the newest resumption carries the sum."""
    found = [each for each in events if each.happening.verb == RESUMED]
    return float(str(found[-1].happening.fields["uncertain_turns"])) if found else 0.0


def in_series(events: Iterable[RecordedEvent], series: Container[int] | None) -> list[RecordedEvent]:
    """The events of one winder, where another has gone on with the job since; all of them where series is None."""
    return [each for each in events if series is None or each.series in series]


def to_be_agreed_anew(events: Iterable[RecordedEvent], boot: int) -> list[RecordedEvent]:
    """The events without what was agreed since this start of the winder and came to nothing, as it is agreed anew.

    It came to something once the winder told an event in its series.
    """
    events = list(events)
    told = {each.series for each in events if each.happening.number}
    return [each for each in events if each.happening.verb != RESUMED or each.boot != boot or each.series in told]


def happenings_of(events: Iterable[RecordedEvent]) -> list[Happening]:
    """What happened to the spool that the job is on, without who told it and when.

    Once a winder has its job back, what another one told of it meanwhile was of another spool. Without a count that was
    agreed to and, as far as is known, came to nothing: the trips before it leave as much unknown as they did.
    """
    events = list(events)
    told = {each.series for each in events if each.happening.number}
    taken_back = next((each for each in reversed(events) if OWN_SERIES in each.happening.fields), None)
    if taken_back is not None:
        own = cast("list[int]", taken_back.happening.fields[OWN_SERIES])
        events = [each for each in events if each.series >= taken_back.series or each.series in own]
    return [each.happening for each in events if SETTLES_TRIPS not in each.happening.fields or each.series in told]


def ending_of(happenings: Iterable[Happening]) -> tuple[int, str] | None:
    """Count and outcome that the winder gave at the end of its job; None while it has not ended."""
    for each in happenings:
        if each.verb == "ended":
            return int(str(each.fields["pulses"])), str(each.fields["outcome"])
    return None

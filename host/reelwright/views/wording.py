"""A wind in words, the same ones in every view and in the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.views.quantities import between, turns_text, with_uncertainty
from reelwright.winding.nouns import count_of
from windlink.sentences import DOUBTS, OUTCOMES, STATES, TRIPS, Saying

if TYPE_CHECKING:
    from reelwright.snapshot import WindResult

SHORT_OF_TARGET = "At rest before the target; the job can go on."
UNCERTAIN = "The count is the last one heard; the winder did not confirm it at rest."


def saying_of_state(word: str) -> Saying | None:
    """What a state's word means, or None for a word of a newer winder."""
    return _with_word(STATES, word)


def saying_of_trip(word: str) -> Saying | None:
    """What a trip's word means and what to do, or None for a word of a newer winder."""
    return _with_word(TRIPS, word)


def _with_word(table: dict[int, Saying], word: str) -> Saying | None:
    return next((saying for saying in table.values() if saying.word == word), None)


def closing_sentence(result: WindResult) -> str:
    """How the wind stands, in a sentence or two, with what to do about it."""
    if result.trip:
        saying = saying_of_trip(result.trip)
        told = f" {saying.sentence} {saying.remedy}".rstrip() if saying else ""
        return f"Tripped ({result.trip}).{told}"
    outcome = _with_word(OUTCOMES, result.outcome)
    if outcome:
        agreed = f" Its count was agreed within {turns_text(result.agreed_within_turns)} turns."
        return outcome.sentence + (agreed if result.is_agreed else "")
    if result.uncertain:
        return f"Not heard any more, last {result.state}: the spool may still turn."
    return SHORT_OF_TARGET


def length_text(result: WindResult) -> str:
    """The counted strand that is on the spool: with its error bar, or the two ends, or the least that is known."""
    ends = result.length_lowest_m, result.length_highest_m
    return _amount(result, result.length_m, result.length_u_m, ends, "m")


def mass_text(result: WindResult) -> str:
    """Its mass, likewise; a dash where the density is not known."""
    return _amount(result, result.mass_g, result.mass_u_g, (result.mass_lowest_g, result.mass_highest_g), "g")


def _amount(
    result: WindResult, value: float | None, u: float | None, ends: tuple[float | None, float | None], unit: str
) -> str:
    if value is None or result.count_known or result.is_agreed:
        return with_uncertainty(value, u, unit)
    lowest, highest = ends
    return between(lowest or 0.0, highest, unit)


def facts_of(result: WindResult) -> list[tuple[str, str]]:
    """What is on the spool, as pairs of name and text."""
    doubt = "" if result.count_known else ", not for certain"
    facts = [
        ("counted", f"{length_text(result)}, k = 2"),
        ("mass", f"{mass_text(result)}, k = 2"),
        ("turns", _turns(result)),
        ("pulses", f"{result.counted_pulses}, {_beside_target(result)}{doubt}"),
    ]
    if result.mass_g is None:
        del facts[1]
    if result.agreed_within_turns:
        left = f"left {turns_text(result.agreed_within_turns)} turns unknown either way"
        facts.append(("restarts", f"{left}, as was agreed to; counted has it in"))
    if result.phase_turns is not None:
        facts.append(("guide", f"{turns_text(result.phase_turns)} turns before its next reversal"))
    facts.append(("job", str(result.job_id)))
    if result.uncertain:
        facts.append(("caution", UNCERTAIN))
    doubted = (result.trip, *result.doubts)
    facts += [("caution", doubt) for code, doubt in DOUBTS.items() if TRIPS[code].word in doubted]
    return facts


def _turns(result: WindResult) -> str:
    """The turns on the spool, with the ends between which they are where the count is not known."""
    turns, layers = turns_text(result.turns), count_of(result.layers, "layer")
    if result.count_known:
        return f"{turns} in {layers}"
    if result.is_agreed:
        return f"{turns}, give or take {turns_text(result.agreed_within_turns)}, in {layers}"
    lowest, highest = turns_text(result.turns_lowest), turns_text(result.turns_highest)
    ends = f"at least {lowest}" if result.turns_highest is None else f"between {lowest} and {highest}"
    if result.turns_likely is None:
        return f"{ends}; by the count {turns} in {layers}"
    likely = turns_text(result.turns_likely)
    heard = "" if likely == turns else f"; by the last count heard {turns}"
    return f"about {likely}, and {ends}{heard} in {layers}"


def _beside_target(result: WindResult) -> str:
    beyond = result.overshoot_pulses
    if beyond == 0:
        return "exactly the target" if result.count_known else "the target"
    return f"{abs(beyond)} {'beyond' if beyond > 0 else 'short of'} the target of {result.target_pulses}"

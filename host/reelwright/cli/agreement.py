"""The count that is proposed after a restart, in words and as an object, and what it takes to agree to it."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING

import click
from attrs import frozen

from reelwright.errors import EXIT_PAUSED, ReelwrightError, UsageError
from reelwright.operation.standing import MOST_BEYOND_TURNS
from reelwright.winding.rounding import rounded_up
from windlink import codes
from windlink.sentences import CAUSES, SOURCES, STATES, say

if TYPE_CHECKING:
    from reelwright.operation.resume import Rejoin

AGREE = "agree"  # the word to type

GIVE_OR_TAKE_TURNS = 0.5  # of a count of turns by eye, where the operator does not say

# Up to so many turns off, a word agrees to an estimate. Beyond it the spool itself shows more than the estimate says:
# two strands more or fewer, side by side, are told by eye. Our choice, a common-practice one.
MOST_AGREED_TURNS = 2.0


class NotAgreedError(ReelwrightError):
    """The operator has not agreed to a count, so nothing has moved."""

    exit_code = EXIT_PAUSED


@frozen
class Consent:
    """What the operator has said on the command line.

    agree: yes to the count. within_turns: yes, as long as no more than this is in doubt; None where it was not said.
    counted: turns counted on the spool, and how far they may be off.
    """

    agree: bool = False
    within_turns: float | None = None
    counted: tuple[float, float] | None = None

    @property
    def was_given(self) -> bool:
        """Whether anything was said at all."""
        return self.agree or self.within_turns is not None or self.counted is not None


@frozen
class Proposal:
    """A count to go on from. All in turns but `pulses`; the two ends hold what earlier restarts left unknown, too.

    known_lowest, known_highest: where the spool can stand by what winder and ledger know. uncertain_turns: how far the
    count may be off, on the side where it can be farther. outside_turns: by how much a count by eye contradicts what
    is known, beyond what it may be off; else 0.
    """

    pulses: int
    turns: float
    length_m: float
    uncertain_turns: float
    known_lowest: float
    known_highest: float
    counted: bool
    outside_turns: float = 0.0

    @property
    def in_doubt_turns(self) -> float:
        """How much the operator must agree to."""
        return max(self.uncertain_turns, self.outside_turns)

    @property
    def needs_more_than_a_word(self) -> bool:
        """Whether `agree` alone is too little: it may be far off, or contradicts what is known."""
        return self.outside_turns > 0 or self.in_doubt_turns > MOST_AGREED_TURNS

    @property
    def within_turns(self) -> float:
        """The least --agree-within that agrees to it, to two digits."""
        return math.ceil(self.in_doubt_turns * 100) / 100

    def agreed_by(self, consent: Consent) -> bool:
        """Whether the command line has agreed to it already."""
        if consent.within_turns is not None:
            return consent.within_turns >= self.in_doubt_turns
        return consent.agree and not self.needs_more_than_a_word


def proposal_of(rejoin: Rejoin, counted: tuple[float, float] | None) -> Proposal:
    """The likely count, or the one that the operator has counted. Raises UsageError for one that cannot be."""
    plan, where, before = rejoin.plan, rejoin.standing, rejoin.before_turns
    known_lowest = max(0.0, plan.turns_at(where.lowest) - before)
    known_highest = plan.turns_at(where.highest) + before
    outside_turns = 0.0
    if counted is None:
        pulses, uncertain_turns = where.best, rejoin.uncertain_turns
    else:
        turns, uncertain_turns = counted
        if turns > 2 * plan.turns + MOST_BEYOND_TURNS:
            raise UsageError(
                f"{turns:g} turns counted: the job has {plan.counted_turns:.2f} turns, so the spool cannot hold"
                " so many of it.",
                "Count again, without what was on the spool before the job.",
            )
        per_turn = float(plan.pulses_per_spool_turn)
        pulses = round(turns * per_turn)
        # half a pulse lies between any two counts
        slack = uncertain_turns + 0.5 / per_turn
        outside_turns = max(0.0, known_lowest - turns - slack, turns - known_highest - slack)
    return Proposal(
        pulses=pulses,
        turns=plan.turns_at(pulses),
        length_m=plan.length_m_at(pulses),
        uncertain_turns=uncertain_turns,
        known_lowest=known_lowest,
        known_highest=known_highest,
        counted=counted is not None,
        outside_turns=outside_turns,
    )


def told(rejoin: Rejoin, proposal: Proposal) -> list[str]:
    """What each side knows, and what is proposed, a line each."""
    plan, record = rejoin.plan, rejoin.record
    spool = plan.job.take_up.name or "a spool"
    lines = [
        f"Job {record.job_id}: {plan.length_m:.2f} m onto {spool}, {plan.counted_turns:.2f} turns.",
        f"Last start of the winder: {say(CAUSES, rejoin.cause).sentence}",
        _of_the_winder(rejoin),
        *_of_an_unheard_trip(rejoin),
        _of_the_ledger(rejoin),
        *_of_another_winder(rejoin),
        *told_of_count(rejoin, proposal),
        *_beyond_the_ledger(rejoin),
    ]
    if proposal.uncertain_turns and not proposal.counted:
        lines.append(f"If you can count them: `{_counted_command(rejoin)}`.")
    lines.append("Nothing has moved since, and nothing moves before you agree. Turns made by hand are not in it.")
    return lines


def _of_the_winder(rejoin: Rejoin) -> str:
    plan, memory = rejoin.plan, rejoin.memory
    if memory is None:
        return say(SOURCES, codes.FROM_NOWHERE).sentence
    rpm = memory.rate * 0.6 / float(plan.pulses_per_spool_turn)
    speed = f" at {rpm:.0f} rpm" if memory.rate else ""
    return (
        f"The winder: {plan.turns_at(memory.pulses):.2f} turns, kept while {say(STATES, memory.state).word}{speed}."
        f" {say(SOURCES, memory.source).sentence}"
    )


def _of_an_unheard_trip(rejoin: Rejoin) -> list[str]:
    """That a trip may have left more unknown than anybody has heard of."""
    if not rejoin.unheard_trip:
        return []
    look = "Look at the spool, and count its turns if you are not sure."
    may_be = "If the strand had run out, the last turns hold none; if the sensor had failed, the count is wrong."
    return [f"It had tripped, and nobody heard why. {may_be} {look}"]


def _of_the_ledger(rejoin: Rejoin) -> str:
    heard, record = rejoin.heard, rejoin.record
    if heard is None:
        return "The ledger: no count was heard."
    # the very last count before a restart is kept without a time of its own
    when = f"{'at' if heard.pulses == record.last_pulses else 'soon after'} {record.last_count_at}"
    if rejoin.moved is not None:
        when = "before the job moved on"
    turns = rejoin.plan.turns_at(heard.pulses)
    return f"The ledger: {turns:.2f} turns, {heard.state}, recorded {when}."


def _of_another_winder(rejoin: Rejoin) -> list[str]:
    """That the strand may be on the spool of another winder, and that the job is with the one that goes on with it."""
    if rejoin.moved is not None:
        stay, pulses = rejoin.moved
        told = (
            f"Since {stay.at} the job is with the winder at {stay.port}: {rejoin.plan.turns_at(pulses):.2f} turns were"
            " recorded there last. What follows is of the strand on this winder's own spool, by what was heard here. If"
            " you have brought the other spool here, count its turns."
        )
        return [told]
    if rejoin.elsewhere is None:
        return []
    serial = rejoin.elsewhere.serial_number
    there = f"the winder with serial number {serial}" if serial else f"{rejoin.elsewhere.port}, which is still there"
    mistaken = f"That was at {there}. If the strand is on that winder's spool: do not agree."
    return [f"{mistaken} Once you agree, the job is with this winder, and what the other one knows of it is history."]


def _counted_command(rejoin: Rejoin) -> str:
    from reelwright.operation.commands import counted_command

    return counted_command(rejoin.record.job_id, rejoin.port_name)


def _agree_command(rejoin: Rejoin, proposal: Proposal) -> str:
    from reelwright.operation.commands import resume_command

    return resume_command(rejoin.record.job_id, rejoin.port_name, *_counted(proposal), "--agree")


def _counted(proposal: Proposal) -> list[str]:
    """A count by eye, as it was given."""
    if not proposal.counted:
        return []
    return ["--counted-turns", f"{proposal.turns:.10g}", "--give-or-take", f"{proposal.uncertain_turns:g}"]


def _within_command(rejoin: Rejoin, proposal: Proposal) -> str:
    from reelwright.operation.commands import resume_command

    within = ["--agree-within", f"{proposal.within_turns:g}"]
    return resume_command(rejoin.record.job_id, rejoin.port_name, *_counted(proposal), *within)


def told_of_count(rejoin: Rejoin, proposal: Proposal) -> list[str]:
    """The count that is proposed, a line each."""
    turns, metres = f"{proposal.turns:.2f} turns", f"{proposal.length_m:.2f} m"
    off, source = proposal.uncertain_turns, rejoin.standing.source
    between = f"between {proposal.known_lowest:.2f} and {proposal.known_highest:.2f} turns"
    if proposal.counted:
        known = between if proposal.known_highest > proposal.known_lowest else f"{proposal.known_highest:.2f} turns"
        return [
            f"So the spool has {turns}, {metres}, give or take {off:.2f} turns: counted by you.",
            f"Without your count it would have {known}: {source}.",
        ]
    if not off:
        return [f"So the spool has {turns}, {metres}: {source}."]
    return [
        f"So the spool has about {turns}, {metres}, and {between}: {source}.",
        f"The count may be off by up to {rounded_up(off, 2):.2f} turns.",
    ]


def _beyond_the_ledger(rejoin: Rejoin) -> list[str]:
    """That the ledger alone knows less than this, where it does: it is what `ledger show` tells."""
    alone, plan = rejoin.by_ledger, rejoin.plan
    if alone is None or (alone.ends, alone.best) == (rejoin.standing.ends, rejoin.standing.best) or rejoin.moved:
        return []
    lowest = max(0.0, plan.turns_at(alone.lowest) - rejoin.before_turns)
    highest = plan.turns_at(alone.highest) + rejoin.before_turns
    ends = f"between {lowest:.2f} and {highest:.2f} turns" if highest > lowest else f"{highest:.2f} turns"
    about = f"about {plan.turns_at(alone.best):.2f}, and " * (highest > lowest)
    return [f"The ledger alone says {about}{ends}; the winder, which was heard just now, knows the rest."]


def proposal_record(rejoin: Rejoin, proposal: Proposal) -> dict[str, object]:
    """The same for programs; `kind` and `format` are the view's."""
    plan, memory, heard = rejoin.plan, rejoin.memory, rejoin.heard
    winder = memory and {
        "turns": plan.turns_at(memory.pulses),
        "state": say(STATES, memory.state).word,
        "source": say(SOURCES, memory.source).word,
    }
    port_name = rejoin.port_name if rejoin.moved else rejoin.record.port
    ledger = heard and {"turns": plan.turns_at(heard.pulses), "state": heard.state, "port": port_name}
    moved = rejoin.moved and {"port": rejoin.moved[0].port, "turns": plan.turns_at(rejoin.moved[1])}
    return {
        "job_id": rejoin.record.job_id,
        "pulses": proposal.pulses,
        "turns": proposal.turns,
        "length_m": proposal.length_m,
        "uncertain_turns": proposal.uncertain_turns,
        "lowest_turns": proposal.known_lowest,
        "highest_turns": proposal.known_highest,
        "counted": proposal.counted,
        "source": rejoin.standing.source,
        "winder": winder,
        "ledger": ledger,
        "moved_to": moved,
        "unheard_trip": rejoin.unheard_trip,
        "agree_within_turns": proposal.within_turns if proposal.needs_more_than_a_word else None,
    }


def ask_count(rejoin: Rejoin, proposal: Proposal) -> tuple[float, float]:
    """The turns that the operator counts on the spool, and how far they may be off. Raises NotAgreedError."""
    click.echo(
        f"A word is too little for so much doubt. `{_within_command(rejoin, proposal)}` agrees to it without a count.",
        err=True,
    )
    typed = click.prompt(
        "Count the turns of this job on the spool, and type them; nothing leaves all as it is",
        default="",
        show_default=False,
        err=True,
    ).strip()
    try:
        turns = float(typed)
    except ValueError:
        turns = math.nan
    if not typed or not 0 <= turns < math.inf:
        told = f"{typed!r} is no number of turns: nothing has moved." if typed else "Not counted: nothing has moved."
        raise NotAgreedError(told, "Give the same command again when you have counted them.")
    return turns, GIVE_OR_TAKE_TURNS


def ask(rejoin: Rejoin, proposal: Proposal) -> None:
    """Have the operator agree at the terminal. Raises NotAgreedError, with what would be agreement."""
    if proposal.needs_more_than_a_word:
        within = _within_command(rejoin, proposal)
        if proposal.outside_turns:
            raise NotAgreedError(
                f"Your count is {proposal.outside_turns:.2f} turns outside of what is known, so nothing has moved.",
                f"Count once more. If it is right all the same: `{within}`.",
            )
        raise NotAgreedError(
            f"This count may be off by {proposal.uncertain_turns:.2f} turns, more than {MOST_AGREED_TURNS:g}, so"
            " nothing has moved.",
            f"Count the turns on the spool: `{_counted_command(rejoin)}`. Or agree to so much: `{within}`.",
        )
    if not sys.stdin.isatty():
        raise NotAgreedError(
            "Nobody is there to agree to this count, so nothing has moved.",
            f"Give the command at a terminal, or agree to it: `{_agree_command(rejoin, proposal)}`.",
        )
    typed = click.prompt(
        f'Type "{AGREE}" to go on from {proposal.turns:.2f} turns', default="", show_default=False, err=True
    )
    if typed.strip().lower() != AGREE:
        raise NotAgreedError("Not agreed: nothing has moved.", "Give the same command again when you are ready.")

"""Whether an empty spool is on, asked of a person before a job begins where another one's strand may still be on.

It is asked where the job has just been wound at the same winder, and where one is given up for it. A spool that was
forgotten there would be wound over its flange.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from attrs import evolve

from reelwright.cli.agreement import NotAgreedError
from reelwright.cli.prose import say

if TYPE_CHECKING:
    from reelwright.cli.wind import Link
    from reelwright.winding.planned import Plan

EMPTY = "empty"  # the word to type


def ask_for_empty_spool(link: Link, plan: Plan, *, drop_held: bool = False) -> Link:
    """Have the operator at the terminal say that the spool is empty, where the job before was this one, and is over.

    drop_held: also where the winder gives up a job for this one. The winder as it is then. Raises NotAgreedError.
    """
    left = _left_on_the_spool(link, plan, drop_held=drop_held)
    if not left:
        return link
    say(left, err=True)
    typed = click.prompt(f'Type "{EMPTY}" once an empty spool is on', default="", show_default=False, err=True)
    if typed.strip().lower() != EMPTY:
        raise NotAgreedError(
            "Nobody has said that the spool is empty: nothing has moved.",
            "Put an empty one on, and give the same command again.",
        )
    # it may have taken an hour, and the winder may have been off meanwhile
    return evolve(link, winder=link.client.hello())


def _left_on_the_spool(link: Link, plan: Plan, *, drop_held: bool) -> str:
    from reelwright.operation.before import strand_given_up, strand_of_this_job
    from reelwright.operation.held import FREE_STATES
    from reelwright.operation.resume import memory_of

    status, memory = link.client.request("status"), memory_of(link.client)
    is_under_way = memory is not None and memory.under_way
    if status["state"] in FREE_STATES and not is_under_way:
        return strand_of_this_job(plan, link.ledger, link.port_name, link.winder.serial_number, memory)
    return strand_given_up(status, memory, link.ledger) if drop_held else ""

"""One job's turns are told to a person as the same figure wherever they are told."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from reelwright.cli.wind import heading
from reelwright.operation.telling import result_of, snapshot_of
from reelwright.views.plain import progress_line
from reelwright.views.plan import plan_text
from reelwright.views.wording import facts_of
from winding_jobs import plan_of
from windlink import codes

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan


def everywhere(plan: Plan) -> dict[str, str]:
    """The turns of the whole job, as each view tells them."""
    target = plan.target_pulses
    told = {
        "plan": (r"Turns +(\S+), in layers", plan_text(plan)),
        "heading": (r", (\S+) turns, at", heading(plan, "a port")),
        "progress": (r" of (\S+) turns, ", progress_line(snapshot_of(plan, codes.WINDING, 7, 100))),
        "result": (r"(\S+) in \d", dict(facts_of(result_of(plan, 1, codes.FINISHED, target)))["turns"]),
    }
    return {where: re.findall(pattern, text)[0] for where, (pattern, text) in told.items()}


# by hand: an eighth of a turn is 2.5 pulses of 20 to a turn, and halves go up; a fifth of one pulse to a turn is none
@pytest.mark.parametrize(("turns", "per_turn", "told"), [("165.125", 20, "165.15"), ("165.2", 1, "165.00")])
def test_plan_heading_progress_and_result_tell_the_turns_at_the_pulse_where_the_winder_stops(
    turns: str, per_turn: int, told: str
) -> None:
    plan = plan_of(machine={"pulses_per_turn": per_turn}, target={"turns": turns})
    assert set(everywhere(plan).values()) == {told}

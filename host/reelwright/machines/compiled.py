"""A machine file as the board loads it: `machine.json`."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from windlink.pins import BY_NAME, FORMAT, IN

if TYPE_CHECKING:
    from reelwright.machines.machine_file import MachineFile


def compiled_text(found: MachineFile) -> str:
    """The text of machine.json. One machine has one text, so that its hash tells whether a board has it."""
    board = found.board
    inputs = sorted(role for role in board.pins if BY_NAME[role].way == IN)
    compiled = {
        "format": FORMAT,
        "board": board.facts.kind,
        "name": found.name,
        "pins": board.pins,
        "active_low": sorted(board.active_low),
        "pulls": {role: board.pull(role) for role in inputs},
        **board.numbers,
    }
    # one key a line: a person may look at it on the board
    return json.dumps(compiled, sort_keys=True, indent=1) + "\n"

"""What is known of each kind of board: which pins there are, and what for."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from attrs import Factory, frozen

from windlink.pins import HIGHEST_PIN


@frozen
class BoardFacts:
    """One kind of board; see boards.toml for what the fields mean and where they are from."""

    kind: str
    title: str
    platform: str
    chip: str
    pins: frozenset[int]
    pio_instructions: int
    pio_machines: int
    longest_window_us: int
    levels: frozenset[int]
    input_only: frozenset[int] = frozenset()
    not_for: dict[int, str] = Factory(dict)
    high_at_start: dict[int, str] = Factory(dict)
    pulled_down: str = ""
    motor_note: str = ""
    input_note: dict[int, str] = Factory(dict)

    def a_title(self) -> str:
        """The title with its article: "an ESP32 board"."""
        return f"{'an' if self.title[0] in 'AEIOU' else 'a'} {self.title}"

    def pins_text(self) -> str:
        """The pins that can be had, as runs: "0 to 22, 26 to 28"."""
        return _runs_text(self.pins - set(self.not_for))

    def levels_text(self) -> str:
        """Those of them that read a voltage, likewise."""
        return _runs_text(self.levels - set(self.not_for))


def _runs_text(pins: frozenset[int]) -> str:
    runs: list[list[int]] = []
    for pin in sorted(pins):
        if runs and runs[-1][1] == pin - 1:
            runs[-1][1] = pin
        else:
            runs.append([pin, pin])
    return ", ".join(f"{first} to {last}" if last > first else str(first) for first, last in runs)


# Stands in where nobody knows the kind: every pin will do, so that the rest of a file can be looked at.
ANY_BOARD = BoardFacts(
    kind="",
    title="board",
    platform="",
    chip="",
    pins=frozenset(range(HIGHEST_PIN + 1)),
    pio_instructions=0,
    pio_machines=0,
    longest_window_us=100_000,
    levels=frozenset(range(HIGHEST_PIN + 1)),
)


@cache
def boards() -> dict[str, BoardFacts]:
    """The boards by kind."""
    text = Path(__file__).with_name("boards.toml").read_text(encoding="utf-8")
    return {kind: _facts(kind, dict(table)) for kind, table in tomllib.loads(text).items()}


def _facts(kind: str, table: dict[str, Any]) -> BoardFacts:
    for name in ("pins", "levels"):
        table[name] = frozenset(pin for first, last in table[name] for pin in range(first, last + 1))
    table["input_only"] = frozenset(table.get("input_only", ()))
    for name in ("not_for", "high_at_start", "input_note"):
        table[name] = {int(pin): reason for pin, reason in table.get(name, {}).items()}
    return BoardFacts(kind, **table)

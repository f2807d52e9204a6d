"""Prints every benchmark as one table: `python tests/benchmarks`. Figures vary with the machine; compare the ratios."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

from rich.console import Console
from rich.table import Table

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent / "contract"), str(HERE.parent.parent / "firmware")]

MODULES = (
    "plan_cold_start",
    "plan_rate",
    "plan_against_turns",
    "control_step",
    "frames",
    "board_memory",
    "bad_cable",
    "simulator_rate",
)


def main() -> None:
    """Run each module's `rows()`; one that cannot run here says why."""
    table = Table("benchmark", "figure")
    for name in MODULES:
        for what, figure in importlib.import_module(name).rows():
            table.add_row(what, figure)
    Console().print(table)


if __name__ == "__main__":
    main()

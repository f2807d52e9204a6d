"""Mutation testing of `winding` and `windlink`: which small change to the code does no test notice?

    python tests/mutation [-j 2] [--budget 10] [--tests PATH ...] [MODULE ...]

MODULE is such as `coil` or `windlink.frame`; without one, all are mutated. Prints each mutant that survives,
and a table of all.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from pathlib import Path

import pytest
from session import KILLED, SURVIVED, UNTESTED, MutationRun

HERE = Path(__file__).resolve().parent
TESTS = HERE.parent
ROOT = TESTS.parent
ROOMS = {"reelwright.winding": ROOT / "host/reelwright/winding", "windlink": ROOT / "protocol/windlink"}

# The long series are samples here: a mutant that only one case in thousands tells apart is hardly one.
SERIES = {
    "REELWRIGHT_SEED": "1",
    "REELWRIGHT_CASES": "60",
    "REELWRIGHT_CALIBRATIONS": "30",
    "REELWRIGHT_CUT_LISTS": "20",
}

# Tests that start processes see no mutant, for it lives in this one.
QUICK_TESTS = ("unit", "references", "properties")


EVERY = {f"{room}.{path.stem}": path for room, folder in ROOMS.items() for path in sorted(folder.glob("[!_]*.py"))}


def files_of(names: list[str]) -> dict[str, Path]:
    """The modules so named, or all. Raises SystemExit, naming what there is, for another name."""
    found = {}
    for name in names:
        matching = [each for each in EVERY if each.endswith(f".{name}") or each == name]
        if not matching:
            raise SystemExit(f"no module {name!r}; there are {', '.join(EVERY)}")
        found.update({each: EVERY[each] for each in matching})
    return found or EVERY


def main() -> int:
    """Run and report."""
    parser = argparse.ArgumentParser(prog="tests/mutation")
    parser.add_argument("modules", nargs="*", metavar="MODULE")
    parser.add_argument("-j", dest="processes", type=int, default=2)
    parser.add_argument("--budget", dest="budget_s", type=float, default=10.0, help="seconds of tests for one mutant")
    parser.add_argument("--tests", nargs="+", default=[str(TESTS / each) for each in QUICK_TESTS])
    options = parser.parse_args()
    os.environ.update(SERIES)
    sys.path[:0] = [str(ROOT / "host"), str(ROOT / "protocol")]

    run = MutationRun(files_of(options.modules), list(EVERY.values()), options.budget_s, options.processes)
    pytest.main(["-q", "-s", f"--rootdir={ROOT}", *options.tests], plugins=[run])
    for name in run.failing:
        print(f"left out, fails on the code as it is: {name}")
    print(table(run))
    return 0


def table(run: MutationRun) -> str:
    """Mutants by module and fate, as the rows that README.md holds."""
    counts: dict[str, Counter[str]] = {}
    for verdict in run.verdicts:
        counts.setdefault(verdict.mutant.module.removeprefix("reelwright."), Counter())[verdict.fate] += 1
    counts["all"] = sum(counts.values(), Counter())
    rows = [f"| {module} | {n.total()} | {n[KILLED]} | {n[SURVIVED]} | {n[UNTESTED]} |" for module, n in counts.items()]
    return "\n".join(["| module | mutants | killed | survived | not run by these tests |", "| --- " * 5 + "|", *rows])


if __name__ == "__main__":
    sys.exit(main())

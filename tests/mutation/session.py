"""Runs tests against mutants: one pytest session that collects once, then a process forked for each mutant.

The tests first run on the code as it is, traced, which tells which of them runs which line and for how long. A mutant
then meets the tests that run its line, those first that lately killed another one of its function, then the quick ones.
"""

from __future__ import annotations

import os
import resource
import signal
import sys
import time
from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

import pytest
from _pytest.runner import runtestprotocol
from constants import ConstantMutant, constants_of
from mutants import mutants_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from types import FrameType

    from mutants import Mutant

    AnyMutant = Mutant | ConstantMutant

KILLED, SURVIVED, UNTESTED = "killed", "survived", "untested"

_MOST_MEMORY = 2 << 30  # bytes: a mutant that fills a list for ever ends here
_SLOWER = 10  # a mutant that takes this many times as long, and seconds beside, goes round for ever
_BESIDE_S = 5.0
_KILLERS = 6  # remembered per function


class Verdict(NamedTuple):
    """What became of a mutant."""

    mutant: AnyMutant
    fate: str


class MutationRun:
    """A pytest plugin in place of its loop. files: path of each module to mutate, by dotted name; readers: of all.

    budget_s: processor time of the tests that one mutant may meet, as measured on the code as it is.
    """

    def __init__(self, files: dict[str, Path], readers: list[Path], budget_s: float, processes: int) -> None:
        self.files = files
        self.readers = readers
        self.budget_s = budget_s
        self.processes = processes
        self.verdicts: list[Verdict] = []
        self.failing: list[str] = []
        self._items: list[pytest.Item] = []
        self._seconds: dict[int, float] = {}
        self._by_line: dict[tuple[str, int], set[int]] = defaultdict(set)
        self._killers: dict[str, list[int]] = defaultdict(list)

    def pytest_sessionstart(self) -> None:
        """Laws are tried on the same cases for each mutant, and a case that fails is not made smaller."""
        from hypothesis import Phase, settings  # not before pytest, which rewrites its assertions

        settings.register_profile("mutation", derandomize=True, database=None, phases=(Phase.explicit, Phase.generate))
        settings.load_profile("mutation")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """The whole run: tests on sound code, then on each mutant."""
        self._items = session.items
        for index in range(len(session.items)):
            self._run_sound(index)
        running: dict[int, tuple[AnyMutant, list[int], int]] = {}
        for mutant in self._mutants():
            while len(running) >= self.processes:
                self._gather(running)
            tests = self._tests_of(mutant)
            if not tests:
                self.verdicts.append(Verdict(mutant, UNTESTED))
                print(_line(mutant, UNTESTED), flush=True)
                continue
            pid, pipe = self._fork(mutant, tests)
            running[pid] = (mutant, tests, pipe)
        while running:
            self._gather(running)
        return True

    def _mutants(self) -> Iterator[AnyMutant]:
        for module, path in self.files.items():
            if module in sys.modules:
                yield from constants_of(module, path, self.readers)
                yield from mutants_of(module, path)

    def _run_sound(self, index: int) -> None:
        item = self._items[index]
        watched = {str(path) for path in self.readers}
        by_line = self._by_line

        def line(frame: FrameType, event: str, _argument: object) -> Callable[..., object]:
            if event == "line":
                by_line[frame.f_code.co_filename, frame.f_lineno].add(index)
            return line

        def call(frame: FrameType, _event: str, _argument: object) -> Callable[..., object] | None:
            return line if frame.f_code.co_filename in watched else None

        sys.settrace(call)
        started = time.process_time()
        sound = not _fails(item)
        self._seconds[index] = time.process_time() - started
        sys.settrace(None)
        if not sound:
            self.failing.append(item.nodeid)

    def _tests_of(self, mutant: AnyMutant) -> list[int]:
        found: set[int] = set()
        for place in mutant.where:
            found |= self._by_line.get(place, set())
        if isinstance(mutant, ConstantMutant):
            found |= {index for index, item in enumerate(self._items) if _names(item, mutant.name)}
        killers = self._killers[mutant.name]
        quick = sorted(found - set(killers), key=lambda index: self._seconds[index])
        tests: list[int] = []
        budget_s = self.budget_s
        for index in [*(each for each in killers if each in found), *quick]:
            if self._items[index].nodeid in self.failing:
                continue
            budget_s -= self._seconds[index]
            if budget_s < 0 and tests:
                break
            tests.append(index)
        return tests

    def _fork(self, mutant: AnyMutant, tests: list[int]) -> tuple[int, int]:
        read, write = os.pipe()
        pid = os.fork()
        if pid:
            os.close(write)
            return pid, read
        status = 1
        try:
            self._meet(mutant, tests, write)
            status = 0
        finally:  # whatever happened in there, the mutant's process goes no further
            os._exit(status)

    def _meet(self, mutant: AnyMutant, tests: list[int], write: int) -> None:
        """Run the tests on the mutant. Raises AssertionError at the first that fails, its number written."""
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
        self._forget()
        mutant.apply()
        for index in tests:
            signal.setitimer(signal.ITIMER_PROF, _SLOWER * self._seconds[index] + _BESIDE_S)
            os.write(write, index.to_bytes(4, "big"))
            assert not _fails(self._items[index])

    def _forget(self) -> None:
        """Empty the caches of our functions, which the tests on sound code have filled."""
        paths = {str(path) for path in self.readers}
        for module in list(sys.modules.values()):
            if getattr(module, "__file__", None) in paths:
                for each in vars(module).values():
                    if hasattr(each, "cache_clear"):
                        each.cache_clear()

    def _gather(self, running: dict[int, tuple[AnyMutant, list[int], int]]) -> None:
        pid, status = os.wait()
        mutant, tests, pipe = running.pop(pid)
        with os.fdopen(pipe, "rb") as file:
            met = file.read()
        if status == 0:
            self.verdicts.append(Verdict(mutant, SURVIVED))
            print(_line(mutant, SURVIVED), flush=True)
            return
        self.verdicts.append(Verdict(mutant, KILLED))
        last = int.from_bytes(met[-4:], "big") if met else tests[0]
        killers = self._killers[mutant.name]
        if last in killers:
            killers.remove(last)
        killers.insert(0, last)
        del killers[_KILLERS:]


def _names(item: pytest.Item, name: str) -> bool:
    """Whether the test itself reads this global name."""
    return name in getattr(getattr(item, "function", None), "__code__", compile("", "", "exec")).co_names


def _fails(item: pytest.Item) -> bool:
    return any(report.failed for report in runtestprotocol(item, log=False, nextitem=None))


def _line(mutant: AnyMutant, fate: str) -> str:
    return f"{fate}  {mutant.path.name}:{mutant.line} {mutant.name}  {mutant.change}"

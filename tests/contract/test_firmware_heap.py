"""The firmware leaves a board room: its heap is within the budget, by words as wide as a board's."""

from __future__ import annotations

from firmware_heap import BUDGET_KB, heap_kb, pico_sources

from interpreters import MICROPYTHON_32, needs_micropython_32


@needs_micropython_32
def test_a_picos_firmware_takes_no_more_heap_than_its_budget() -> None:
    taken_kb = heap_kb(MICROPYTHON_32, pico_sources())
    print(f"heap of a Pico's firmware: {taken_kb:.0f} kB, budget {BUDGET_KB} kB")
    # far less would mean that something was not imported
    assert BUDGET_KB / 2 < taken_kb < BUDGET_KB

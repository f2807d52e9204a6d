"""`reelwright` in a process of its own, as a shell starts it."""

import os
import subprocess
import sys


def reelwright(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Its exit code and its two outputs. environment: what it is given beside that of the tests."""
    return subprocess.run(
        [sys.executable, "-c", "from reelwright.cli import run; run()", *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **environment},
        check=False,
    )

"""Which modules `reelwright plan` has loaded by its end: its cold start has a budget."""

from __future__ import annotations

import os
import subprocess
import sys

CODE = """
import sys
sys.argv = ['reelwright', 'plan', *sys.argv[1:]]
from reelwright.cli import main
main(standalone_mode=False)
print('LOADED', *sys.modules)
"""


def loaded_by_a_plan(*words: str) -> set[str]:
    """Names of the modules after a plan with these words of the command line, in a process of its own."""
    ended = subprocess.run(
        [sys.executable, "-c", CODE, *words],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    return set(ended.stdout.splitlines()[-1].split()[1:])

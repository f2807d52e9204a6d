"""The two starts that make a restart for an upload: one without the control loop, then one as any other.

Who restarts the board leaves word of it in a register; `windcore.journal` has the others.
"""

from windcore.journal import Registers
from windlink.codes import COMMANDED

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from windcore.journal import Words

# In place of a cause: no start of the control loop ever meets it.
_FOR_UPLOAD = 14


def ask_for_upload(words: "Words") -> None:
    """The next start shall leave the port free."""
    Registers(words).announce(_FOR_UPLOAD)


def is_for_upload(words: "Words") -> bool:
    """Whether this start shall leave the port free. The start after it is then one that was asked for."""
    registers = Registers(words)
    word = registers.announced()
    if word == _FOR_UPLOAD:
        registers.announce(COMMANDED)
        return True
    if word >= 0:
        # for the control loop
        registers.announce(word)
    return False

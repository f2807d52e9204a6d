"""Makes the fakes the modules that the board files import, on an interpreter that has none of its own.

What an interpreter has of its own, such as `time`, is exchanged only in the board files that use it.
"""

import sys

import fakes.machine
import fakes.rp2

sys.modules["machine"] = fakes.machine
sys.modules["rp2"] = fakes.rp2

"""Makes the fakes the modules that the board files import, on an interpreter that has none of its own."""

import sys

import fakes.machine
import fakes.rp2

sys.modules["machine"] = fakes.machine
sys.modules["rp2"] = fakes.rp2

"""Loads a Pico's firmware as main.py does, and prints the heap's largest free piece. Runs on MicroPython.

Its argument: after how many allocated bytes garbage is collected meanwhile, -1 for a full heap alone.
"""

import sys

import micropython

import fakes.board_modules  # noqa: F401 - before the first board file
import main

main.collect_after(int(sys.argv[1]))
from boards import pico  # noqa: E402, F401 - loaded to be measured, as are those below
from windcore.loop import run  # noqa: E402, F401

micropython.mem_info()

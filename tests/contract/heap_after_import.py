"""Prints the heap in use before and after a Pico's firmware is imported and its mind built. Runs on MicroPython.

What stands in for the modules of a real board is there before, and does not count. Each `gc.collect()` ends a part of
this script for an interpreter that collects between parts alone.
"""

import gc

import fakes.board_modules  # noqa: F401 - before the first board file

gc.collect()
before = gc.mem_alloc()

import main  # noqa: E402, F401 - what it takes is what is measured
from boards import pico  # noqa: E402, F401 - loaded to be measured, as are those below
from windcore.journal import Journal  # noqa: E402, F401
from windcore.loop import run  # noqa: E402, F401
from windcore.service import Identity, LinkService  # noqa: E402
from windcore.session import Session  # noqa: E402

session = Session()
service = LinkService(session, Identity("proxy", 0, 1, 0, 1))
gc.collect()
print(before, gc.mem_alloc())

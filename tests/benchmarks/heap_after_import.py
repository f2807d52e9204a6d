"""Prints the heap in use before and after the core is imported and built. Runs on MicroPython."""

import gc

gc.collect()
before = gc.mem_alloc()

from windcore.loop import run  # noqa: E402, F401 - what it takes is what is measured
from windcore.service import Identity, LinkService  # noqa: E402
from windcore.session import Session  # noqa: E402

session = Session()
service = LinkService(session, Identity("proxy", 0, 1, 0, 1))
gc.collect()
print(before, gc.mem_alloc())

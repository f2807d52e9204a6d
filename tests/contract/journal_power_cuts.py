"""Cuts the power at every program and every erase while the journal writes its slots on littlefs. MicroPython only.

Argument: what the cut leaves of that last operation: nothing, half, or garbage. After each cut the flash is mounted
anew, and must hold the state that was kept last or the one that was being written, never a third.
"""

import random
import sys

import vfs

from boards.slot_files import SlotFiles
from windcore.journal import Journal
from windlink import codes

BLOCK = 4096  # of the flash chips on small boards
BLOCKS = 8
WRITES = 200  # enough for several erases
FOLDER = "/flash"
ERASED = 0xFF
FAILED = -5  # EIO; returned and not raised, since a file that is collected later has no heap to raise on


class Flash:
    """A block device in memory whose power fails at the operation numbered `cut_at`, and stays off."""

    def __init__(self, content, cut_at=-1, torn=""):
        self.content = content
        self.cut_at = cut_at
        self.torn = torn
        self.operations = 0
        self.programs = 0
        self.erases = 0
        self.dark = False

    def readblocks(self, block, buffer, offset=0):
        if self.dark:
            return FAILED
        start = block * BLOCK + offset
        buffer[:] = self.content[start : start + len(buffer)]
        return 0

    def writeblocks(self, block, buffer, offset=0):
        self.programs += 1
        return self._change(block * BLOCK + offset, buffer)

    def ioctl(self, operation, argument):
        if operation == 4:
            return BLOCKS
        if operation == 5:
            return BLOCK
        if operation == 6:
            self.erases += 1
            return self._change(argument * BLOCK, bytes([ERASED]) * BLOCK)
        return 0

    def _change(self, start, data):
        if self.dark:
            return FAILED
        if self.operations == self.cut_at:
            self.dark = True
            if self.torn == "half":
                half = len(data) // 2
                self.content[start : start + half] = data[:half]
            elif self.torn == "garbage":
                for index in range(len(data)):
                    self.content[start + index] = random.getrandbits(8)
            return FAILED
        self.operations += 1
        self.content[start : start + len(data)] = data
        return 0


def mounted(flash):
    """The journal on this flash, as a board finds it at its start."""
    vfs.mount(vfs.VfsLfs2(flash), FOLDER)
    return Journal(SlotFiles(FOLDER))


def write_all(kept, flash):
    """Keep one state after another; how many were kept before the power failed."""
    for number in range(1, WRITES + 1):
        kept.write(77, "0123ABCD", 10 * number, codes.WINDING if number % 2 else codes.WAITING, 0)
        if flash.dark:
            return number - 1
    return WRITES


def found(kept):
    """The number of the state that a journal holds; 0 for none."""
    past = kept.read()
    if past is None:
        return 0
    number = past.count // 10
    whole = past.count == 10 * number and past.job_id == 77 and past.crc == "0123ABCD"
    return number if whole and past.state == (codes.WINDING if number % 2 else codes.WAITING) else -1


def main(torn):
    random.seed(20310504)
    fresh = Flash(bytearray(bytes([ERASED]) * (BLOCK * BLOCKS)))
    vfs.VfsLfs2.mkfs(fresh)
    whole = Flash(bytearray(fresh.content))
    assert write_all(mounted(whole), whole) == WRITES
    vfs.umount(FOLDER)
    cuts = old = new = third = 0
    for cut_at in range(whole.operations):
        flash = Flash(bytearray(fresh.content), cut_at, torn)
        done = write_all(mounted(flash), flash)
        assert flash.dark, "the cut was not reached"
        vfs.umount(FOLDER)
        after = Flash(flash.content)
        kept = mounted(after)
        number = found(kept)
        cuts += 1
        old += number == done
        new += number == done + 1
        third += number not in (done, done + 1)
        # and it goes on from there
        kept.write(77, "0123ABCD", 10 * (WRITES + 2), codes.WAITING, 0)
        assert found(Journal(SlotFiles(FOLDER))) == WRITES + 2
        vfs.umount(FOLDER)
    assert whole.erases >= 2, "the writes are too few to need an erase"
    told = (torn, cuts, whole.programs, whole.erases, old, new, third)
    print("torn: %s, cuts: %d (%d programs, %d erases), mounted: all, old: %d, new: %d, third states: %d" % told)


main(sys.argv[1])

"""What the board does for an installation. The host sends this file as it stands, with a call of `answer` below it.

It runs on MicroPython, from any state that a broken-off installation may have left. New files gather in a folder of
their own and take their places in one go, main.py last; until then no main.py stands at the root, so that a restart
leads to the prompt, with the motor's pins made safe by boot.py where there is one.
"""

import binascii
import gc
import hashlib
import json
import os
import sys

INCOMING = "incoming"  # folder for files that are on their way
MAIN = "main.py"
RECORD = "installed.json"  # what an installation has put here
KEPT = "_before.py"  # end of the name of a file that is not ours and makes room

_DIRECTORY = 0x4000
_CHUNK = 512


def answer(value: object) -> None:
    """Print an answer where the host finds it among whatever else the board prints."""
    sys.stdout.write("\n<answer>" + json.dumps(value) + "</answer>\n")


def is_there(path: str) -> bool:
    """Whether there is a file or folder."""
    try:
        os.stat(path)
    except OSError:
        return False
    return True


def digest(path: str) -> "str | None":
    """SHA-256 of a file in hexadecimal; None where there is none."""
    found = hashlib.sha256()
    room = bytearray(_CHUNK)
    view = memoryview(room)
    try:
        with open(path, "rb") as file:
            while True:
                count = file.readinto(room)
                if not count:
                    break
                found.update(view[:count])
    except OSError:
        return None
    return binascii.hexlify(found.digest()).decode()


def stretch_watchdog() -> None:
    """Let a watchdog that a stopped program has left wait as long as it can, which is 8.4 s; begin none."""
    if sys.platform != "rp2":
        return
    machine = __import__("machine")
    # its first register, bit 30: whether it runs; RP2040 Datasheet, 4.7.6, and RP2350 Datasheet, 12.9.7
    base = 0x400D8000 if "RP2350" in getattr(sys.implementation, "_machine", "") else 0x40058000
    if machine.mem32[base] & 1 << 30:
        machine.WDT(timeout=8388)


def look(paths: "list[str]") -> "dict[str, object]":
    """Who the board is, its free space, and the hashes of these files in place and on their way."""
    stretch_watchdog()
    gc.collect()
    space = os.statvfs("/")
    mpy = getattr(sys.implementation, "_mpy", 0)
    return {
        "interpreter": sys.implementation.name,
        "version": list(sys.implementation.version[:3]),
        "platform": sys.platform,
        "machine": getattr(sys.implementation, "_machine", ""),
        "bytecode": mpy & 0xFF,
        "free_bytes": space[0] * space[3],
        "in_place": {path: digest(path) for path in paths},
        "on_their_way": {path: digest(INCOMING + "/" + path) for path in paths},
        "main_sha256": digest(MAIN),
        "installed": installed(),
    }


def installed() -> "dict[str, str] | None":
    """The hashes that the last installation left here by path; None where there was none, or its record is damaged."""
    try:
        with open(RECORD) as file:
            return dict(json.load(file)["files"])
    except (OSError, ValueError, KeyError):
        return None


def make_folders(root: str, paths: "list[str]") -> None:
    """The folders that these files need below root, "" for the top."""
    for path in paths:
        parts = (root + "/" + path if root else path).split("/")
        for count in range(1, len(parts)):
            folder = "/".join(parts[:count])
            if not is_there(folder):
                os.mkdir(folder)


def replace(source: str, target: str) -> None:
    """Move a file onto another, whether or not the file system does that in one."""
    try:
        os.rename(source, target)
    except OSError:
        # FAT knows no renaming onto a file that is there
        os.remove(target)
        os.rename(source, target)


def set_main_aside(folders_for: "list[str]", kept: "list[str]") -> bool:
    """Take main.py out of the way, and make the folders that the incoming files need.

    It goes to the incoming files. What is named in `kept` stays under a name of its own instead: the program of whoever
    had the board before. Whether there was a main.py to be moved.
    """
    stretch_watchdog()
    make_folders(INCOMING, folders_for)
    found = is_there(MAIN)
    for path in kept:
        if is_there(path):
            replace(path, path.replace(".py", KEPT))
    if is_there(MAIN):
        replace(MAIN, INCOMING + "/" + MAIN)
    return found


def put_in_place(paths: "list[str]", gone: "list[str]") -> "dict[str, str | None]":
    """Move the incoming files to their places in this order, main.py last, and remove those that are out of date."""
    make_folders("", paths)
    for path in gone:
        if is_there(path):
            os.remove(path)
    for path in [each for each in paths if each != MAIN] + [MAIN]:
        if is_there(INCOMING + "/" + path):
            replace(INCOMING + "/" + path, path)
    empty(INCOMING)
    os.rmdir(INCOMING)
    return {path: digest(path) for path in paths}


def empty(folder: str) -> None:
    """Remove all that is in a folder."""
    for name in os.listdir(folder):
        path = folder + "/" + name
        if os.stat(path)[0] & _DIRECTORY:
            empty(path)
            os.rmdir(path)
        else:
            os.remove(path)

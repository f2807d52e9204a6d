"""All files of a board, to be saved and put back. Runs on the board."""

import os

MOUNTED = "rom"  # a file system in the interpreter's image, which is not ours to change


def within(folder):
    """Paths of what a folder holds, "" for the root."""
    names = os.listdir(folder or "/")
    return [folder + "/" + name if folder else name for name in names if folder or name != MOUNTED]


def every_file(folder=""):
    """Paths of all files below a folder."""
    found = []
    for path in within(folder):
        if os.stat(path)[0] & 0x4000:
            found += every_file(path)
        else:
            found.append(path)
    return found


def clear(folder=""):
    """Remove all files and folders."""
    for path in within(folder):
        if os.stat(path)[0] & 0x4000:
            clear(path)
            os.rmdir(path)
        else:
            os.remove(path)
    return True


def make_folders(paths):
    """The folders that these files need."""
    for path in paths:
        parts = path.split("/")
        for count in range(1, len(parts)):
            folder = "/".join(parts[:count])
            if folder.rpartition("/")[2] not in os.listdir(folder.rpartition("/")[0] or "/"):
                os.mkdir(folder)
    return True

"""What the host sends to a board, run in a folder that stands for the board's root: argument 1."""

import os
import sys

import on_board


def write(path: str, text: str) -> None:
    with open(path, "w") as file:
        file.write(text)


def read(path: str) -> str:
    with open(path) as file:
        return file.read()


os.chdir(sys.argv[1])
# SHA-256 of "abc": FIPS 180-2, appendix B.1
write("abc.txt", "abc")
assert on_board.digest("abc.txt") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
assert on_board.digest("nothing.txt") is None
# longer than the room that it is read through, and no multiple of it
write("long.txt", "a" * 1300)
first = on_board.digest("long.txt")
write("long.txt", "a" * 1299 + "b")
assert first != on_board.digest("long.txt")

write("main.py", "old")
assert on_board.set_main_aside(["boards/pico.py", "machine.json"], [])
assert not on_board.is_there("main.py")
assert not on_board.set_main_aside(["boards/pico.py", "machine.json"], [])
told = on_board.look(["boards/pico.py", "main.py"])
assert told["on_their_way"]["main.py"]
assert told["in_place"] == {"boards/pico.py": None, "main.py": None}
assert told["free_bytes"] > 0
assert told["installed"] is None

write("incoming/boards/pico.py", "new")
write("incoming/stray.txt", "left by a broken-off one")
write("gone.py", "out of date")
hashes = on_board.put_in_place(["boards/pico.py", "main.py"], ["gone.py", "never.py"])
assert None not in hashes.values()
assert read("boards/pico.py") == "new"
assert read("main.py") == "old"
assert not on_board.is_there("incoming")
assert not on_board.is_there("gone.py")

write("installed.json", '{"files": {"main.py": "00"}}')
assert on_board.installed() == {"main.py": "00"}
write("installed.json", '{"files')
assert on_board.installed() is None

write("main.py", "a stranger's")
write("boot.py", "a stranger's")
assert on_board.set_main_aside(["x.py"], ["main.py", "boot.py"])
assert read("main_before.py") == read("boot_before.py") == "a stranger's"

on_board.answer({"right": True})

"""What belongs on a board: the files that its program imports, found by following the imports from its first lines."""

from __future__ import annotations

import ast
import hashlib
import json
from typing import TYPE_CHECKING, Any

from attrs import field, frozen

from reelwright.errors import DeviceError
from reelwright.firmware_folders import firmware_folder, windlink_folder
from reelwright.install.on_board import MAIN, RECORD

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from reelwright.machines.boards import BoardFacts

BOOT = "boot.py"

# What only a type checker reads stands below such a test.
_TYPES_ONLY = {"MYPY", "TYPE_CHECKING"}


@frozen
class BoardFile:
    """A file as it shall be on the board. path: from the root of its file system, with "/" between."""

    path: str
    content: bytes = field(repr=False)

    @property
    def size(self) -> int:
        """In bytes."""
        return len(self.content)

    @property
    def sha256(self) -> str:
        """In hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


def firmware_files(facts: BoardFacts, folders: tuple[Path, Path] | None = None) -> tuple[BoardFile, ...]:
    """The firmware for a kind of board: what makes its motor safe first, what starts the loop last.

    folders: the firmware's, and the one that holds windlink. Raises DeviceError where this version has none for it.
    """
    firmware, link = folders or (firmware_folder(), windlink_folder().parent)
    found: dict[str, Path] = {}  # in the order in which they take their places
    boards = board_modules(firmware)
    if facts.platform not in boards:
        raise DeviceError(
            f"This version has no firmware for the {facts.title}.", "Update reelwright, or take another board."
        )
    for first in (BOOT, f"boards/{boards[facts.platform]}.py", MAIN):
        if not (firmware / first).is_file():
            raise DeviceError(f"The firmware lacks {first}.", "Install reelwright again.")
        _follow(firmware / first, (firmware, link), found)
        # a file that the board runs by itself comes after all that it needs
        found[first] = found.pop(first)
    return tuple(BoardFile(path, file.read_bytes()) for path, file in found.items())


def compiled_files(files: Iterable[BoardFile]) -> tuple[BoardFile, ...]:
    """The same as bytecode, which loads in less memory. boot.py and main.py stay: a board runs no others by itself.

    Raises UsageError where the compiler is not there.
    """
    from reelwright.install.bytecode import compiled

    return tuple(
        BoardFile(each.path.removesuffix(".py") + ".mpy", compiled(each))
        if each.path.endswith(".py") and each.path not in (BOOT, MAIN)
        else each
        for each in files
    )


def firmware_version(folder: Path | None = None) -> str:
    """The version that this firmware tells in its `hello`. folder: the firmware's."""
    return str(_constant((folder or firmware_folder()) / "windcore" / "service.py", "FIRMWARE"))


def record_of(files: Iterable[BoardFile], version: str) -> BoardFile:
    """The file by which a later installation knows what this one has put on the board."""
    hashes = {each.path: each.sha256 for each in files}
    return BoardFile(RECORD, (json.dumps({"firmware": version, "files": hashes}, sort_keys=True) + "\n").encode())


def board_modules(folder: Path | None = None) -> dict[str, str]:
    """Which board file main.py takes on which port of the interpreter. folder: the firmware's."""
    modules: dict[str, str] = _constant((folder or firmware_folder()) / MAIN, "BOARD_FILES")
    return modules


def _constant(path: Path, name: str) -> Any:
    """A constant of a module of the firmware, which the host does not import."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and [getattr(each, "id", "") for each in node.targets] == [name]:
            return ast.literal_eval(node.value)
    raise DeviceError(f"{path} does not say {name}.", "Install reelwright again.")


def _follow(path: Path, roots: tuple[Path, ...], found: dict[str, Path]) -> None:
    root = next(each for each in roots if path.is_relative_to(each))
    on_board = path.relative_to(root).as_posix()
    if on_board in found:
        return
    found[on_board] = path
    for name in _imports(ast.parse(path.read_text(encoding="utf-8")).body):
        for file in _files_of(name, roots):
            _follow(file, roots, found)


def _imports(body: Iterable[ast.AST]) -> Iterator[str]:
    """Dotted names of the modules that these statements may load."""
    for node in body:
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id in _TYPES_ONLY:
            yield from _imports(node.orelse)
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "__import__":
            name = node.args[0]
            if isinstance(name, ast.Constant):
                yield str(name.value)
        yield from _imports(ast.iter_child_nodes(node))


def _files_of(name: str, roots: tuple[Path, ...]) -> Iterator[Path]:
    """The files that importing a module of ours loads: its packages' and its own; none for another's."""
    parts = name.split(".")
    for count in range(1, len(parts) + 1):
        for root in roots:
            stem = root.joinpath(*parts[:count])
            yield from (each for each in (stem.with_suffix(".py"), stem / "__init__.py") if each.is_file())

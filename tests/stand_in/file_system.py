"""A folder as the file system of a board: its `os`, its `open`, and the modules that a program on it sees."""

from __future__ import annotations

import builtins
import os
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


class BoardOs:
    """The module os of a board whose root is a folder."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def at(self, path: str) -> Path:
        """Where a path of the board lies."""
        return self._root / path.lstrip("/")

    def stat(self, path: str) -> tuple[int, ...]:
        """As MicroPython gives it: ten numbers."""
        return tuple(os.stat(self.at(path)))

    def statvfs(self, _: str) -> tuple[int, ...]:
        """A flash of 848 kB in blocks of 4 kB, as much as a Pico leaves for files."""
        used = sum(-(-each.stat().st_size // 4096) for each in self._root.rglob("*") if each.is_file())
        return (4096, 4096, 212, 212 - used, 212 - used, 0, 0, 0, 0, 255)

    def listdir(self, path: str = "") -> list[str]:
        """The names in a folder."""
        return os.listdir(self.at(path))

    def ilistdir(self, path: str = "") -> list[tuple[str, int, int, int]]:
        """Name, kind, nothing and size of all that is in a folder."""
        found = [(each.name, each.stat()) for each in self.at(path).iterdir()]
        return [(name, about.st_mode & 0xC000, 0, about.st_size) for name, about in found]

    def mkdir(self, path: str) -> None:
        """Make a folder."""
        self.at(path).mkdir()

    def rmdir(self, path: str) -> None:
        """Remove a folder."""
        self.at(path).rmdir()

    def remove(self, path: str) -> None:
        """Remove a file."""
        self.at(path).unlink()

    def rename(self, source: str, target: str) -> None:
        """Move a file, onto another where there is one."""
        self.at(source).replace(self.at(target))

    def urandom(self, count: int) -> bytes:
        """Chance."""
        return os.urandom(count)


class Seen:
    """What programs of the board see in place of this interpreter's own: modules by name, and files below the root."""

    def __init__(self, root: Path, modules: Mapping[str, Any]) -> None:
        self._root = str(root)
        self._modules = {**modules, "os": BoardOs(root)}
        self._import, self._open = builtins.__import__, builtins.open
        builtins.__import__ = self._imported
        builtins.open = self._opened

    def _imported(self, name: str, globals: Any = None, *rest: Any) -> Any:  # noqa: A002 - the real one's name
        if name in self._modules and self._is_boards(globals):
            return self._modules[name]
        return self._import(name, globals, *rest)

    def _opened(self, path: Any, *rest: Any, **named: Any) -> Any:
        # whoever asks is one frame up
        if isinstance(path, str) and self._is_boards(sys._getframe(1).f_globals):
            path = Path(self._root, path.lstrip("/"))
        return self._open(path, *rest, **named)

    def _is_boards(self, names: dict[str, Any] | None) -> bool:
        return names is not None and str(names.get("__file__", "")).startswith(self._root)

    def forget_modules(self) -> None:
        """What a program has loaded from the board's files is gone with its interpreter."""
        for name, module in list(sys.modules.items()):
            if str(getattr(module, "__file__", None) or "").startswith(self._root):
                del sys.modules[name]


def interpreter(stdin: Any, stdout: Any) -> SimpleNamespace:
    """The module sys of MicroPython 1.28 on a Pico."""
    return SimpleNamespace(
        platform="rp2",
        argv=[],
        stdin=stdin,
        stdout=stdout,
        stderr=stdout,
        implementation=SimpleNamespace(
            name="micropython", version=(1, 28, 0, ""), _machine="Raspberry Pi Pico with RP2040", _mpy=0x1306
        ),
    )

"""Small changes to the plain numbers that a module declares, in it and wherever else they were imported.

A table, and a number that only makes another one, is left alone: nothing reads it while tests run.
"""

from __future__ import annotations

import ast
import sys
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path


class ConstantMutant(NamedTuple):
    """One number declared by a module, and another one. where: the lines, by path, that read it."""

    module: str
    name: str
    path: Path
    line: int
    where: tuple[tuple[str, int], ...]
    before: float
    after: float

    @property
    def change(self) -> str:
        """The change in one line, before and after."""
        return f"{self.before!r}  ->  {self.after!r}"

    def apply(self) -> None:
        """Give every loaded module that has the number the other one. For a process of its own."""
        for module in list(sys.modules.values()):
            held = getattr(module, "__dict__", {}).get(self.name)
            if type(held) is type(self.before) and held == self.before:
                setattr(module, self.name, self.after)


def constants_of(module: str, path: Path, readers: Iterable[Path]) -> Iterator[ConstantMutant]:
    """Every mutant of a module's plain numbers. readers: files whose functions may read them."""
    trees = {reader: ast.parse(reader.read_text(encoding="utf-8")) for reader in {path, *readers}}
    for statement in trees[path].body:
        target = statement.targets[0] if isinstance(statement, ast.Assign) else getattr(statement, "target", None)
        if not isinstance(target, ast.Name):
            continue
        value = getattr(sys.modules[module], target.id, None)
        if type(value) not in (int, float):
            continue
        where = tuple(place for reader, tree in trees.items() for place in _reads(str(reader), tree, target.id))
        for after in (value + 1, value - 1) if isinstance(value, int) else (value * 1.1,):
            if where:
                yield ConstantMutant(module, target.id, path, statement.lineno, where, value, after)


def _reads(path: str, tree: ast.Module, name: str) -> Iterator[tuple[str, int]]:
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            for node in (each for statement in function.body for each in ast.walk(statement)):
                if isinstance(node, ast.Name) and node.id == name:
                    yield path, node.lineno

"""Small changes to a module's functions, each of which a test ought to notice.

A mutant is one node of one function replaced. It is brought about by giving the live function the changed one's
code, so that every name that was imported from the module goes on meaning the same function.

Left alone: docstrings, annotations, the texts of f-strings and whatever a `raise` says, `strict=` of `zip`, and what a
module computes when it is loaded, such as its tables.
"""

from __future__ import annotations

import ast
import sys
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from types import CodeType, FunctionType

Function = ast.FunctionDef | ast.AsyncFunctionDef

_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}

_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
}

_OPPOSITES = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}


class Place(NamedTuple):
    """Where a node hangs in its function's tree. index: in the parent's list, or None for a single child."""

    parent: ast.AST
    field: str
    index: int | None
    lines: range  # of the statement's head, up to the node: a test that runs none of them cannot notice

    def hang(self, node: ast.AST) -> None:
        """Put a node there."""
        if self.index is None:
            setattr(self.parent, self.field, node)
        else:
            getattr(self.parent, self.field)[self.index] = node


class Mutant(NamedTuple):
    """One change. module: its dotted name; name: the function's qualified name; change: in source, before and after."""

    module: str
    name: str
    place: Place
    node: ast.AST
    replacement: ast.AST
    tree: ast.Module
    path: Path

    @property
    def line(self) -> int:
        """Where the changed node begins."""
        return getattr(self.node, "lineno", self.place.lines.start)

    @property
    def where(self) -> tuple[tuple[str, int], ...]:
        """The lines, by path, of which a test must run one to notice."""
        return tuple((str(self.path), number) for number in self.place.lines)

    @property
    def change(self) -> str:
        """The change in one line of source, before and after."""
        before, after = (" ".join(ast.unparse(each).split()) for each in (self.node, self.replacement))
        return f"{before}  ->  {after}"

    def apply(self) -> None:
        """Give the live function the changed code. For a process of its own: there is no way back."""
        self.place.hang(self.replacement)
        ast.fix_missing_locations(self.tree)
        code = next(_codes_named(self.name, compile(self.tree, str(self.path), "exec", dont_inherit=True)))
        _live(self.module, self.name).__code__ = code


def mutants_of(module: str, path: Path) -> Iterator[Mutant]:
    """Every mutant of a module, in the order of its source."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for name, function in _functions(tree.body, ""):
        for place, node in _places(function):
            for replacement in _replacements(node, place):
                ast.copy_location(replacement, node)
                yield Mutant(module, name, place, node, replacement, tree, path)


def _functions(body: list[ast.stmt], prefix: str) -> Iterator[tuple[str, Function]]:
    for statement in body:
        if isinstance(statement, Function):
            yield prefix + statement.name, statement
        elif isinstance(statement, ast.ClassDef):
            yield from _functions(statement.body, f"{prefix}{statement.name}.")


def _places(function: Function) -> Iterator[tuple[Place, ast.AST]]:
    body = function.body
    has_docstring = ast.get_docstring(function) is not None
    for index, statement in enumerate(body):
        if not (index == 0 and has_docstring):
            yield from _walk(statement, Place(function, "body", index, range(statement.lineno, statement.lineno + 1)))


def _walk(node: ast.AST, place: Place) -> Iterator[tuple[Place, ast.AST]]:
    yield place, node
    if isinstance(node, ast.Raise | ast.JoinedStr) or _is_strict(node):
        return
    for field, child in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list", "args") and isinstance(node, Function | ast.AnnAssign):
            continue
        if isinstance(child, ast.AST):
            yield from _walk(child, Place(node, field, None, _lines(child, place)))
        elif isinstance(child, list):
            for index, each in enumerate(child):
                if isinstance(each, ast.AST):
                    yield from _walk(each, Place(node, field, index, _lines(each, place)))


def _lines(node: ast.AST, above: Place) -> range:
    if isinstance(node, ast.stmt):
        return range(node.lineno, node.lineno + 1)
    return range(above.lines.start, max(getattr(node, "end_lineno", 0) + 1, above.lines.stop))


def _replacements(node: ast.AST, place: Place) -> Iterator[ast.AST]:
    if isinstance(node, ast.stmt):
        yield from _of_statement(node)
    elif isinstance(node, ast.Compare):
        for index, operator in enumerate(node.ops):
            for other in _COMPARISONS[type(operator)]:
                yield ast.Compare(node.left, [*node.ops[:index], other(), *node.ops[index + 1 :]], node.comparators)
    elif isinstance(node, ast.BinOp):
        if not (isinstance(node.op, ast.Mod) and _is_text(node.left)) and type(node.op) in _OPERATORS:
            yield ast.BinOp(node.left, _OPERATORS[type(node.op)](), node.right)
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        for index in range(len(node.values)):
            rest = [*node.values[:index], *node.values[index + 1 :]]
            yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
    elif isinstance(node, ast.UnaryOp):
        yield node.operand
    elif isinstance(node, ast.IfExp):
        yield node.body
        yield node.orelse
    elif isinstance(node, ast.Call):
        yield from _of_call(node)
    elif isinstance(node, ast.comprehension):
        for index in range(len(node.ifs)):
            rest = [*node.ifs[:index], *node.ifs[index + 1 :]]
            yield ast.comprehension(node.target, node.iter, rest, node.is_async)
    elif isinstance(node, ast.Constant) and not isinstance(place.parent, ast.FormattedValue):
        yield from _of_constant(node)


def _of_statement(node: ast.stmt) -> Iterator[ast.AST]:
    if isinstance(node, ast.If | ast.While):
        for value in (True, False) if isinstance(node, ast.If) else (False,):
            yield type(node)(ast.Constant(value), node.body, node.orelse)
    elif isinstance(node, ast.Return):
        if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
            yield ast.Return(ast.Constant(None))
    elif isinstance(node, ast.Assign):
        if not isinstance(node.targets[0], ast.Name | ast.Tuple):
            yield ast.Pass()
    elif isinstance(node, ast.AugAssign):
        yield ast.Pass()
        yield ast.AugAssign(node.target, _OPERATORS[type(node.op)](), node.value)
    elif isinstance(node, ast.Expr | ast.Raise | ast.Break | ast.Continue):
        yield ast.Pass()


def _of_call(node: ast.Call) -> Iterator[ast.AST]:
    if isinstance(node.func, ast.Name) and node.func.id in _OPPOSITES:
        yield ast.Call(ast.Name(_OPPOSITES[node.func.id], ast.Load()), node.args, node.keywords)
    for index in (index for index, keyword in enumerate(node.keywords) if not _is_strict(keyword)):
        yield ast.Call(node.func, node.args, [*node.keywords[:index], *node.keywords[index + 1 :]])
    if len(node.args) > 1:
        yield ast.Call(node.func, node.args[:-1], node.keywords)


def _of_constant(node: ast.Constant) -> Iterator[ast.AST]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        if value > 0:
            yield ast.Constant(value - 1)
    elif isinstance(value, float):
        yield ast.Constant(value * 1.1 if value else 1.0)
    elif isinstance(value, str):
        yield ast.Constant(value + "~")


def _is_strict(node: ast.AST) -> bool:
    """Of `zip(..., strict=True)`: an assertion, which never fails on sound code."""
    return isinstance(node, ast.keyword) and node.arg == "strict"


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


def _codes_named(name: str, code: CodeType) -> Iterator[CodeType]:
    for each in code.co_consts:
        if hasattr(each, "co_qualname"):
            if each.co_qualname == name:
                yield each
            yield from _codes_named(name, each)


def _live(module: str, name: str) -> FunctionType:
    found: Any = sys.modules[module]
    for part in name.split("."):
        found = vars(found)[part]
    for inside in ("fget", "__func__", "func", "__wrapped__"):  # property, class and static method, cached ones
        found = getattr(found, inside, None) or found
    return found

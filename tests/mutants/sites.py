"""Where a formula can be changed, and how: a mutant for each constant, sign, operator, comparison, term and pair of arguments.

Left alone, since a change there says nothing about a formula: annotations, decorators, texts of faults and of sentences,
lists of names, the settings of solvers (steps, tolerances), and powers of ten that only guard against nought (1e-9).
"""

from __future__ import annotations

import ast
import copy
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

OTHER_OPERATOR: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
}
OPPOSITE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.GtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.LtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}
# With a whole number beside it, the edge itself means something; between measured numbers it is never met.
EDGE: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
OTHER_END = {"max": "min", "min": "max", "maximum": "minimum", "minimum": "maximum"}
NO_ORDER = {*OTHER_END, "isinstance", "hypot", "logaddexp", "isclose", "allclose", "zip", "array_equal"}
SETTINGS = {
    "maxiter",
    "xtol",
    "rtol",
    "atol",
    "ftol",
    "gtol",
    "tol",
    "xatol",
    "fatol",
    "maxfev",
    "maxfun",
    "maxsize",
    "strict",
    "stacklevel",
}
SETTINGS |= {"cache", "parallel", "nogil", "slots", "kw_only", "frozen"}
SENTENCES = {"str", "str | None", "tuple[str, ...]", "list[str]"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change: its place is told by the function and the count of its kind there, so that other edits do not move it."""

    file: str
    where: str
    kind: str
    number: int
    line: int
    before: str
    after: str

    @property
    def name(self) -> str:
        return f"{self.file}::{self.where}::{self.kind}::{self.number}"


def mutants_of(source: str, file: str) -> list[Mutant]:
    """Every mutant of a file, from top to bottom."""
    walk = _Walk(file)
    walk.visit(ast.parse(source))
    return walk.found


def mutated(source: str, file: str, name: str) -> ast.Module:
    """The syntax tree of a file with the one change of this name. Raises ValueError if there is none."""
    walk = _Walk(file, wanted=name)
    tree = walk.visit(ast.parse(source))
    if not walk.made:
        raise ValueError(f"There is no mutant {name}.")
    return ast.fix_missing_locations(tree)


class _Walk(ast.NodeTransformer):
    """Lists the changes, and makes the one that is wanted."""

    def __init__(self, file: str, wanted: str = "") -> None:
        self.file, self.wanted, self.made = file, wanted, False
        self.found: list[Mutant] = []
        self.inside: list[str] = []
        self.counts: Counter[tuple[str, str]] = Counter()

    def visit(self, node: ast.AST) -> ast.AST:
        if _left_alone(node):
            return node
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            return self._within(node)
        if isinstance(node, ast.AnnAssign):
            if node.value:
                node.value = self.visit(node.value)  # type: ignore[assignment]
            return node
        changes = list(_changes(node))
        chosen: ast.AST | None = None
        for kind, new in changes:
            if self._note(node, kind, new):
                chosen = copy.deepcopy(new)
        kept = self.generic_visit(node)
        return kept if chosen is None else chosen

    def _within(self, node: ast.FunctionDef | ast.ClassDef) -> ast.AST:
        if isinstance(node, ast.FunctionDef):
            node.args.defaults = [self.visit(default) for default in node.args.defaults]  # type: ignore[misc]
            node.args.kw_defaults = [default and self.visit(default) for default in node.args.kw_defaults]  # type: ignore[misc]
        self.inside.append(node.name)
        node.body = [self.visit(statement) for statement in node.body]  # type: ignore[misc]
        self.inside.pop()
        return node

    def _note(self, node: ast.AST, kind: str, new: ast.AST) -> bool:
        where = ".".join(self.inside) or "<module>"
        number = self.counts[where, kind]
        self.counts[where, kind] += 1
        mutant = Mutant(
            file=self.file,
            where=where,
            kind=kind,
            number=number,
            line=getattr(node, "lineno", 0),
            before=ast.unparse(node),
            after=ast.unparse(new),
        )
        self.found.append(mutant)
        if mutant.name == self.wanted:
            self.made = True
        return mutant.name == self.wanted


def _left_alone(node: ast.AST) -> bool:
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert | ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.keyword):
        return node.arg in SETTINGS
    if isinstance(node, ast.Assign):
        return ast.unparse(node.targets[0]) == "__all__"
    if isinstance(node, ast.If):
        return ast.unparse(node.test) == "TYPE_CHECKING"
    return isinstance(node, ast.FunctionDef) and node.returns is not None and ast.unparse(node.returns) in SENTENCES


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(node, ast.Constant):
        yield from _of_constant(node)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield "sign", node.operand
    elif isinstance(node, ast.BinOp):
        yield from _of_operator(node)
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield from _of_comparison(node)
    elif isinstance(node, ast.BoolOp):
        other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield "and or", ast.BoolOp(op=other, values=node.values)
    elif isinstance(node, ast.Call):
        yield from _of_call(node)


def _of_constant(node: ast.Constant) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(node.value, bool):
        yield "constant", ast.Constant(not node.value)
    elif isinstance(node.value, int):
        yield "constant", ast.Constant(node.value + 1)
    elif isinstance(node.value, float) and not _is_guard(node.value):
        yield "constant", ast.Constant(node.value * 2.0 if node.value else 1.0)


def _is_guard(value: float) -> bool:
    """A power of ten this small keeps a quotient from nought or forgives rounding: twice as much does the same."""
    return 0.0 < value < 2e-7 and math.log10(value) == round(math.log10(value))


def _of_operator(node: ast.BinOp) -> Iterator[tuple[str, ast.AST]]:
    if any(isinstance(side, ast.Constant | ast.JoinedStr) and not _is_number(side) for side in (node.left, node.right)):
        return  # texts put together
    other = OTHER_OPERATOR.get(type(node.op))
    if other:
        yield "operator", ast.BinOp(left=node.left, op=other(), right=node.right)
    if isinstance(node.op, ast.Add | ast.Sub | ast.Mult | ast.Div):
        yield "dropped term", node.left
    if isinstance(node.op, ast.Sub) and _is_number(node.left):
        yield "complement", node.right


def _is_number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def _of_comparison(node: ast.Compare) -> Iterator[tuple[str, ast.AST]]:
    kind, right = type(node.ops[0]), node.comparators[0]
    if kind in OPPOSITE:
        yield "comparison", ast.Compare(left=node.left, ops=[OPPOSITE[kind]()], comparators=node.comparators)
    if kind in EDGE and isinstance(right, ast.Constant) and type(right.value) is int:
        yield "edge", ast.Compare(left=node.left, ops=[EDGE[kind]()], comparators=node.comparators)


def _of_call(node: ast.Call) -> Iterator[tuple[str, ast.AST]]:
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in OTHER_END:
        new = copy.copy(node.func)
        setattr(new, "attr" if isinstance(new, ast.Attribute) else "id", OTHER_END[name])
        yield "other end", ast.Call(func=new, args=node.args, keywords=node.keywords)
    two = node.args[:2]
    if name not in NO_ORDER and len(two) == 2 and not any(isinstance(word, ast.Starred) for word in two):
        if any(isinstance(word, ast.Constant) and isinstance(word.value, str) for word in two):
            return
        if ast.dump(two[0]) != ast.dump(two[1]):
            yield "swapped arguments", ast.Call(func=node.func, args=[*two[::-1], *node.args[2:]], keywords=node.keywords)

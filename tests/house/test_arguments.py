"""A function of many arguments takes one object with a name that means something; how many are left only shrinks."""

from __future__ import annotations

import ast
from pathlib import Path

HOUSE = Path(__file__).parents[2] / "aerobe"
MOST = 8
# Compiled code, which takes arrays one by one, and what nobody made plainer yet. Commands are apart: their options are typed.
HELD = 14


def arguments_of(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """How many arguments a function takes, itself apart."""
    given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return sum(item.arg not in ("self", "cls") for item in given)


def many_in(source: str) -> list[str]:
    """Names of functions that take more than `MOST` arguments."""
    functions = (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
    return [node.name for node in functions if arguments_of(node) > MOST]


def test_functions_of_many_arguments_are_few() -> None:
    files = [path for path in HOUSE.rglob("*.py") if path.relative_to(HOUSE).parts[0] != "cli"]
    found = [f"{path.relative_to(HOUSE)}: {name}" for path in files for name in many_in(path.read_text(encoding="utf-8"))]
    assert len(found) <= HELD, f"{len(found)}, held at {HELD}; give one object in their place: {found}"


def test_many_arguments_are_noticed() -> None:
    many = ", ".join(f"a{place}" for place in range(MOST))
    assert many_in(f"def f(self, {many}, *, more=1): ...") == ["f"] and many_in(f"def f(self, {many}): ...") == []

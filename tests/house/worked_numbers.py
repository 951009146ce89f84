"""Writes docs/worked-numbers.md: for each function at the door of a science room the tests that hold it to a number.

A test counts where it calls the function, itself or by a helper of its file, and compares with a number.

    python -m tests.house.worked_numbers
"""

from __future__ import annotations

import ast
import importlib
import inspect
import io
import re
import tokenize
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "worked-numbers.md"
ROOMS = ("oxygen", "assay", "kinetics", "inference", "decisions", "verdicts", "trials", "evidence")
# Reached by another function only, whose number is theirs too; or judged by what they say or name.
THROUGH = {
    "oxygen.judge_series": "which runs of a published series stand out: tests/oxygen/test_reaeration.py",
    "assay.as_lines": "a text",
    "assay.conclusion": "a text",
    "assay.in_three_lines": "a text: tests/assay/test_plainly.py",
    "assay.meaning_of": "a text",
    "assay.study_as_table": "a table",
    "assay.typical_reading": "by `error_for`",
    "inference.on_one_core": "no formula",
    "inference.one_blas_thread": "no formula",
    "inference.ph_notes": "a text: tests/inference/test_ph.py",
    "verdicts.hold_back": "takes a claim back",
    "verdicts.effect_words": "a text",
    "verdicts.short_headline": "a text: tests/reports/test_showing.py",
    "verdicts.standard_of": "finds an arm",
    "verdicts.is_surface": "counts levels: tests/verdicts/test_surface.py",
    "trials.factorial": "resolution of the handbook's fractions: tests/trials/test_plan.py",
    "trials.calendar_file": "a file: tests/trials/test_sheet.py",
    "evidence.array_module": "no formula",
    "evidence.brew_lines": "a table",
    "evidence.contrasts_of_verdict": "by `weigh`",
    "evidence.doubts_of_all": "a text",
    "evidence.pool_in_passing": "a text: tests/reports/test_site.py",
}
COMPARERS = {"approx", "assert_allclose", "isclose", "allclose"}
HEAD = """# Which number holds which formula

Made by `python -m tests.house.worked_numbers` from the tests; do not edit. Each function at the door of a science room stands
with a test that calls it and compares with a number, and with where that number is from, as the test says it.

"""


@dataclass(kw_only=True)
class Test:
    """A test, the names it reaches through helpers of its file, and what it says of its number."""

    place: str
    reaches: set[str] = field(default_factory=set)
    compares: bool = False
    said: str = ""


def found_in(path: Path) -> list[Test]:
    """Every test of a file."""
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    helpers = {
        node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
    }
    named: dict[str, ast.AST] = dict(helpers)
    for node in tree.body:
        if isinstance(node, ast.Assign):
            named |= {target.id: node.value for target in node.targets if isinstance(target, ast.Name)}
    inside = {name: _names_in(node) for name, node in named.items()}
    remarks = _remarks(source)
    found = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            reached = _reached(node, inside)
            lines = range(node.lineno, (node.end_lineno or node.lineno) + 1)
            said = " ".join(remarks[line] for line in lines if line in remarks)
            place = f"{path.relative_to(ROOT).as_posix()}::{node.name}"
            found.append(Test(place=place, reaches=reached, compares=_compares(node, named), said=said))
    return found


def _reached(node: ast.AST, named: dict[str, set[str]]) -> set[str]:
    """Names in a part of a file and in whatever of the file these names stand for."""
    names, waiting = set(), _names_in(node)
    while waiting:
        name = waiting.pop()
        names.add(name)
        waiting |= named.get(name, set()) - names
    return names


def _names_in(node: ast.AST) -> set[str]:
    """Names, attributes and arguments that stand in a part of a file."""
    found = set()
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            found.add(part.id)
        elif isinstance(part, ast.Attribute):
            found.add(part.attr)
        elif isinstance(part, ast.arg):
            found.add(part.arg)
    return found


def _compares(node: ast.AST, named: dict[str, ast.AST]) -> bool:
    for part in ast.walk(node):
        if isinstance(part, ast.Call):
            name = part.func.attr if isinstance(part.func, ast.Attribute) else getattr(part.func, "id", "")
            if name in COMPARERS:
                return True
            if name in named and name.startswith(("check", "assert")) and _compares(named[name], {}):
                return True
        if isinstance(part, ast.Compare) and any(_is_number(side) for side in (part.left, *part.comparators)):
            return True
    return False


def _is_number(node: ast.AST) -> bool:
    if isinstance(node, ast.Tuple | ast.List):
        return any(_is_number(part) for part in node.elts)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    return isinstance(node, ast.Constant) and type(node.value) in (int, float)


def _remarks(source: str) -> dict[int, str]:
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return {
        token.start[0]: token.string.lstrip("# ")
        for token in tokens
        if token.type == tokenize.COMMENT and "type: ignore" not in token.string
    }


def functions() -> dict[str, object]:
    """What stands at the doors of the science rooms and computes."""
    found = {}
    for room in ROOMS:
        module = importlib.import_module(f"aerobe.{room}")
        for name in module.__all__:
            thing = getattr(module, name)
            if inspect.isfunction(thing):
                found[f"{room}.{name}"] = thing
    return found


def held_by() -> dict[str, list[Test]]:
    """Tests with a number for each function, of the function's own room."""
    paths = {room: sorted((ROOT / "tests" / room).glob("test_*.py")) for room in ROOMS}
    by_room = {room: [test for path in paths[room] for test in found_in(path) if test.compares] for room in ROOMS}
    found = {}
    for whole in functions():
        room, name = whole.split(".")
        own = [test for test in by_room[room] if name in test.reaches]
        found[whole] = sorted(own, key=lambda test: (not test.said, test.place))
    return found


def page() -> str:
    """The table."""
    lines = [HEAD.rstrip(), ""]
    held = held_by()
    for room in ROOMS:
        lines += [f"## {room}", "", "| function | held by | where the number is from |", "|---|---|---|"]
        for whole, tests in held.items():
            if whole.startswith(f"{room}."):
                first = tests[0] if tests else None
                place = f"`{first.place.removeprefix('tests/')}`" if first else THROUGH.get(whole, "nothing")
                said = _short(first.said) if first else ""
                lines.append(f"| `{whole.split('.')[1]}` | {place} | {said} |")
        lines.append("")
    return "\n".join(lines)


def rows(text: str) -> dict[str, str]:
    """Which test the page names for each function."""
    found, room = {}, ""
    for line in text.splitlines():
        room = line[3:] if line.startswith("## ") else room
        if match := re.match(r"\| `(\w+)` \| (.*?) \|", line):
            found[f"{room}.{match[1]}"] = re.sub(r"^`(.*)`$", r"\1", match[2])
    return found


def _short(text: str) -> str:
    text = re.sub(r"\s+", " ", text).replace("|", "/").replace("<", "&lt;")
    return text if len(text) <= 160 else text[:157].rsplit(" ", 1)[0] + " ..."


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")

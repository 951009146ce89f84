"""The drawings of CONTRIBUTING: what a reading, a dose and a question become on their way, compared with the code."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from itertools import pairwise

import pytest

from tests.house.test_docs import ROOT
from tests.house.test_house import HOUSE

PAGE = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Step:
    """From one shape to the next, by the functions named: one, or one that calls the other."""

    comes: str
    goes: str
    by: tuple[tuple[str, str], ...]  # file and name of each function


def drawings(page: str) -> dict[str, tuple[int, list[Step]]]:
    """Name of each drawing -> the most shapes it may have, and its steps."""
    found = {}
    for name, most, body in re.findall(r"^```shapes (\w+) (\d+)\n(.*?)^```", page, flags=re.DOTALL | re.MULTILINE):
        steps = []
        for line in body.splitlines():
            shapes, by = re.split(r"\s{2,}", line, maxsplit=1)
            comes, goes = shapes.split(" -> ")
            steps.append(Step(comes, goes, tuple((part.split()[0], part.split()[1]) for part in by.split(" > "))))
        found[name] = (int(most), steps)
    return found


DRAWN = drawings(PAGE)
STEPS = [(name, step) for name, (_, steps) in DRAWN.items() for step in steps]


Found = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def place(file: str, name: str) -> tuple[Found, str]:
    """The function or class of that name in a file, and the class that it is a method of."""
    tree = ast.parse((HOUSE / file).read_text(encoding="utf-8"))
    found = [(node, "") for node in tree.body if isinstance(node, Found) and node.name == name]
    for owner in (node for node in tree.body if isinstance(node, ast.ClassDef)):
        found += [(node, owner.name) for node in owner.body if isinstance(node, Found) and node.name == name]
    assert len(found) == 1, f"{file} has {len(found)} of {name}"
    return found[0]


def words(node: ast.AST | None) -> set[str]:
    return set(re.findall(r"\w+", ast.unparse(node))) if node is not None else set()


def taken(file: str, name: str) -> set[str]:
    """The names in what a function takes and reads on its way, or in what a class holds; of a method, its class too."""
    node, owner = place(file, name)
    return words(node) - words(getattr(node, "returns", None)) | {owner}


def given(file: str, name: str) -> set[str]:
    """The names in what a function gives back and of what it calls; a class gives itself."""
    node, _ = place(file, name)
    if isinstance(node, ast.ClassDef):
        return {name}
    called = [call.func for call in ast.walk(node) if isinstance(call, ast.Call)]
    reached = {func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", "") for func in called}
    return words(node.returns) | reached


def wrong(step: Step) -> str:
    """What is not so in the code; empty where the step is as drawn."""
    (first, name), (last, end) = step.by[0], step.by[-1]
    if step.comes not in taken(first, name):
        return f"{name} takes no {step.comes}"
    if len(step.by) > 1 and end not in given(first, name):
        return f"{name} does not call {end}"
    return "" if step.goes in given(last, end) else f"{end} gives no {step.goes}"


@pytest.mark.parametrize(("name", "step"), STEPS, ids=lambda item: item if isinstance(item, str) else f"{item.comes}-{item.goes}")
def test_each_step_is_as_it_is_drawn(name: str, step: Step) -> None:
    assert wrong(step) == ""


@pytest.mark.parametrize("name", DRAWN)
def test_a_way_has_no_gap_and_no_more_shapes_than_it_may(name: str) -> None:
    most, steps = DRAWN[name]
    assert all(one.goes == two.comes for one, two in pairwise(steps))
    assert len({steps[0].comes, *(step.goes for step in steps)}) == len(steps) + 1 <= most


@pytest.mark.parametrize(
    "line",
    [
        "Advice -> ReadingEntry            web/pages/record.py _keep",
        "Reading -> Call            usecases/brews/_call.py call_in_words",
        "BrewStory -> Basis         inference/_target.py grid_of > inference/_prior.py basis_of",
    ],
)
def test_a_step_that_is_drawn_wrong_is_noticed(line: str) -> None:
    ((_, (step,)),) = drawings(f"```shapes x 2\n{line}\n```\n").values()
    assert wrong(step)

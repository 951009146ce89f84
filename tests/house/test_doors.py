"""What stands at a room's door says what a caller must know: units of numbers in and out, and the faults it raises."""

from __future__ import annotations

import ast
import builtins
import inspect
import re
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aerobe.errors as errors
from tests.house.test_docs import EXPORTED

GLOSSARY = (Path(__file__).parents[2] / "docs" / "glossary.md").read_text(encoding="utf-8")
ARGUMENTS = set(re.findall(r"`(\w+)`", GLOSSARY.split("## Names of arguments")[1]))
UNITS = (
    "degc|mg_per_l|g_per_l|per_h|per_ml|h|l|ml|m|mm|mm2|um|um3|m2|kpa|s|w|g|d|percent|kg_per_l|kg|l_per_min|mg_per_l_h|"
    "mg_per_l_per_h|m_per_ml|per_kwh|min"
)
FUNCTIONS = {name: thing for name, thing in EXPORTED.items() if inspect.isfunction(thing)}


def is_number(annotation: object) -> bool:
    """Whether an argument is a number or an array of them."""
    return re.search(r"\bfloat\b|\bArray\b|NDArray\[np\.float|ArrayLike", str(annotation)) is not None


def without_unit(thing: Callable[..., Any], known: set[str] = ARGUMENTS) -> list[str]:
    """Numbers that go in or come out with neither unit nor meaning."""
    text, signature = inspect.getdoc(thing) or "", inspect.signature(thing)
    found = []
    for name, argument in signature.parameters.items():
        if not is_number(argument.annotation) or name in known or re.search(rf"_(?:{UNITS})$", name):
            continue
        said = re.search(rf"^(?:[\w, ]*\b)?{name}\b[\w, ]*\n((?:    .*\n?)+)", text, flags=re.MULTILINE)
        if said is None or "[" not in said[1]:
            found.append(name)
    if re.fullmatch(r"float( \| None)?", str(signature.return_annotation)) and "[" not in text:
        found.append("what it gives")
    return found


def unsaid_faults(thing: Callable[..., Any]) -> set[str]:
    """Faults that a function raises itself and does not name, nor any of which they are a kind."""
    text = inspect.getdoc(thing) or ""
    tree = ast.parse(textwrap.dedent(inspect.getsource(thing)))
    raised = {
        node.exc.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and isinstance(node.exc.func, ast.Name)
    }
    return {name for name in raised if not any(re.search(rf"\b{kind}\b", text) for kind in _kinds(name))}


def _kinds(name: str) -> list[str]:
    fault = getattr(errors, name, None) or getattr(builtins, name, None)
    return [kind.__name__ for kind in fault.__mro__ if kind.__name__ not in ("Exception", "object")] if fault else [name]


def test_numbers_have_units_and_faults_are_named() -> None:
    assert len(FUNCTIONS) > 500
    assert {name: lacks for name, thing in FUNCTIONS.items() if (lacks := without_unit(thing))} == {}
    assert {name: unsaid for name, thing in FUNCTIONS.items() if (unsaid := unsaid_faults(thing))} == {}


def test_a_number_without_unit_and_a_fault_without_name_are_noticed() -> None:
    def seep(grain: float, depth_m: float, level: float) -> float:
        """Let it seep."""
        raise errors.NotFound(f"{grain}", f"{depth_m}{level}") if grain else ValueError("no grain")

    def drip(grain: float) -> None:
        """Let it drip."""
        if grain < 0.0:
            raise ValueError("no grain")

    assert without_unit(seep) == ["grain", "what it gives"]
    assert unsaid_faults(drip) == {"ValueError"}


def test_the_glossary_names_no_argument_that_is_gone() -> None:
    taken = {name for thing in EXPORTED.values() if inspect.isfunction(thing) for name in inspect.signature(thing).parameters}
    assert ARGUMENTS - taken == set()

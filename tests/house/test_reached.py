"""A function at a door is called somewhere in the house; what only tests and scripts call is listed and grows no longer."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections import Counter

from tests.house.test_house import DOORS, HOUSE

# Only tests, benchmarks and other people's scripts call these, each for a reason. None is to be added; a name that the house
# begins to call leaves the list.
FOR_SCRIPTS = {
    "trials.scatter_of_testing",  # for who knows a test's certificate and wants `--test-scatter` of it before a trial
    "usecases.exchange.long_log_envelope",  # what a long log held before it was thinned: kept, and so to be read again
    "worlds.make_people",  # brews of foreign laws that the benchmarks play the call against; practice takes one at a time
    "worlds.make_world",
    "worlds.with_pump_stop",
}


def called() -> Counter[str]:
    """How often each name is used in the house, imports and doors apart."""
    found: Counter[str] = Counter()
    for path in HOUSE.rglob("*.py"):
        if path.name == "__init__.py" and path.parent != HOUSE / "cli":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name):
                found[node.id] += 1
            elif isinstance(node, ast.Attribute):
                found[node.attr] += 1
            elif isinstance(node, ast.ImportFrom):  # under another name
                found.update(alias.name for alias in node.names if alias.asname)
    return found


def not_called(names: Counter[str]) -> set[str]:
    """Functions at the doors that the house itself does not call, by room and name."""
    found = set()
    for door in DOORS:
        module = importlib.import_module(f"aerobe.{door}")
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if inspect.isfunction(thing) and thing.__module__.startswith("aerobe") and not names[name]:
                found.add(f"{door}.{name}")
    return found


def test_what_is_at_a_door_is_called_or_listed() -> None:
    assert not_called(called()) <= FOR_SCRIPTS


def test_a_function_that_nothing_calls_is_noticed() -> None:
    names = called()
    names["hours_to_floor"] = 0
    assert "oxygen.hours_to_floor" in not_called(names)

"""A function at a door is called somewhere in the house; what only tests and scripts call is listed and grows no longer."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
from collections import Counter
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import NamedTuple

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


class File(NamedTuple):
    """What is asked of a file; its tree, of a hundred times the size, is not kept."""

    used: Counter[str]
    made: set[str]
    told: set[str]


def read(source: str) -> File:
    """A file of the house, read once for all that is asked of it."""
    tree = ast.parse(source)
    nodes = list(ast.walk(tree))
    return File(used=used_in(nodes), made=made(tree, nodes), told=told(nodes))


@cache
def files() -> dict[Path, File]:
    """Every file of the house, read."""
    return {path: read(path.read_text(encoding="utf-8")) for path in HOUSE.rglob("*.py")}


def is_door(path: Path) -> bool:
    """Whether a file only hands on what others make."""
    return path.name == "__init__.py" and path.parent != HOUSE / "cli"


def used_in(nodes: list[ast.AST]) -> Counter[str]:
    """How often a file uses each name, imports apart."""
    found: list[str] = []
    for node in nodes:
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.append(node.id)
        elif isinstance(node, ast.Attribute):
            found.append(node.attr)
        elif isinstance(node, ast.ImportFrom):  # under another name
            found += [alias.name for alias in node.names if alias.asname]
    return Counter(found)


def together(counts: Iterable[Counter[str]]) -> Counter[str]:
    """Counts added up, in place: a sum would copy all names for every file."""
    found: Counter[str] = Counter()
    for each in counts:
        found.update(each)
    return found


@cache
def called() -> Counter[str]:
    """How often each name is used in the house, imports and doors apart."""
    return together(file.used for path, file in files().items() if not is_door(path))


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
    names = Counter(called())
    names["hours_to_floor"] = 0
    assert "oxygen.hours_to_floor" in not_called(names)


# --- what does not stand at a door -----------------------------------------------------------------------------------

# Nothing in the house uses these, each for a reason. None is to be added.
FOR_OTHERS = {
    "BUG",  # what a command ends with where the code is at fault; listed beside its like
    "GRAZERS",  # places of a state, listed whole and in order
    "SLOW",
    "READINESS",
    "NITROGEN_STATES",  # the order of a state that a script gives
    "with_measurement",  # the guide's way for a script to ask again
    "revision",  # read by the library of migrations
    "down_revision",
}
PLAIN = ("property", "staticmethod", "classmethod", "cache")


def made(tree: ast.Module, nodes: list[ast.AST]) -> set[str]:
    """Functions, methods, classes and settings of a file; what a decorator takes (a page, a command) is used by that."""
    found = set()
    for node in nodes:
        if isinstance(node, ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            plain = all(isinstance(item, ast.Name) and item.id in PLAIN for item in node.decorator_list)
            found |= {node.name} if plain else set()
    for node in tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found |= {item.id for target in targets for item in ast.walk(target) if isinstance(item, ast.Name)}
    return {name for name in found if not name.startswith("__")}


def told(nodes: list[ast.AST]) -> set[str]:
    """Words of texts that name a function, such as the place of a command or of a reader, and names of arguments."""
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    bodies = [node.body for node in nodes if isinstance(node, kinds)]
    docstrings = {body[0].value for body in bodies if body and isinstance(body[0], ast.Expr)}
    found = set()
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in docstrings:
            found.update(re.findall(r"\w+", node.value))
        elif isinstance(node, ast.keyword) and node.arg:
            found.add(node.arg)
    return found


def unused(read_files: dict[Path, File], pages: str) -> set[str]:
    """What is made and used by nothing in the house."""
    words = set(re.findall(r"\w+", pages)).union(*(file.told for path, file in read_files.items() if not is_door(path)))
    names = set().union(*(file.used for file in read_files.values()))
    return set().union(*(file.made for file in read_files.values())) - names - words


def test_nothing_in_the_house_is_for_tests_alone() -> None:
    pages = "\n".join(path.read_text(encoding="utf-8") for kind in ("html", "js", "toml") for path in HOUSE.rglob(f"*.{kind}"))
    at_doors = {name.rpartition(".")[2] for name in FOR_SCRIPTS}
    assert unused(files(), pages) - at_doors == FOR_OTHERS


def test_a_method_and_a_setting_that_nothing_uses_are_noticed() -> None:
    planted = """
LIMIT = 3


class Sieve:
    "seep"

    def seep(self):
        return self.drip()

    def drip(self):
        ...
"""
    assert unused({Path("planted.py"): read(planted)}, "{{ Sieve }}") == {"LIMIT", "seep"}

"""Parts of an answer that are held: its numbers and short names without its sentences, and the numbers that a file sets."""

from __future__ import annotations

import ast
import importlib.util
import inspect
import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from types import ModuleType

import numpy as np

ROOT = Path(__file__).parents[2]
LONGEST_NAME = 40  # a text longer than this, or with a full stop at its end, is a sentence: its wording is not held


def numbers_of(answer: object, *, leaving: tuple[str, ...] = ()) -> object:
    """An answer without its sentences, and without the fields named."""
    if isinstance(answer, np.ndarray | np.generic):
        return answer.tolist()
    if is_dataclass(answer) and not isinstance(answer, type):
        return numbers_of({one.name: getattr(answer, one.name) for one in fields(answer)}, leaving=leaving)
    if isinstance(answer, Mapping):
        kept = {str(key): value for key, value in answer.items() if key not in leaving and not _is_sentence(value)}
        return {key: numbers_of(value, leaving=leaving) for key, value in kept.items()}
    if isinstance(answer, list | tuple):
        return [numbers_of(part, leaving=leaving) for part in answer if not _is_sentence(part)]
    return answer


def _is_sentence(value: object) -> bool:
    return isinstance(value, str) and (len(value) > LONGEST_NAME or value.rstrip().endswith("."))


def end_of(call: Callable[[], object]) -> str:
    """The name of the fault that a call ends in, or what it gives: for a limit from which on something is refused."""
    try:
        return f"gives {call()!r}"[:LONGEST_NAME]
    except Exception as fault:
        return type(fault).__name__


def settings_of(room: str) -> dict[str, Callable[[], object]]:
    """A case for each file of a room: the numbers that it sets by name, the defaults of its functions and of its records."""
    files = sorted((ROOT / "aerobe" / room).glob("*.py"))
    return {
        f"numbers set in {room}/{path.name}": _reader(f"aerobe.{room}.{path.stem}") for path in files if path.stem != "__init__"
    }


def _reader(name: str) -> Callable[[], object]:
    def read() -> object:
        spec = importlib.util.find_spec(name)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)  # anew, so that what is read is what the file sets and nobody else
        return _set_in(module)

    return read


def _set_in(module: ModuleType) -> dict[str, object]:
    found: dict[str, object] = {}
    own = _assigned_in(Path(str(module.__file__)))
    for name, value in vars(module).items():
        if inspect.isfunction(value) and value.__module__ == module.__name__:
            found |= _defaults(name, value)
        elif inspect.isclass(value) and value.__module__ == module.__name__:
            found |= _of_class(value)
        elif name in own and _is_plain(value):
            found[name] = numbers_of(value)
    return found


def _assigned_in(path: Path) -> set[str]:
    """Names given a value by the file itself, at its outermost level."""
    found: set[str] = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        found |= {one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)}
    return found - {"__all__"}


def _of_class(made: type) -> dict[str, object]:
    found: dict[str, object] = {}
    if is_dataclass(made):
        held = {f"{made.__name__}.{one.name}": one.default for one in fields(made) if one.default is not MISSING}
        found |= {name: numbers_of(value) for name, value in held.items() if _is_plain(value)}
    for name, value in vars(made).items():
        if inspect.isfunction(value) and not name.startswith("__"):
            found |= _defaults(f"{made.__name__}.{name}", value)
    return found


def _defaults(name: str, function: Callable[..., object]) -> dict[str, object]:
    defaults = {one.name: one.default for one in inspect.signature(function).parameters.values()}
    return {f"{name}({key})": numbers_of(value) for key, value in defaults.items() if _is_plain(value)}


def _is_plain(value: object) -> bool:
    """Whether numbers can be read off it: numbers, names, and groups or records of them."""
    if isinstance(value, bool | int | str | None | np.ndarray | np.generic):
        return value is not None and not _is_sentence(value)
    if isinstance(value, float):
        return not math.isnan(value)
    if isinstance(value, list | tuple):
        return bool(value) and all(_is_plain(part) for part in value)
    if isinstance(value, Mapping):
        return bool(value) and all(_is_plain(part) or _is_plain((part,)) for part in value.values())
    return is_dataclass(value) and not isinstance(value, type)

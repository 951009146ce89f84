"""Answers kept from an earlier day: where no independent number is to be had, a change must at least be meant.

A room's cases stand in `tests/ROOM/kept_answers.py`: `answers()` gives for each case, named by what it holds, the answer or a
function without arguments that computes it (so that each case is a test of its own). What they gave is kept beside, in
`tests/ROOM/kept_answers.json`, one case a line; `python -m tests.kept_answers ROOM` compares, `--write` keeps the new ones.
Worked numbers say that an answer is right; these only say that it is the same.
"""

from __future__ import annotations

import importlib
import json
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import cache
from pathlib import Path
from typing import TypeAlias

import numpy as np

from aerobe.errors import AerobeError

TESTS = Path(__file__).parents[1]
RTOL = 1e-6
_TINY = 1e-12  # what differs by less is the same: a nought of arithmetic is not the same on every machine
_DIGITS = 10

Plain: TypeAlias = "float | int | str | bool | list[Plain] | dict[str, Plain] | None"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rough:
    """An answer that differs a little between machines (an optimiser, a draw), with what it may differ by and why."""

    answer: object
    rtol: float
    why: str


def plain(answer: object) -> Plain:
    """An answer as JSON holds it: arrays as lists, dataclasses as their fields, what is no number as a word."""
    if isinstance(answer, Rough):
        return plain(answer.answer)
    if isinstance(answer, Enum):
        return answer.name
    if is_dataclass(answer) and not isinstance(answer, type):
        return {field.name: plain(getattr(answer, field.name)) for field in fields(answer)}
    if isinstance(answer, np.ndarray | np.generic):
        return plain(answer.tolist())
    if isinstance(answer, Mapping):
        return {str(key): plain(value) for key, value in answer.items()}
    if isinstance(answer, set | frozenset):
        return list[Plain](sorted(map(str, answer)))
    if answer is None or isinstance(answer, str | bool | int):
        return answer
    if isinstance(answer, float):
        return float(f"{answer:.{_DIGITS}g}") if math.isfinite(answer) else str(answer)
    if isinstance(answer, Sequence):
        return [plain(part) for part in answer]
    return str(answer)


def numbers_in(text: str) -> list[float]:
    """What a sentence says in figures: its words may change, these are kept."""
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?", text)]


def short(value: object, digits: int = 5) -> object:
    """Numbers to so many digits, noughts that rounding leaves as nought: enough to see a change, the same on every machine."""
    if isinstance(value, np.ndarray | np.generic):
        return short(value.tolist(), digits)
    if isinstance(value, list | tuple):
        return [short(part, digits) for part in value]
    if isinstance(value, float):
        return 0.0 if abs(value) < 1e-6 else float(f"{value:.{digits}g}")
    return value


def refused(do: Callable[[], object]) -> list[object]:
    """The kind of a refusal and its figures; fails where nothing is refused."""
    try:
        given = do()
    except AerobeError as fault:
        return [type(fault).__name__, numbers_in(f"{fault.problem} {fault.remedy}")]
    raise AssertionError(f"not refused, but {given!r}")


def differences(kept: Plain, now: Plain, rtol: float = RTOL, place: str = "") -> list[str]:
    """Where two answers are not the same: place, what was kept, what is now."""
    if isinstance(kept, dict) and isinstance(now, dict) and kept.keys() == now.keys():
        return [line for key in kept for line in differences(kept[key], now[key], rtol, f"{place}.{key}")]
    if isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        pairs = enumerate(zip(kept, now, strict=True))
        return [line for index, (old, new) in pairs for line in differences(old, new, rtol, f"{place}[{index}]")]
    if _is_number(kept) and _is_number(now) and math.isclose(float(kept), float(now), rel_tol=rtol, abs_tol=_TINY):  # type: ignore[arg-type]
        return []
    return [] if kept == now and type(kept) is type(now) else [f"{place or 'the answer'}: kept {kept!r}, now {now!r}"]


def _is_number(value: Plain) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


@cache
def _cases(room: str) -> Mapping[str, object]:
    found: Mapping[str, object] = importlib.import_module(f"tests.{room}.kept_answers").answers()
    return found


def _page(room: str) -> Path:
    return TESTS / room / "kept_answers.json"


def kept(room: str) -> dict[str, Plain]:
    """The answers kept for a room, by case."""
    path = _page(room)
    found: dict[str, Plain] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return found


def now(room: str, case: str) -> tuple[Plain, float]:
    """The answer of today, and what it may differ by."""
    found = _cases(room)[case]
    found = found() if callable(found) else found
    return plain(found), found.rtol if isinstance(found, Rough) else RTOL


def check(room: str, case: str) -> None:
    """Raise AssertionError where the answer is not the one kept."""
    answer, rtol = now(room, case)
    changed = differences(kept(room)[case], answer, rtol)
    assert not changed, "\n".join([*changed[:9], f"If that is meant: python -m tests.kept_answers {room} --write"])


def check_names(room: str) -> None:
    """Raise AssertionError where a case is not kept, or one that is kept is gone."""
    assert kept(room).keys() == _cases(room).keys(), f"python -m tests.kept_answers {room} --write"


def write(room: str) -> list[str]:
    """Keep the answers of today; gives what changed. An answer that is the same within its tolerance stays as it was."""
    before, said, lines = kept(room), [], []
    for case in _cases(room):
        answer, rtol = now(room, case)
        changed = differences(before[case], answer, rtol) if case in before else ["new"]
        said += [f"{case}: {line}" for line in changed]
        lines.append(f"{json.dumps(case)}: {json.dumps(answer if changed else before[case])}")
    said += [f"{case}: gone" for case in before if case not in _cases(room)]
    _page(room).write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    return said

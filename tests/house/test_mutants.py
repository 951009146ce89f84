"""The tool that changes formulas: every kind of change is made, only there, and what tests cannot notice is named."""

from __future__ import annotations

import ast
import os
import signal
from functools import partial

import pytest

from tests.mutants.__main__ import ROOMS, SAME, key_of, sample
from tests.mutants.forks import Work, finished
from tests.mutants.sites import mutants_of, mutated
from tests.mutants.tries import Known

FORMULA = '''
HALF = 0.5

def share(part: float, whole: float, *, most: int = 3) -> float:
    """A share."""
    if part > 0 and whole > part:
        part = part + 1e-9
        return max(1.0 - part / whole, -scale(part, whole))
    raise ValueError(f"{1.0 + 1.0}")

def words(part: float) -> str:
    return "much" if part > 0.5 else "little"
'''


def test_every_kind_of_change_is_made_and_texts_are_left_alone() -> None:
    made = {(one.where, one.kind): (one.before, one.after) for one in mutants_of(FORMULA, "a.py")}
    assert made["<module>", "constant"] == ("3", "4")  # the later of two
    assert made["share", "and or"] == ("part > 0 and whole > part", "part > 0 or whole > part")
    assert made["share", "edge"] == ("part > 0", "part >= 0")
    assert made["share", "comparison"] == ("whole > part", "whole <= part")
    assert made["share", "complement"] == ("1.0 - part / whole", "part / whole")
    assert made["share", "dropped term"] == ("part / whole", "part")
    assert made["share", "swapped arguments"] == ("scale(part, whole)", "scale(whole, part)")
    assert "1e-09" not in {one.before for one in mutants_of(FORMULA, "a.py")}
    assert [one.after for one in mutants_of("K = 6.436e-8", "a.py")] == ["1.2872e-07"]
    assert made["share", "sign"] == ("-scale(part, whole)", "scale(part, whole)")
    assert made["share", "other end"][1].startswith("min(")
    assert {where for where, _ in made} == {"<module>", "share"}


def test_one_change_is_made_and_nothing_else() -> None:
    names = [one.name for one in mutants_of(FORMULA, "a.py")]
    assert len(set(names)) == len(names)
    whole = ast.unparse(ast.parse(FORMULA))
    for one in mutants_of(FORMULA, "a.py"):
        changed = ast.unparse(mutated(FORMULA, "a.py", one.name))
        assert changed != whole and len(changed.splitlines()) == len(whole.splitlines())
        assert sum(old != new for old, new in zip(whole.splitlines(), changed.splitlines(), strict=True)) == 1
    with pytest.raises(ValueError, match="no mutant"):
        mutated(FORMULA, "a.py", "a.py::share::constant::99")


def test_tests_that_enter_a_function_come_first_and_dear_ones_not_at_all() -> None:
    known = Known(
        enters={"a.py::share": {"t.py::late"}},
        seconds={"t.py::early": 0.1, "t.py::late": 1.0, "t.py::dear": 99.0, "u.py::far": 0.1},
    )
    one = next(one for one in mutants_of(FORMULA, "a.py") if one.where == "share")
    assert known.chosen(one) == ["t.py::late", "t.py::early"]
    number = next(one for one in mutants_of(FORMULA, "a.py") if one.where == "<module>")
    assert known.chosen(number) == ["t.py::late", "t.py::early"]
    elsewhere = next(one for one in mutants_of(FORMULA, "b.py"))
    assert set(known.chosen(elsewhere)) == {"t.py::late", "t.py::early", "u.py::far"}


def test_each_process_tells_how_it_ended() -> None:
    # A process stopped by the limit of processor time ends by that signal (POSIX, getrlimit: SIGXCPU).
    works = [Work(key=code, do=partial(int, code), limit_s=60.0) for code in range(5)]
    works.append(Work(key=-1, do=partial(_stopped, signal.SIGXCPU), limit_s=60.0))
    assert sorted(finished(works, 3)) == [(-1, -signal.SIGXCPU), *((code, code) for code in range(5))]


def _stopped(by: int) -> int:
    os.kill(os.getpid(), by)
    return 0


def test_mutants_said_to_change_nothing_are_still_there_and_say_why() -> None:
    every = {key_of(one) for room in ROOMS for one in sample(room, 10**6, "1")}
    assert set(SAME) - every == set(), "these lines were edited: argue again"
    assert all(len(reason) > 20 for reason in SAME.values())

"""The tool that keeps answers: what is the same passes, any other number, word or shape is named with its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from aerobe.errors import OutsideValidity
from tests import kept_answers
from tests.kept_answers import TESTS, Plain, Rough, differences, numbers_in, plain, refused


@dataclass(frozen=True)
class Answer:
    """An answer with every kind of part."""

    value: float
    parts: tuple[float, ...]
    table: dict[str, object]


ANSWER = Answer(1.25, (1.0, float("nan")), {"a": np.array([[1, 2], [3, 4]]), "b": None, "c": True, "d": frozenset({"y", "x"})})
PLAIN = {"value": 1.25, "parts": [1.0, "nan"], "table": {"a": [[1, 2], [3, 4]], "b": None, "c": True, "d": ["x", "y"]}}


def test_an_answer_is_made_plain() -> None:
    assert plain(ANSWER) == PLAIN
    assert plain(Rough(answer=np.float64(1.0 / 3.0), rtol=0.1, why="drawn")) == 0.3333333333


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        (1.0, 1.00001, "the answer"),
        ([1.0, [2.0, 3.0]], [1.0, [2.0, 3.1]], "[1][1]"),
        ({"a": {"b": [1, 2]}}, {"a": {"b": [1, 2, 3]}}, ".a.b"),
        ({"a": 1.0}, {"b": 1.0}, "the answer"),
        ({"a": "much"}, {"a": "little"}, ".a"),
        (True, 1.0, "the answer"),
        (0.0, "nan", "the answer"),
    ],
)
def test_any_other_answer_is_named_with_its_place(old: Plain, new: Plain, place: str) -> None:
    assert [line.split(":")[0] for line in differences(old, new)] == [place]
    assert differences(old, old) == [] and differences(new, new) == []


def test_the_last_digits_of_another_machine_are_the_same_number() -> None:
    assert differences(1.0, 1.0 + 1e-7) == [] and differences(0.0, 1e-15) == [] and differences(2, 2.0) == []
    assert differences(1.0, 1.05, rtol=0.1) == []


def test_of_sentences_and_refusals_the_figures_are_kept() -> None:
    def refuse() -> None:
        raise OutsideValidity("A floor of -2.5 mg/L is below 0.", "Give 1e-3 or more.")

    assert numbers_in("from 3 to 1e-3, not -2.5 %") == [3.0, 0.001, -2.5]
    assert refused(refuse) == ["OutsideValidity", [-2.5, 0.0, 0.001]]
    with pytest.raises(AssertionError, match="not refused"):
        refused(lambda: 1.0)


def test_answers_are_kept_once_and_a_change_is_told(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    given: dict[str, object] = {"a steady one": 1.0, "a computed one": lambda: Rough(answer=2.0, rtol=0.1, why="drawn")}
    monkeypatch.setattr(kept_answers, "TESTS", tmp_path)
    monkeypatch.setattr(kept_answers, "_cases", lambda room: given)
    (kept_answers.TESTS / "room").mkdir()
    assert kept_answers.write("room") == ["a steady one: new", "a computed one: new"]
    given |= {"a steady one": 1.1, "a computed one": Rough(answer=2.1, rtol=0.1, why="drawn")}
    kept_answers.check("room", "a computed one")
    with pytest.raises(AssertionError, match=r"kept 1\.0, now 1\.1"):
        kept_answers.check("room", "a steady one")
    assert kept_answers.write("room") == ["a steady one: the answer: kept 1.0, now 1.1"]
    assert kept_answers.kept("room") == {"a steady one": 1.1, "a computed one": 2.0}
    del given["a steady one"]
    with pytest.raises(AssertionError):
        kept_answers.check_names("room")


def test_each_room_that_keeps_answers_compares_them() -> None:
    # The tests stand in the room's own folder, where its changed formulas are tried.
    rooms = [path.parent for path in TESTS.glob("*/kept_answers.py")]
    assert [room.name for room in rooms if not (room / "test_kept_answers.py").exists()] == []
    assert [room.name for room in rooms if not (room / "kept_answers.json").exists()] == []

"""Practice brews are kept beside the notebook, never in it; what cannot be read is passed over, and nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.errors import NotAllowed, NotebookFault, NotFound
from aerobe.practice import Score
from aerobe.usecases.practice import (
    PracticeChoices,
    PracticeShelf,
    begin_practice,
    curtain_of,
    move_in_practice,
    practice_series,
    running_practice,
    seen_in_practice,
    wait_in_practice,
)


@pytest.fixture
def shelf(tmp_path: Path) -> PracticeShelf:
    return PracticeShelf(tmp_path / "practice")


def test_a_brew_is_found_again_by_another_process(shelf: PracticeShelf) -> None:
    one = begin_practice(shelf, seed=3, choices=PracticeChoices(probe=True))
    wait_in_practice(shelf, one.key, 10.0)
    seen = move_in_practice(shelf, one.key, "test", 12.0)
    again = seen_in_practice(PracticeShelf(shelf.folder), one.key)
    assert again == seen and again.practice.now_h == 12.0 and len(again.log_h) == 24 and again.tests_left == 7
    assert [item.key for item in running_practice(shelf)] == [one.key]
    assert begin_practice(shelf, seed=4, choices=PracticeChoices()).key == "practice-2"


def test_behind_the_curtain_only_after_the_harvest(shelf: PracticeShelf) -> None:
    one = begin_practice(shelf, seed=3, choices=PracticeChoices())
    with pytest.raises(NotAllowed):
        curtain_of(shelf, one.key)
    move_in_practice(shelf, one.key, "harvest", 20.0)
    found = curtain_of(shelf, one.key)
    assert found.rivals is None and found.series is None and 0.0 < found.outcome.caught <= 1.0
    assert running_practice(shelf) == []


def test_scores_outlive_a_version_and_spoilt_files_are_passed_over(shelf: PracticeShelf) -> None:
    one = begin_practice(shelf, seed=3, choices=PracticeChoices())
    done = move_in_practice(shelf, one.key, "harvest", 20.0).practice
    shelf.keep(done, Score(key=one.key, learner=80.0, call=85.0, clock=70.0, knowing=90.0))
    assert shelf.folder is not None
    path = shelf.folder / f"{one.key}.json"
    path.write_text(path.read_text().replace("aerobe practice 1", "aerobe practice 0"))
    with pytest.raises(NotebookFault, match="another version"):
        seen_in_practice(shelf, one.key)
    series = practice_series(shelf)
    assert series is not None and series.learner == 80.0
    for place, spoilt in enumerate(("", "[]", '{"format": "aerobe practice 1"}', "\x00", json.dumps({"score": {"key": 1}})), 7):
        (shelf.folder / f"practice-{place}.json").write_text(spoilt)
        with pytest.raises((NotFound, NotebookFault)):
            seen_in_practice(shelf, f"practice-{place}")
    assert practice_series(shelf) == series and running_practice(shelf) == []
    for key in ("../tea", "practice-", "practice-1.json", "", "practice-99999999999"):
        with pytest.raises(NotFound):
            seen_in_practice(shelf, key)


def test_practice_leaves_the_notebook_as_it_was(tmp_path: Path) -> None:
    from datetime import UTC, datetime

    now = datetime(2026, 5, 1, tzinfo=UTC)
    with usecases.notebook.open_notebook(tmp_path / "tea.notebook", at=now) as book:
        before = usecases.notebook.notebook_summary(book)
        shelf = PracticeShelf(tmp_path / "practice")
        one = begin_practice(shelf, seed=3, choices=PracticeChoices())
        move_in_practice(shelf, one.key, "test", 9.0)
        assert usecases.notebook.notebook_summary(book) == before

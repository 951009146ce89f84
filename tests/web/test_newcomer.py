"""What the app asks of a newcomer stays as little as it is: taps, fields and words of the tasks that every day needs."""

from __future__ import annotations

import shutil
from datetime import datetime
from typing import Any

import pytest

from aerobe.errors import NotEnoughData
from aerobe.records import Brew, Vessel
from benchmarks.how_much_is_asked import TASKS, asked_of, empty_app, newcomer

pytestmark = [pytest.mark.browser, pytest.mark.skipif(shutil.which("chromium") is None, reason="chromium is not installed")]
# At most: taps, fields, words that stand open on the pages passed. A change that needs more says why.
AT_MOST = {
    # A page in other units than files keep names them at its foot, in 25 words.
    "start a brew": (2, 4, 830),
    "record a value": (2, 1, 285),
    "mend a slip": (4, 1, 380),
    "is my test any good": (3, 4, 900),
}
AT_NIGHT = {"plan a trial of two recipes": (10, 5, 1650), "a report to publish": (3, 0, 900)}


def hold(tasks: dict[str, tuple[int, int, int]]) -> None:
    # Without calls: how many words stand on a page must not depend on whether the first call is there already.
    with empty_app(_no_call) as (base, notebook), newcomer(base, 0.0) as hand:
        for task, most in tasks.items():
            found = asked_of(hand, task)
            assert all(count <= limit for count, limit in zip(found[:3], most, strict=True)), (task, found, most)
        (brew,) = notebook.find(Brew)
        assert notebook.log(brew.key, "oxygen")[1].tolist() == [7.9]
        assert notebook.get(Vessel, brew.vessel).volume_l == 25.0


def _no_call(notebook: Any, brew: str, now: datetime) -> Any:
    raise NotEnoughData("No call here.", "Calls are tried elsewhere.")


def test_the_tasks_of_every_day_ask_no_more_than_they_did() -> None:
    hold(AT_MOST)


@pytest.mark.night
def test_the_six_tasks_of_a_newcomer_ask_no_more_than_they_did() -> None:
    assert {*AT_MOST, *AT_NIGHT} == set(TASKS)
    hold(AT_MOST | AT_NIGHT)

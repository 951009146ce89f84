"""The first plan of a person without brews, and of one with a few: sensible, stated, the plain answer beside."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from aerobe.cli import run
from aerobe.notebook import Notebook
from aerobe.records import Arm, Brew, Trial
from aerobe.trials import ONE_DAY_AND_HEAP
from aerobe.usecases.notebook import open_notebook
from aerobe.usecases.trials import TrialWish, plan_for, usual_scatter
from tests.notebook.conftest import NOW, furnish, reading

WISH = TrialWish(name="Kelp or plain", arms="plain, kelp", scatter="own brews", margin="2")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "t.notebook", at=NOW) as notebook:
        yield notebook


def brewed(book: Notebook, count: int) -> None:
    """So many brews of one recipe, each with one test: 100, 110, 121 ..."""
    furnish(book)
    for number in range(count):
        key = f"own-{number}"
        began = NOW - timedelta(days=20 - number)
        book.add(Brew(key=key, name=key, recipe="plain", vessel="barrel", started_at=began), at=NOW)
        book.add(reading(f"r{number}", brew=key, hour=24.0, signal=100.0 * 1.1**number), at=NOW)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_with_too_few_brews_the_plan_stands_on_what_is_published_and_says_so(book: Notebook, count: int) -> None:
    if count:
        brewed(book, count)
    scatter = WISH.to_scatter(book, now=NOW)
    assert (scatter.brew_log_sd, scatter.df) == (ONE_DAY_AND_HEAP.brew_log_sd, ONE_DAY_AND_HEAP.df)
    assert scatter.origin.startswith("your brews are too few to tell how they differ") and "published" in scatter.origin
    assert WISH.own_scatter(book, now=NOW) is None


def test_a_few_brews_are_weighed_with_it_and_the_plain_answer_stands_beside(book: Notebook) -> None:
    brewed(book, 4)
    own = WISH.own_scatter(book, now=NOW)
    assert own is not None and own.df == 3.0
    found = plan_for(book, WISH, now=NOW)
    # By hand: variances weighed by their degrees of freedom, 3 of the brews and 4 of the prior.
    pooled = math.sqrt((3 * own.brew_log_sd**2 + 4 * ONE_DAY_AND_HEAP.brew_log_sd**2) / 7)
    assert found.plan.scatter.brew_log_sd == pytest.approx(pooled) and found.plan.scatter.df == 7.0
    assert "By your own brews alone" in found.beside and "3 degrees of freedom" in found.beside


def test_day_one_of_one_trial_is_not_day_one_of_another(book: Notebook) -> None:
    furnish(book)
    for trial, level in (("first", 100.0), ("second", 1000.0)):
        arms = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="other", recipe="plain"))
        book.add(Trial(key=trial, name=trial, question="two recipes", arms=arms), at=NOW)
        for number, step in enumerate((1.0, 1.1, 1.21)):
            key = f"{trial}-{number}"
            book.add(
                Brew(
                    key=key,
                    name=key,
                    recipe="plain",
                    vessel="barrel",
                    started_at=NOW - timedelta(days=9),
                    trial=trial,
                    arm="plain",
                    block="day-1",
                ),
                at=NOW,
            )
            book.add(reading(f"r-{key}", brew=key, hour=24.0, signal=level * step), at=NOW)
    own = WISH.own_scatter(book, now=NOW)
    # Within each trial the logs lie 0.0953 apart: SD 0.0953, four degrees of freedom; ten times more is no scatter of brews.
    assert own is not None and own.df == 4.0 and own.of_brew_mean(1) < 0.15


def test_page_and_command_and_json_tell_the_same_levers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(tmp_path / "empty.notebook"))
    asked = ["trial", "plan", "--name", "Kelp or plain", "--arms", "plain, kelp", "--scatter", "own brews"]
    assert run(asked) == 0
    said = capsys.readouterr().out
    assert run([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    helping = [lever for lever in told["levers"] if lever["helps"]]
    lines = said.split("What would help, most for its money first:\n")[1].splitlines()[1:]
    for lever, line in zip(helping, lines, strict=False):
        assert line.lower().startswith(lever["words"][:40].lower())
    assert "in your currency" in said and "of your money" not in said
    numbers = [int(word) for word in told["words"].replace("(", " ").split() if word.isdigit()]
    assert "141" not in told["words"] and max(numbers, default=0) < 100


@pytest.mark.parametrize(
    ("count", "usual"), [(0, "one day and heap"), (2, "one day and heap"), (3, "own brews"), (6, "own brews")]
)
def test_who_has_brews_that_repeat_a_recipe_plans_with_them_unasked(book: Notebook, count: int, usual: str) -> None:
    if count:
        brewed(book, count)
    assert usual_scatter(book) == usual
    assert (WISH.own_scatter(book, now=NOW) is not None) == (usual == "own brews")

"""The demo is invented, says so, and is a notebook like any other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.errors import NotAllowed
from aerobe.notebook import Notebook, brew_history, check, fingerprint
from aerobe.records import Brew, Compost, Recipe, RunSheet, Trial, Vessel
from aerobe.usecases.exchange import export_package, import_package
from aerobe.usecases.notebook import list_brews, make_demo, open_notebook
from aerobe.usecases.trials import next_trial, trial_view, verdict_of_trial
from tests.notebook.conftest import NOW


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Notebook]:
    with open_notebook(tmp_path_factory.mktemp("demo") / "demo.notebook", at=NOW) as book:
        assert make_demo(book, now=NOW) == "kelp-5"
        yield book


def test_the_demo_is_two_trials_with_one_brew_still_under_air(demo: Notebook) -> None:
    assert check(demo) == []
    brews = list_brews(demo, now=NOW)
    assert [item["key"] for item in brews if item["brewing"]] == ["kelp-5"] and len(brews) == 18
    history = brew_history(demo, "kelp-5")
    assert {item.role for item in history.readings} == {"sample", "killed control"}
    assert all(item.elapsed_h <= 14.5 for item in history.readings)
    oxygen = history.log("oxygen")
    assert oxygen is not None and 14.0 < oxygen.elapsed_h[-1] <= 14.5 and min(oxygen.values) >= 0.0
    for trial in demo.find(Trial):
        assert {brew.arm for brew in demo.find(Brew, of=trial.key)} == {arm.key for arm in trial.arms}
    assert len(demo.get(RunSheet, "kelp-question").brews) == 14 and len(demo.get(RunSheet, "molasses-question").brews) == 8
    for cls in (Compost, Recipe, Vessel, Brew, Trial):
        assert all("invented" in item.name.lower() for item in demo.find(cls)), cls


def test_the_brews_that_wait_tell_no_recipe_by_their_keys(demo: Notebook) -> None:
    waiting = trial_view(demo, "kelp-question").waiting
    assert len(waiting) == 4 and not any("plain" in item.brew or item.brew.startswith("kelp-6") for item in waiting)


def test_one_question_of_the_demo_is_told_and_the_other_nearly(demo: Notebook) -> None:
    told = verdict_of_trial(demo, "molasses-question", now=NOW)
    assert told.headline.startswith("molasses is better than bare") and not any(rival.blocks_claim for rival in told.rivals)
    after = next_trial(demo, "molasses-question", now=NOW)
    assert after.trial is None and after.cost is None
    still = verdict_of_trial(demo, "kelp-question", now=NOW)
    assert [item.call for item in still.comparisons] == ["can't tell yet"] and still.brews == 9
    assert still.settle is not None and still.settle.brews_per_arm is not None
    assert 4 < still.settle.brews_per_arm <= 10  # a handful more than the four of kelp
    step = next_trial(demo, "kelp-question", now=NOW)
    # By hand: four brews to begin at 20, and five brews with two tests and a killed control at 30 h, at 9 a test.
    assert step.cost == 4 * 20 + 5 * 3 * 9
    assert "5 brews of the run sheet are still to come (4 to begin, 1 under air)" in step.because[-1]
    assert "costs 215 in your currency: 15 tests at 30 h" in step.because[-1]
    chance = re.search(r"about (\d+) % of the time", step.because[-1])
    assert chance is not None and 40 <= int(chance[1]) <= 95


@pytest.mark.night
@pytest.mark.parametrize("seed", range(1, 7))
def test_any_seed_of_the_demo_ends_in_a_success_and_in_an_open_question(tmp_path: Path, seed: int) -> None:
    with open_notebook(tmp_path / "demo.notebook", at=NOW) as book:
        make_demo(book, now=NOW, seed=seed)
        assert verdict_of_trial(book, "molasses-question", now=NOW).comparisons[0].call == "better"
        assert verdict_of_trial(book, "kelp-question", now=NOW).comparisons[0].call == "can't tell yet"


def test_the_demo_is_the_same_for_the_same_seed_and_clock_and_goes_out_and_in(where: str, tmp_path: Path) -> None:
    prints = []
    for place in (where, str(tmp_path / "b")):
        with open_notebook(place, at=NOW) as book:
            make_demo(book, now=NOW, seed=3)
            prints.append(fingerprint(book))
            package = export_package(book, now=NOW)
    with open_notebook(tmp_path / "c", at=NOW) as other:
        import_package(other, package, now=NOW)
        prints.append(fingerprint(other))
    assert len(set(prints)) == 1


def test_the_demo_never_mixes_with_a_persons_own_brews(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "demo.notebook", at=NOW) as book:
        make_demo(book, now=NOW)
        before = fingerprint(book)
        with pytest.raises(NotAllowed):
            make_demo(book, now=NOW)
        assert fingerprint(book) == before

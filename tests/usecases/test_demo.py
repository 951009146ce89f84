"""The demo is invented, says so, and is a notebook like any other."""

from __future__ import annotations

from pathlib import Path

import pytest

from aerobe.errors import NotAllowed
from aerobe.notebook import brew_history, check, fingerprint
from aerobe.records import Brew, Compost, Recipe, RunSheet, Trial, Vessel
from aerobe.usecases.exchange import export_package, import_package
from aerobe.usecases.notebook import list_brews, make_demo, open_notebook
from tests.notebook.conftest import NOW


def test_the_demo_is_a_trial_of_several_brews_one_still_brewing(where: str) -> None:
    with open_notebook(where, at=NOW) as book:
        brewing = make_demo(book, now=NOW)
        assert check(book) == []
        brews = list_brews(book, now=NOW)
        assert [item["key"] for item in brews if item["brewing"]] == [brewing] and len(brews) == 6
        history = brew_history(book, brewing)
        assert {item.role for item in history.readings} == {"sample", "killed control"}
        assert all(item.elapsed_h <= 14.5 for item in history.readings)
        oxygen = history.log("oxygen")
        assert oxygen is not None and 14.0 < oxygen.elapsed_h[-1] <= 14.5 and min(oxygen.values) >= 0.0
        trial = book.find(Trial)[0]
        assert {brew.arm for brew in book.find(Brew, of=trial.key)} == {arm.key for arm in trial.arms}
        assert len(book.get(RunSheet, trial.key).brews) == 6
        for cls in (Compost, Recipe, Vessel, Brew, Trial):
            assert all("invented" in item.name.lower() for item in book.find(cls)), cls


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

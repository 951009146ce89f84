"""The page that lays brews over each other."""

from __future__ import annotations

import pytest

from aerobe import usecases
from aerobe.records import Brew
from tests.web.conftest import BREW, Shed


def reading(shed: Shed, brew: str, value: str, entry: str) -> None:
    shed.post(f"/brews/{brew}/readings", what="assay:home-colour-test", signal=value, entry=entry)


def test_two_brews_stand_on_one_chart_by_the_hours_since_each_began(brewing: Shed) -> None:
    reading(brewing, "barrel-1", "41,5", "e1")
    again = {**BREW, "name": "Barrel 2", "vessel": "barrel", "recipe": brewing.notebook.get(Brew, "barrel-1").recipe}
    brewing.post("/brews", **{**again, "assay": "home-colour-test"})
    brewing.clock.turn(hours=6)
    reading(brewing, "barrel-2", "12", "e2")
    shown = brewing.client.get("/courses?brew=barrel-1&brew=barrel-2").text
    assert "Living biomass, 2 brews" in shown and "Barrel 1 41.5 µg C/mL at 8.00 h; Barrel 2 12.0 µg C/mL at 6.00 h" in shown
    assert "no verdict" in shown
    # From the page of one brew: the others of its recipe come along.
    link = f"/courses?brew=barrel-2&amp;recipe={again['recipe']}"
    assert link in brewing.client.get("/brews/barrel-2").text
    assert "Living biomass, 2 brews" in brewing.client.get(link.replace("&amp;", "&")).text


def test_nothing_chosen_too_many_and_a_brew_that_is_not_there(brewing: Shed) -> None:
    assert "Which brews" in brewing.client.get("/courses").text
    assert "Nothing was read" in brewing.client.get("/courses?brew=barrel-1").text
    many = "&".join(f"brew=b{number}" for number in range(7))
    answer = brewing.client.get(f"/courses?{many}")
    assert answer.status_code == 422 and "at most 6" in answer.text
    assert brewing.client.get("/courses?brew=nobody").status_code == 404


def test_a_recipe_behind_a_code_brings_nobody_along(brewing: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    recipe = brewing.notebook.get(Brew, "barrel-1").recipe
    assert usecases.brews.overlaid_brews(brewing.notebook, (), recipe=recipe, now=brewing.clock()).chosen == ("barrel-1",)
    monkeypatch.setattr("aerobe.usecases.brews._overlay.is_hidden", lambda notebook, brew: True)
    assert usecases.brews.overlaid_brews(brewing.notebook, (), recipe=recipe, now=brewing.clock()).chosen == ()

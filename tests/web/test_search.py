"""Everything that is written in is found by its words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Assay, Brew, Recipe, Trial
from aerobe.usecases.notebook import search_notebook
from tests.web.conftest import Shed


def test_words_of_names_notes_and_lots_are_found(brewing: Shed) -> None:
    (brew,), (assay,) = brewing.notebook.find(Brew), brewing.notebook.find(Assay)
    brewing.post(
        f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="42,5", notes="Sch\u00e4umt stark", kit_lot="L-77"
    )

    def found(words: str) -> set[str]:
        return {item.what for item in search_notebook(brewing.notebook, words)}

    assert found("barrel") == {"brew", "vessel", "reading"}
    assert found("SCHAUMT stark") == {"reading"} == found("l-77 42,5")
    assert found("molasses") == {"brew", "recipe"} and found("leaf") >= {"compost", "recipe"}
    assert found("2026-05-01") == {"brew"} and found("nowhere") == set() == found("  ")
    page = brewing.client.get("/search", params={"q": "stark"}).text
    assert f"/brews/{brew.key}/readings/" in page and "42,5 \u00b5g C/mL" in page
    for word in ("brew", "vessel", "recipe", "test", "compost"):
        for link in {
            part.split('"')[0] for part in brewing.client.get("/search", params={"q": word}).text.split('<p><a href="')[1:]
        }:
            assert brewing.client.get(link).status_code == 200, link
    with pytest.raises(UnusableRecord):
        search_notebook(brewing.notebook, "x" * 300)


def test_a_recipe_behind_a_code_does_not_lead_to_its_brew(brewing: Shed) -> None:
    (brew,), (recipe,) = brewing.notebook.find(Brew), brewing.notebook.find(Recipe)
    arms = (Arm(key="a", recipe=recipe.key), Arm(key="b", recipe=recipe.key))
    brewing.notebook.add(Trial(key="t", name="t", question="two recipes", arms=arms), at=brewing.clock())
    brewing.notebook.change(replace(brew, trial="t", arm="a", blind_code="K7"), at=brewing.clock())
    assert {item.what for item in search_notebook(brewing.notebook, recipe.name)} == {"recipe"}

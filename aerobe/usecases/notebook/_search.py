"""Everything that is written in, found by its words."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Recipe, Trial, Vessel, result_as_typed
from aerobe.usecases.trials._blinding import is_hidden

AT_MOST = 100
LONGEST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchHit:
    """One thing that holds all the words: what it is, its name, its key, the brew it belongs to, and where the words stand."""

    what: str
    name: str
    key: str
    brew: str
    says: str


def search_notebook(notebook: Notebook, words: str) -> tuple[SearchHit, ...]:
    """What holds all these words in its name, its notes or what was typed: newest brews first, at most a hundred.

    Capitals and accents do not count. A recipe behind a code does not lead to its brew.

    Raises
    ------
    UnusableRecord
        If the words are too long.
    """
    if len(words) > LONGEST:
        raise UnusableRecord(f"That is more than {LONGEST} letters.", "Give a few words.")
    wanted = _folded(words).split()
    if not wanted:
        return ()
    found = []
    for one, text in _everything(notebook):
        if all(word in text for word in wanted):
            found.append(one)
            if len(found) == AT_MOST:
                break
    return tuple(found)


def _everything(notebook: Notebook) -> Iterator[tuple[SearchHit, str]]:
    brews = {brew.key: brew for brew in sorted(notebook.find(Brew), key=lambda item: item.started_at, reverse=True)}
    recipes = {recipe.key: recipe for recipe in notebook.find(Recipe)}
    vessels = {vessel.key: vessel for vessel in notebook.find(Vessel)}
    for brew in brews.values():
        recipe = "" if is_hidden(notebook, brew) else recipes[brew.recipe].name
        says = " · ".join(filter(None, [recipe, vessels[brew.vessel].name, f"{brew.started_at:%Y-%m-%d}", brew.notes]))
        yield _one("brew", brew.name, brew.key, brew.key, says)
    for item in recipes.values():
        says = " · ".join(filter(None, [*(dose.food for dose in item.foods), item.water, item.notes]))
        yield _one("recipe", item.name, item.key, "", says)
    nouns: tuple[tuple[str, type[Vessel | Assay | Compost | Trial]], ...] = (
        ("vessel", Vessel),
        ("test", Assay),
        ("compost", Compost),
        ("trial", Trial),
    )
    for noun, cls in nouns:
        for record in notebook.find(cls):
            yield _one(noun, record.name, record.key, "", getattr(record, "notes", "") or getattr(record, "method", ""))
    for harvest in notebook.find(Harvest):
        if harvest.notes or harvest.smell:
            yield _one("harvest", brews[harvest.brew].name, harvest.brew, harvest.brew, f"{harvest.smell} · {harvest.notes}")
    for key in brews:
        for reading in notebook.readings(key):
            if reading.notes or reading.kit_lot:
                says = " · ".join(filter(None, [f"{result_as_typed(reading)} {reading.unit}", reading.kit_lot, reading.notes]))
                yield _one("reading", brews[key].name, reading.key, key, says)


def _one(what: str, name: str, key: str, brew: str, says: str) -> tuple[SearchHit, str]:
    return SearchHit(what=what, name=name, key=key, brew=brew, says=says), _folded(f"{what} {name} {key} {says}")


def _folded(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(sign for sign in plain if not unicodedata.combining(sign))

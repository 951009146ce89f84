"""Every test that asks for `notebook` runs on SQLite and on a real PostgreSQL, as those that ask for `where`."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Assay, Brew, Compost, FoodDose, Reading, Recipe, Vessel

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


@pytest.fixture
def notebook(where: str) -> Iterator[Notebook]:
    """An open notebook with a recipe, a vessel, an assay and a brew."""
    with open_notebook(where, at=NOW) as book:
        furnish(book)
        yield book


def furnish(book: Notebook, brew: str = "b1") -> None:
    """The least that a reading needs."""
    for record in (
        Compost(key="heap", name="Heap"),
        Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=50, foods=(FoodDose(food="molasses", g_per_l=1),)),
        Vessel(key="barrel", name="Barrel", volume_l=100, depth_m=0.8, air=AirSupply(flow_l_per_min=40)),
        Assay(key="card", name="Card", method="colour test"),
        Brew(key=brew, name="First", recipe="plain", vessel="barrel", started_at=NOW),
    ):
        book.add(record, at=NOW)


def reading(key: str, *, brew: str = "b1", hour: float = 1.0, signal: float = 12.5, **rest: object) -> Reading:
    """A reading with all that the test does not care about filled in."""
    return Reading(
        **{
            "key": key,
            "brew": brew,
            "assay": "card",
            "role": "sample",
            "elapsed_h": hour,
            "signal": signal,
            "unit": "ug C/mL",
            "typed_as": f"{signal:g}",
            **rest,
        }
    )

"""Every test that asks for `where` or `notebook` runs on SQLite and on a real PostgreSQL."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Assay, Brew, Compost, FoodDose, Reading, Recipe, Vessel
from tests.stores import fresh_database, postgres, server_programs

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
STORES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
_number = itertools.count(1)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    if server_programs() is None:
        pytest.skip("no PostgreSQL server programs here; on Debian: apt install postgresql")
    with postgres() as folder:
        yield folder


@pytest.fixture(params=STORES)
def where(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of a notebook that does not exist yet."""
    monkeypatch.setenv("HOME", str(tmp_path))
    if request.param == "sqlite":
        yield str(tmp_path / "tea.notebook")
        return
    folder = request.getfixturevalue("server")
    with fresh_database(folder, f"tea{next(_number)}") as address:
        yield address


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
    return Reading(**{
        "key": key, "brew": brew, "assay": "card", "role": "sample", "elapsed_h": hour, "signal": signal, "unit": "ug C/mL",
        "typed_as": f"{signal:g}", **rest,
    })

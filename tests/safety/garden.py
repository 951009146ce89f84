"""An invented garden with four brews, for the tests of gates and of what is noted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Brew, Compost, FoodDose, HeatLog, Recipe, SensorLog, Vessel

START = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
HOT = HeatLog(
    days=tuple(map(float, range(17))), temperatures_degc=(60.0,) * 16 + (30.0,), turned_on_days=(2.0, 5.0, 8.0, 11.0, 14.0)
)
HEATED = Compost(key="heap", name="Old barn heap", process="windrow", animal_origin=True, carbon_to_nitrogen=30.0, heat=HOT)
PLAIN = Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=50.0, water="tap, dechlorinated")
FED = replace(PLAIN, key="fed", name="Fed", foods=(FoodDose(food="cane-molasses", g_per_l=2.0),))
LETTUCE = usecases.safety.UseEntry(
    brew="clean",
    crop="lettuce",
    edible="yes",
    touches="yes",
    soil="yes",
    days="20",
    method="foliar spray",
    tea="5 L",
    water="5 L",
    area="20 m2",
    beds="2",
    spray_place="outdoors",
    wind="2",
    inversion="no",
    coarse="yes",
    clear="8",
    water_clear="yes",
    neighbours_clear="yes",
    people_away="yes",
    animals_away="yes",
    mask="yes",
    warmth="18",
    uv="1",
    drops="300",
    density="1e8 5e7 2e8 /mL",
    seedling="no",
    raw="yes",
    smoked="no",
    grazed="no",
    people="no",
    organic="no",
    in_water="no",
)
NOW = START + timedelta(hours=24)


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Notebook]:
    """An invented garden with four brews: clean, fed, starved of oxygen, and made of an unknown compost."""
    with open_notebook(tmp_path / "tea.notebook", at=START) as book:
        for record in (
            HEATED,
            Compost(key="bag", name="Bag without label"),
            PLAIN,
            FED,
            replace(PLAIN, key="bagged", compost="bag"),
            Vessel(key="bin", name="Bin", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)),
        ):
            book.add(record, at=START)
        for key, recipe, low in (
            ("clean", "plain", 6.0),
            ("fed", "fed", 6.0),
            ("starved", "plain", 0.5),
            ("unknown", "bagged", 6.0),
        ):
            book.add(Brew(key=key, name=key, recipe=recipe, vessel="bin", started_at=START), at=START)
            times = tuple(0.5 * step for step in range(49))
            oxygen = tuple(low if step == 41 else 6.5 + 0.1 * (step % 2) for step in range(49))
            book.append_log(SensorLog(brew=key, channel="oxygen", elapsed_h=times, values=oxygen), at=NOW)
            book.append_log(SensorLog(brew=key, channel="temperature", elapsed_h=times, values=(21.0,) * 49), at=NOW)
            book.keep(
                "advice", key, {"oxygen": {"floor_mg_per_l": 2.0, "probability_below": 0.02, "holding_time_low_h": 0.5}}, at=NOW
            )
            usecases.safety.note_smell(book, key, "earthy", now=NOW)
        usecases.safety.note_material(book, "heap", made_of="manure, plants", certificate="112.55(a)", soiled="no", now=START)
        usecases.safety.note_material(book, "bag", made_of="manure", soiled="no", now=START)
        usecases.safety.choose_place(book, "US", now=START)
        yield book


def held_back(answer: usecases.safety.UseAnswer) -> set[str]:
    return {gate.name for gate in answer.gates if not gate.is_open}


TUBES = usecases.safety.IndicatorTest(
    brew="fed", germ="E. coli", amounts_ml=(10.0, 1.0, 0.1), tubes=(3, 3, 3), positives=(3, 1, 1)
)
BEANS = replace(
    LETTUCE,
    brew="fed",
    crop="beans",
    touches="no",
    days="10",
    method="watering can",
    soil="no",
    in_soil="no",
    later="no",
    there="yes",
)

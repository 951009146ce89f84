"""Recipes, vessels and tests written in by themselves: several buckets at once, one compost for two recipes."""

from __future__ import annotations

import pytest

from aerobe.records import Assay, Compost, Recipe, Vessel
from tests.web.conftest import Shed

RECIPE = {
    "batch": "20",
    "batch_unit": "L",
    "compost": "(new)",
    "compost_name": "Leaf mould",
    "animal": "no",
    "compost_amount": "0,8",
    "compost_amount_unit": "kg",
    "water": "rain",
}
BUCKET = {
    "vessel_name": "Bucket",
    "how_many": "4",
    "volume": "20",
    "volume_unit": "L",
    "depth": "30",
    "depth_unit": "cm",
    "flow": "12",
    "flow_unit": "L/min",
}


def test_two_recipes_share_a_compost(shed: Shed) -> None:
    shed.post("/shelf/recipes", recipe_name="Plain", **RECIPE)
    fed = {**RECIPE, "compost": "leaf-mould", "food_1": "molasses", "food_1_amount": "40", "food_1_amount_unit": "g"}
    assert shed.post("/shelf/recipes", recipe_name="With molasses", **fed).status_code == 303
    assert [item.key for item in shed.notebook.find(Compost)] == ["leaf-mould"]
    plain, molasses = sorted(shed.notebook.find(Recipe), key=lambda item: item.key)
    # 800 g and 40 g in 20 L, by hand.
    assert plain.compost_g_per_l == molasses.compost_g_per_l == pytest.approx(40.0)
    assert not plain.foods and molasses.foods[0].g_per_l == pytest.approx(2.0)


def test_buckets_alike_come_at_once_and_a_double_tap_makes_no_more(shed: Shed) -> None:
    for _ in range(2):
        assert shed.post("/shelf/vessels", **BUCKET, entry="once").status_code == 303
    assert [item.name for item in shed.notebook.find(Vessel)] == ["Bucket 1", "Bucket 2", "Bucket 3", "Bucket 4"]


def test_a_test_is_written_in_with_its_price(shed: Shed) -> None:
    shed.post("/shelf/tests", assay_name="Colour test", method="colour test", assay_unit="ug C/mL", price="12,5")
    assert [(item.name, item.price) for item in shed.notebook.find(Assay)] == [("Colour test", 12.5)]


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("recipes", {**RECIPE, "recipe_name": ""}),
        ("recipes", {**RECIPE, "recipe_name": "Plain", "batch": "0"}),
        ("vessels", {**BUCKET, "how_many": "2,5"}),
        ("vessels", {**BUCKET, "depth": "deep"}),
        ("tests", {"assay_name": ""}),
    ],
    ids=["no name", "no water", "half a bucket", "no number", "no test"],
)
def test_a_slip_of_the_pen_writes_nothing_and_comes_back_with_its_remedy(shed: Shed, path: str, typed: dict[str, str]) -> None:
    answer = shed.post(f"/shelf/{path}", **typed)
    assert answer.status_code == 422 and 'role="alert"' in answer.text
    assert not [found for noun in (Compost, Recipe, Vessel, Assay) for found in shed.notebook.find(noun)]

"""A brew from few answers: guesses marked as such, wider beliefs, all faults at once."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from aerobe.errors import UnusableForm
from aerobe.inference import basis_of, decode
from aerobe.notebook import Notebook
from aerobe.oxygen import vessel_kla
from aerobe.records import AirSupply, Brew, Recipe, Vessel, as_plain, content_hash, from_plain
from aerobe.usecases.brews import (
    BrewStart,
    FoodTyped,
    add_compost,
    add_recipe,
    add_vessels,
    guesses_of_brew,
    latest_choices,
    mend,
    put_away_or_back,
    start_brew,
    start_choices,
)
from aerobe.usecases.notebook import open_notebook

NOW = datetime(2026, 5, 1, 8, tzinfo=UTC)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as notebook:
        yield notebook


def test_how_big_it_is_is_enough(book: Notebook) -> None:
    key = start_brew(book, BrewStart(volume="5 US gal"), now=NOW)
    brew = book.get(Brew, key)
    vessel, recipe = book.get(Vessel, brew.vessel), book.get(Recipe, brew.recipe)
    assert vessel.volume_l == pytest.approx(5 * 3.785411784)
    assert set(vessel.guessed) == {"depth", "flow", "diffuser"} and recipe.guessed == ("compost",)
    assert brew.guessed == ("temperature",) and brew.tests_in_budget == 0  # no test is at hand, so none is counted with
    # A vessel as deep as wide: pi/4 d^3 is its volume.
    assert math.pi / 4.0 * vessel.depth_m**3 * 1000.0 == pytest.approx(vessel.volume_l)
    said = " ".join(f"{item.what}: {item.says}." for item in guesses_of_brew(book, key))
    for words in ("L/min", "g/L", "°C", "cm", " to "):
        assert words in said


def test_what_is_given_is_no_guess(book: Notebook) -> None:
    form = BrewStart(
        volume="100 L",
        depth="60 cm",
        flow="30 L/min",
        diffuser="coarse bubble",
        temperature="18 °C",
        compost_amount="3",
        compost_unit="kg",
        foods=(FoodTyped(food="molasses", amount="70"),),
        assay_name="Colour test",
    )
    brew = book.get(Brew, start_brew(book, form, now=NOW))
    assert guesses_of_brew(book, brew.key) == ()
    assert book.get(Recipe, brew.recipe).compost_g_per_l == pytest.approx(30.0) and brew.tests_in_budget == 4


@pytest.mark.parametrize(
    ("flow", "flow_is", "guess"),
    [
        ("8 L/min", "label", "flow of a label"),
        ("5 W", "label", "flow of a power"),
        ("", "label", "flow"),
        ("8 L/min", "unknown", "flow"),
    ],
)
def test_air_as_a_person_knows_it(book: Notebook, flow: str, flow_is: str, guess: str) -> None:
    (key,) = add_vessels(
        book, BrewStart(volume="20 L", depth="30 cm", diffuser="fine bubble", flow=flow, flow_is=flow_is), now=NOW
    )
    vessel = book.get(Vessel, key)
    assert vessel.guessed == (guess,) and vessel.air.flow_l_per_min > 0.0
    sure = replace(vessel, guessed=())
    assert vessel_kla(vessel)[0] == vessel_kla(sure)[0] and vessel_kla(vessel)[1] > vessel_kla(sure)[1]
    measured = replace(vessel, air=replace(vessel.air, kla_per_h=12.0, kla_log_sd=0.05))
    assert vessel_kla(measured) == (12.0, 0.05)  # a measured transfer takes the place of every guess


def test_compost_measured_with_a_cup_is_weighed_by_a_guess(book: Notebook) -> None:
    form = BrewStart(recipe_name="Cups", volume="10 L", compost_amount="2", compost_unit="L", compost_name="Leaf mould")
    recipe = book.get(Recipe, add_recipe(book, form, now=NOW))
    assert recipe.guessed == ("weight of compost",) and recipe.compost_g_per_l == pytest.approx(110.0)


def test_all_faults_come_at_once_and_nothing_is_written(book: Notebook) -> None:
    form = BrewStart(
        volume="",
        compost_amount="a shovel",
        flow="much",
        temperature="warm",
        tests="some",
        foods=(FoodTyped(food="molasses", amount="x"),),
    )
    with pytest.raises(UnusableForm) as caught:
        start_brew(book, form, now=NOW)
    fields = [name for name, _ in caught.value.by_field]
    assert fields == ["volume", "flow", "compost_amount", "food_1_amount", "tests", "temperature"]
    assert caught.value.at("flow") is not None and caught.value.at("depth") is None
    assert "''" not in str(caught.value)  # nobody is told that an empty text is no quantity
    again = pickle.loads(pickle.dumps(caught.value))
    assert [name for name, _ in again.by_field] == fields
    assert not book.find(Vessel) and not book.find(Recipe) and not book.find(Brew)


@pytest.mark.parametrize("volume", ["0 L", "-3 L", "99999999 L", "20", "20 apples"])
def test_an_impossible_size_is_told_at_its_field(book: Notebook, volume: str) -> None:
    with pytest.raises(UnusableForm) as caught:
        start_brew(book, BrewStart(volume=volume, depth="0 cm", temperature="80 °C"), now=NOW)
    assert {name for name, _ in caught.value.by_field} >= {"volume", "depth", "temperature"}


def test_a_guess_makes_the_belief_wider_and_leaves_its_middle() -> None:
    air = AirSupply(flow_l_per_min=5.0)
    vessel = Vessel(key="v", name="v", volume_l=20.0, depth_m=0.3, air=air)
    recipe = Recipe(key="r", name="r", compost="c", compost_g_per_l=25.0)
    z = np.random.default_rng(3).standard_normal((4000, 18))
    sure = decode(z, basis_of(recipe, vessel), 20.0)
    wide = decode(z, basis_of(replace(recipe, guessed=("compost", "food molasses")), vessel, temperature_guessed=True), 20.0)
    for column in (0, 3, 4):  # bacteria, readily used and slow food at the start
        narrow, broad = np.log(sure.start[:, column]), np.log(wide.start[:, column])
        assert np.std(broad) > 1.15 * np.std(narrow)
        assert np.median(broad) == pytest.approx(np.median(narrow), abs=0.1)
    # The spread of the amount itself adds to that of the compost: sqrt(0.6^2 + 0.6^2) for bacteria.
    assert np.std(np.log(wide.start[:, 0])) == pytest.approx(math.hypot(0.6, 0.6), rel=0.05)
    assert np.std(np.log(wide.parameters[:, 0])) > 1.1 * np.std(np.log(sure.parameters[:, 0]))


def test_a_record_without_guesses_keeps_the_hash_that_it_had(book: Notebook) -> None:
    vessel = Vessel(key="v", name="v", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=5.0))
    assert "guessed" not in as_plain(vessel)
    guessed = replace(vessel, guessed=("flow",))
    assert from_plain(Vessel, as_plain(guessed)) == guessed and content_hash(guessed) != content_hash(vessel)


def test_the_next_brew_begins_with_what_was_used_last(book: Notebook) -> None:
    first = book.get(Brew, start_brew(book, BrewStart(volume="20 L", vessel_name="Bucket", recipe_name="Plain"), now=NOW))
    second = BrewStart(volume="60 L", vessel_name="Drum", recipe_name="Fed")
    book_of_second = book.get(Brew, start_brew(book, second, now=NOW + timedelta(hours=1)))
    last = latest_choices(book)
    assert (last.vessel, last.recipe, last.assay) == (book_of_second.vessel, book_of_second.recipe, "(new)")
    put_away_or_back(book, "vessel", book_of_second.vessel, away=True, now=NOW)
    assert latest_choices(book).vessel == first.vessel and len(start_choices(book).vessels) == 1
    put_away_or_back(book, "vessel", book_of_second.vessel, away=False, now=NOW)
    assert len(start_choices(book).vessels) == 2


def test_a_compost_is_written_in_by_its_name(book: Notebook) -> None:
    assert add_compost(book, "Leaf mould", animal="no", now=NOW) == "leaf-mould"
    with pytest.raises(UnusableForm) as caught:
        add_compost(book, " ", animal="perhaps", now=NOW)
    assert [name for name, _ in caught.value.by_field] == ["compost_name", "animal"]


def test_only_the_food_whose_amount_nobody_gave_is_a_guess(book: Notebook) -> None:
    # 20 g in 20 L is what a guess would be too; it was weighed all the same.
    foods = (FoodTyped(food="molasses", amount="20"), FoodTyped(food="kelp-meal"))
    brew = book.get(Brew, start_brew(book, BrewStart(volume="20 L", compost_amount="500", foods=foods), now=NOW))
    assert book.get(Recipe, brew.recipe).guessed_foods == ("kelp-meal",)
    (said,) = [item.what for item in guesses_of_brew(book, brew.key) if item.what.startswith("Amount")]
    assert "Kelp" in said and "Molasses" not in said
    mend(book, "recipe", brew.recipe, {"foods": "molasses: 2 g/L\nkelp-meal: 1 g/L"}, now=NOW)
    assert book.get(Recipe, brew.recipe).guessed_foods == ("kelp-meal",)
    mend(book, "recipe", brew.recipe, {"foods": "molasses: 2 g/L\nkelp-meal: 1.2 g/L"}, now=NOW)
    assert book.get(Recipe, brew.recipe).guessed_foods == ()

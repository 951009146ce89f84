"""Units once for all: chosen at the first brew or under Settings, used on every page, read back as typed."""

from __future__ import annotations

import html
import re

import pytest

from aerobe import usecases
from aerobe.records import Brew, Vessel
from tests.web.conftest import BREW, Shed

US = {
    "volume": "US gal",
    "temperature": "\u00b0F",
    "oxygen": "%",
    "weight": "oz",
    "length": "ft",
    "currency": "USD",
    "date": "m/d/y",
    "clock": "12 h",
}
# What is no text of a page, what was typed, and units to choose from.
NO_TEXT = re.compile(r"(<(script|style|textarea|code|pre|samp|cite|option)\b.*?</\2>|<[^>]*>)", re.DOTALL)
HOUSE = re.compile(
    r"\u00b0C\b|degC|\bg/L\b|\blitres?\b|\d (?:L|L/min|kg|g|cm|m)(?![\w/])|\d mg/L(?! of)"
    r"|\d{4}-\d\d-\d\d|\b(?:1[3-9]|2[0-3]):\d\d\b"
)
CUSTOMARY = re.compile(r"\u00b0F\b|\bgal\b|\bgal/h\b|\d oz\b|\d lb\b|\d ft\b|\d in\b(?=[,.;<])|% of saturation|USD|\d [ap]m\b")


def texts(page: str) -> list[str]:
    """Each run of text of a page."""
    body = NO_TEXT.sub("\x00", page[page.index("<body") :])
    return [" ".join(html.unescape(item).split()) for item in body.split("\x00") if item.strip()]


def choose(shed: Shed, **units: str) -> None:
    answer = shed.post("/settings/units", **{f"units_{name}": choice for name, choice in units.items()})
    assert answer.status_code == 303, answer.text


def test_a_first_brew_keeps_the_units_of_the_region_and_asks_no_more(shed: Shed) -> None:
    page = shed.client.get("/brews/new", headers={"accept-language": "en-US,en;q=0.9"}).text
    assert 'name="units_volume"' in page and "<summary>Units: <samp>US gallons, \u00b0F" in page
    first = page[page.index('name="volume_unit"') :]
    assert re.search(r"<option value=\"([^\"]*)\" selected", first)[1] == "US gal"  # type: ignore[index]
    typed = {
        **BREW,
        "volume": "5",
        "volume_unit": "US gal",
        "vessel_name": "Pail 20 L",
        "temperature": "68",
        "temperature_unit": "degF",
    }
    assert shed.post("/brews", **typed, **{f"units_{name}": choice for name, choice in US.items()}).status_code == 303
    (vessel,), (brew,) = shed.notebook.find(Vessel), shed.notebook.find(Brew)
    assert vessel.volume_l == pytest.approx(18.92705892) and brew.temperature_degc == pytest.approx(20.0)
    assert usecases.notebook.display_units_of(shed.notebook).choices() == {**US, "decimal": "."}
    assert 'name="units_volume"' not in shed.client.get("/brews/new").text
    told = " ".join(texts(shed.client.get(f"/brews/{brew.key}").text))
    assert "Pail 20 L, 5 gal" in told and "68 \u00b0F" in told


def test_a_notebook_without_a_choice_stays_in_house_units(brewing: Shed) -> None:
    page = brewing.client.get("/settings", headers={"accept-language": "en-US"}).text
    assert "Shown in" not in page
    (brew,) = brewing.notebook.find(Brew)
    told = " ".join(texts(brewing.client.get(f"/brews/{brew.key}").text))
    assert "100 L" in told and CUSTOMARY.search(told) is None


def test_a_currency_that_is_none_is_told_at_its_field(shed: Shed) -> None:
    answer = shed.post("/brews", **BREW, units_volume="L", units_currency="EURO")
    assert answer.status_code == 422 and 'id="units_currency-wrong"' in answer.text and not shed.notebook.find(Brew)


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """The invented notebook behind an app."""
    from fastapi.testclient import TestClient

    from aerobe.web import ServeSettings, create_app, open_state
    from tests.web.conftest import START, form_token

    with usecases.notebook.open_notebook(tmp_path_factory.mktemp("demo") / "demo.notebook", at=START) as notebook:
        usecases.notebook.make_demo(notebook, now=START, seed=1)
        app = create_app(
            notebook,
            state=open_state(None),
            clock=lambda: START,
            settings=ServeSettings(watching=False, burst=5000, per_s=5000),
        )
        app.state.thinker.advise = app.state.hindsight.advise = None
        with TestClient(app, base_url="http://localhost") as client:
            shed = Shed(app=app, client=client, clock=lambda: START, notebook=notebook, state=None)  # type: ignore[arg-type]
            shed.token = form_token(client.get("/menu").text)
            yield shed


PAGES = (
    *("/", "/brews/new", "/brews/plain-5", "/brews/plain-5/edit", "/brews/kelp-5", "/brews/kelp-5/record", "/record"),
    *("/brews/kelp-5/harvest", "/shelf", "/shelf/vessels/bucket-a/edit", "/shelf/recipes/kelp/edit", "/trials", "/trials/new"),
    *("/trials/kelp-question", "/trials/kelp-question/sheet?with_arms=true", "/oxygen", "/oxygen/measure", "/oxygen/size"),
    *("/oxygen/probe", "/oxygen/foods", "/safety", "/safety/brews/plain-5", "/safety/gear", "/safety/use", "/assay"),
    *("/evidence", "/reports", "/reminders", "/practise", "/search?words=kelp", "/data", "/menu", "/settings"),
)
# Rules, papers and numbers of the laboratory that are quoted in their own units, and names of units in a hint.
QUOTED = re.compile(
    r"kilogram a litre|^Doses in g/L|chlor|bleach|with unit|shed/barrel|Cl2|a litre of|such as|_{3}|sterile|CFU", re.IGNORECASE
)


def test_every_page_of_the_demo_is_in_the_chosen_units(invented: Shed) -> None:
    choose(invented, **US, decimal=".")
    left = {}
    for path in PAGES:
        answer = invented.client.get(path)
        assert answer.status_code == 200, path
        found = [text for text in texts(answer.text) if HOUSE.search(text) and not QUOTED.search(text)]
        left |= {path: found} if found else {}
    assert left == {}
    choose(invented, volume="L", temperature="\u00b0C", oxygen="mg/L", weight="g", length="m", date="y-m-d", clock="24 h")
    for path in PAGES:
        found = [text for text in texts(invented.client.get(path).text) if CUSTOMARY.search(text) and not QUOTED.search(text)]
        assert [text for text in found if "USD" not in text] == [], path

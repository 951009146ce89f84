"""Food and air: how much food the air carries, with sliders; the foods; uptake of a brew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.records import DIFFUSERS, Vessel, as_json
from aerobe.units import (
    DOSE,
    ELAPSED,
    FRACTION,
    OXYGEN,
    RATE,
    TEMPERATURE,
    VOLUME,
    DisplayUnits,
    Scale,
    display_units,
    parse_number,
    shown_quantity,
)
from aerobe.web._frame import Fields, clock_of, fields, menu_entry, notebook_of, page, zipped

router = APIRouter()
nav = menu_entry("How much food?", "/oxygen", order=40, icon="oxygen")
Sent = Annotated[Fields, Depends(fields)]

DRAWS = 300  # a screen needs no finer chance than two percent
TOLERANCE = 0.05
TITLE = "Food and air"


@dataclass(frozen=True, slots=True, kw_only=True)
class Slider:
    """One slider of the page."""

    name: str
    label: str
    low: float
    high: float
    step: float
    start: float
    unit: str
    first: bool = False  # in the open; the others are folded


SLIDERS = (
    Slider(name="dose", label="Dose of the food", low=0.0, high=10.0, step=0.1, start=1.0, unit="g/L", first=True),
    Slider(name="air", label="Air", low=0.05, high=2.0, step=0.05, start=0.5, unit="of the water a minute", first=True),
    Slider(name="compost", label="Compost", low=0.0, high=120.0, step=5.0, start=50.0, unit="g/L"),
    Slider(name="temperature", label="Water temperature", low=8.0, high=32.0, step=1.0, start=20.0, unit="degC", first=True),
    Slider(name="floor", label="Oxygen floor", low=0.5, high=7.0, step=0.5, start=2.0, unit="mg/L"),
    Slider(name="chance", label="Chance asked for", low=50.0, high=95.0, step=5.0, start=90.0, unit="%"),
    Slider(name="hours", label="Length of the brew", low=12.0, high=72.0, step=6.0, start=36.0, unit="h"),
)
TYPED = {
    "food": "molasses",
    "volume": "20 L",
    "depth": "0.3 m",
    "diffuser": "coarse bubble",
    "kla": "",
    "kla_error": "",
    "guessed": "",
    "altitude": "0 m",
    "others": "",
    "feeds": "0",
}


@router.get("/oxygen")
def hub(request: Request) -> Response:
    """Sliders, and what the air carries."""
    values = _values(request)
    vessels = notebook_of(request).find(Vessel)
    try:
        answer = _answer(values)
        fault, status = None, 200
    except AerobeError as found:
        answer, fault, status = {}, found, 422
    return page(
        request,
        "oxygen/hub.html",
        status=status,
        title=TITLE,
        values=values,
        sliders=SLIDERS,
        foods=list(usecases.oxygen.FOODS.values()),
        diffusers=DIFFUSERS,
        vessels=vessels,
        floors=usecases.oxygen.floor_lines(),
        fault=fault,
        answer=answer,
    )


@router.get("/parts/oxygen/answer")
def answer_part(request: Request) -> Response:
    """The living part of the page, for a moved slider."""
    values = _values(request)
    try:
        return page(request, "oxygen/answer.html", title="", sliders=SLIDERS, values=values, answer=_answer(values), moved=True)
    except AerobeError as fault:
        return page(request, "oxygen/answer.html", title="", sliders=SLIDERS, values=values, answer={}, fault=fault, moved=True)


@router.get("/pictures/food.zip")
def pictures(request: Request) -> Response:
    """Pictures to show of how much food the air carries; the same names as the page's fields."""
    found = _ceiling(_form(_values(request)), display_units())
    return zipped(usecases.reports.poster_of_food(found, now=clock_of(request)), "food")


@router.get("/parts/oxygen/ways")
def ways_part(request: Request) -> Response:
    """Split feeding, more air or less food, and the air that this recipe needs."""
    values = _values(request)
    form, dose = _form(values), _number(values, "dose")
    question = form.question(draws=200)
    context: dict[str, object] = {
        "splits": usecases.oxygen.compare_splits(question, dose),
        "changes": None,
        "air": None,
        "fault": None,
    }
    try:
        context["changes"] = usecases.oxygen.air_or_food(question, dose)
        context["air"] = usecases.oxygen.air_for_recipe(question, dose)
    except AerobeError as fault:
        context["fault"] = fault
    return page(request, "oxygen/ways.html", title="", dose=dose, context=context)


@router.get("/api/oxygen/ceiling")
def ceiling_data(request: Request) -> Response:
    """The food ceiling as data; the same names as the page's fields."""
    values = _values(request)
    answer = _ceiling(_form(values), display_units())
    return JSONResponse(
        {
            "says": answer.says,
            "ceiling": as_json(answer.ceiling),
            "by_balance_g_per_l": _finite(answer.by_balance_g_per_l),
            "kla20_per_h": answer.kla20_per_h,
            "kla_log_sd": answer.kla_log_sd,
            "remarks": list(answer.remarks),
            "cautions": list(answer.cautions),
        }
    )


@router.get("/oxygen/foods")
def foods(request: Request) -> Response:
    """The food library, with sources."""
    return page(
        request, "oxygen/foods.html", title="Foods", foods=[usecases.oxygen.food_page(key) for key in usecases.oxygen.FOODS]
    )


@router.get("/oxygen/brews/{key}")
def brew(request: Request, key: str) -> Response:
    """What a brew takes up, and how long it holds."""
    view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
    name = view.card.brew.name
    context: dict[str, object] = {"uptake": None, "picture": None, "fault": None}
    try:
        uptake = usecases.oxygen.brew_uptake(notebook_of(request), key)
        context |= {"uptake": uptake, "picture": usecases.oxygen.uptake_picture(uptake, name)}
    except AerobeError as fault:
        context["fault"] = fault
    context |= {"card": view.card, "foods": list(usecases.oxygen.FOODS.values())}
    return page(request, "oxygen/brew.html", title=f"Oxygen of {name}", context=context)


@router.get("/parts/oxygen/brews/{key}/feed")
def feed_part(request: Request, key: str, food: str = "molasses") -> Response:
    """How much of a food a brew can take now."""
    found = usecases.oxygen.feed_now(notebook_of(request), key, food, now=clock_of(request))
    return page(request, "oxygen/feed.html", title="", found=found)


def _values(request: Request) -> dict[str, str]:
    """Fields of the address, completed from a vessel of the notebook and from the sliders' starts."""
    values = {slider.name: f"{slider.start:g}" for slider in SLIDERS} | TYPED
    values |= {"volume": _typed(20.0, "L"), "depth": _typed(0.3, "m"), "altitude": _typed(0.0, "m")}
    asked = request.query_params
    if asked.get("vessel"):
        values |= _from_vessel(notebook_of(request).get(Vessel, asked["vessel"]))
    return values | {name: asked[name][:120] for name in values if name in asked}


def _from_vessel(vessel: Vessel) -> dict[str, str]:
    air = vessel.air
    kla, error = usecases.brews.kla_as_typed(air)
    return {
        "volume": _typed(vessel.volume_l, "L"),
        "depth": _typed(vessel.depth_m, "m"),
        "diffuser": air.diffuser,
        "kla": kla,
        "kla_error": error,
        "guessed": " ".join(vessel.guessed),
        "altitude": _typed(vessel.altitude_m, "m"),
        "air": f"{air.flow_l_per_min / vessel.volume_l:.3g}",
    }


def _typed(value: float, unit: str) -> str:
    """A value as a person here would type it: in the display units, with their decimal sign."""
    return shown_quantity(display_units(), value, unit)


def _form(values: Mapping[str, str]) -> usecases.oxygen.FoodForm:
    flow = _number(values, "air") * VOLUME.read(values["volume"])
    return usecases.oxygen.FoodForm(
        food=values["food"],
        volume=values["volume"],
        depth=values["depth"],
        flow=_typed(flow, "L/min"),
        diffuser=values["diffuser"],
        kla=values["kla"],
        kla_error=values["kla_error"],
        guessed=values["guessed"],
        altitude=values["altitude"],
        temperature=f"{display_units().decimals(values['temperature'])} degC",
        compost=f"{display_units().decimals(values['compost'])} g/L",
        others=values["others"],
        floor=f"{display_units().decimals(values['floor'])} mg/L",
        probability=f"{display_units().decimals(values['chance'])} %",
        hours=f"{display_units().decimals(values['hours'])} h",
        feeds=values["feeds"],
    )


def _number(values: Mapping[str, str], name: str) -> float:
    kinds = {
        "dose": (DOSE, "g/L"),
        "compost": (DOSE, "g/L"),
        "temperature": (TEMPERATURE, "degC"),
        "floor": (OXYGEN, "mg/L"),
        "hours": (ELAPSED, "h"),
        "air": (RATE, "/h"),
        "chance": (FRACTION, ""),
    }
    kind, unit = kinds[name]
    return kind.convert(parse_number(values[name], decimal="."), unit, typed=f"{values[name]} {unit}")


# A moved dose asks the same ceiling again: keep the last few.
@lru_cache(maxsize=64)
def _ceiling(form: usecases.oxygen.FoodForm, units: DisplayUnits) -> usecases.oxygen.FoodAnswer:
    """`units` are those that the form is read in."""
    return usecases.oxygen.ask_food_ceiling(form.question(draws=DRAWS), tolerance=TOLERANCE)


def _answer(values: Mapping[str, str]) -> dict[str, object]:
    form = _form(values)
    found = _ceiling(form, display_units())
    preview = usecases.oxygen.preview_dose(form.question(draws=DRAWS), _number(values, "dose"))
    return {
        "found": found,
        "preview": preview,
        "pictures": usecases.oxygen.food_pictures(found, preview),
        "by_dose": _by_dose(found),
    }


def _by_dose(found: usecases.oxygen.FoodAnswer) -> dict[str, object]:
    """What the page reads a dose from at once, between the doses that were worked out: chance, oxygen and biomass."""
    rows = found.ceiling.rows
    return {
        "litres": found.question.vessel.volume_l,
        "asked": found.question.probability,
        "ceiling": found.ceiling.dose_g_per_l,
        "dose": [row.dose_g_per_l for row in rows],
        "chance": [row.chance_above_floor for row in rows],
        "oxygen": [row.lowest_oxygen_mg_per_l for row in rows],
        "biomass": [row.peak_biomass for row in rows],
        "scales": {unit: asdict(display_units().scale(unit) or Scale(unit=unit)) for unit in ("g/L", "g", "mg/L")},
        "decimal": display_units().decimal,
    }


def _finite(value: float) -> float | None:
    return value if value < 1e9 else None

"""Presets for the table of use cases: plain facts of materials, crops and ways, so that a row says only what is special."""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from aerobe.safety import FAILS, NOT_SHOWN, SHOWN, UseFacts

WHOLE: dict[str, Any] = {"soiled_again": False, "has_additives": False, "water": SHOWN, "held_over_an_hour": True}
MATERIALS: dict[str, dict[str, Any]] = {
    "unknown": {},
    "plants": {**WHOLE, "made_of": ("plants",), "tea": "plants only"},
    "raw": {**WHOLE, "made_of": ("manure",), "tea": "untreated"},
    "b": {**WHOLE, "made_of": ("manure", "plants"), "tea": "treated"},
    "a": {**WHOLE, "made_of": ("manure",), "tea": "treated to 112.55(a)"},
    "waste-raw": {**WHOLE, "made_of": ("food waste", "plants"), "tea": "untreated"},
    "waste-b": {**WHOLE, "made_of": ("food waste", "plants"), "tea": "treated"},
    "manure-b": {**WHOLE, "made_of": ("manure",), "tea": "treated"},
    "sludge-a": {**WHOLE, "made_of": ("sewage sludge",), "tea": "sewage sludge, class A"},
    "sludge-b": {**WHOLE, "made_of": ("sewage sludge",), "tea": "sewage sludge, class B"},
    "sludge": {**WHOLE, "made_of": ("sewage sludge",)},
    "human": {**WHOLE, "made_of": ("human waste", "plants"), "tea": "treated"},
}
MOLASSES = {"has_additives": True, "animal_additive": False}
FISH = {"has_additives": True, "animal_additive": True}
FOODS = {"": {}, "molasses": MOLASSES, "kelp": MOLASSES, "fish": FISH, "unanswered": {"has_additives": None}}

# Nobody grazes, smokes or sits on it unless a row says so.
BED: dict[str, Any] = {
    "certified_organic": False,
    "smoked_or_steeped": False,
    "grazed": False,
    "people_on_it": False,
    "in_water": False,
    "garden": False,
}
FOOD = {**BED, "edible": True, "seedling": False, "part_is_there": True}
RAW, COOKED = {**FOOD, "eaten_raw": True}, {**FOOD, "eaten_raw": False}
ON = {"edible_part_touches_soil": True, "grows_in_soil": False, "touches_later": True}
IN = {"edible_part_touches_soil": True, "grows_in_soil": True, "touches_later": True}
OFF = {"edible_part_touches_soil": False, "grows_in_soil": False}
PLACE = {**BED, "edible": False, "seedling": False}
CROPS: dict[str, dict[str, Any]] = {
    "lettuce": {**RAW, **ON},
    "carrots": {**RAW, **IN},
    "strawberries": {**RAW, **ON},
    "strawberries on plastic": {**RAW, **OFF},
    "tomatoes": {**RAW, **OFF},
    "apples": {**RAW, **OFF},
    "kale": {**COOKED, **OFF},
    "beets": {**COOKED, **IN, "rarely_raw": True},
    "potatoes": {**COOKED, **IN, "rarely_raw": True},
    "okra": {**COOKED, **OFF, "rarely_raw": True},
    "mushrooms": {**RAW, **IN},
    "alfalfa": {**RAW, **ON, "seedling": True},
    "hops": {**PLACE, **OFF, "smoked_or_steeped": True, "part_is_there": True},
    "cannabis": {**PLACE, **OFF, "smoked_or_steeped": True, "part_is_there": True},
    "roses": PLACE,
    "pasture": {**PLACE, "grazed": True, "pigs": False},
    "lawn": {**PLACE, "people_on_it": True, "weak_immunity": False},
    "unknown": {},
}
# A spray that the gates of the mist have nothing against: what a row tests is the rule on use.
MIST: dict[str, Any] = {
    "sprayed": True,
    "spray_place": "outdoors",
    "wind_m_per_s": 2.0,
    "inversion": False,
    "coarse_drops": True,
    "clear_m": 10.0,
    "water_clear": True,
    "neighbours_clear": True,
    "people_away": True,
    "animals_away": True,
    "breathing_protection": True,
}
WAYS: dict[str, dict[str, Any]] = {
    "pour": {"sprayed": False, "touches_edible_part": False},
    "spray": {**MIST, "touches_edible_part": True},
    "spray beside": {**MIST, "touches_edible_part": False},
    "unknown": {},
}
DAYS = {"pasture": "days_to_grazing", "lawn": "days_to_people"}
SHORT = {
    "organic": "certified_organic",
    "there": "part_is_there",
    "later": "touches_later",
    "touches": "touches_edible_part",
    "raw": "eaten_raw",
    "listed": "rarely_raw",
    "smoked": "smoked_or_steeped",
    "people": "people_on_it",
    "weak": "weak_immunity",
    "hour": "held_over_an_hour",
    "soiled": "soiled_again",
    "animal": "animal_additive",
    "fish": "fish_in_water",
    "checked": "names_checked",
    "grazing": "days_to_grazing",
    "sitting": "days_to_people",
}
WORDS: dict[str, Any] = {"yes": True, "no": False, "?": None, "pass": SHOWN, "fails": FAILS, "untested": NOT_SHOWN}


@dataclass(frozen=True)
class Row:
    """One row of the table."""

    id: str
    use: UseFacts
    wanted: str  # may or hold
    paragraph: str
    reason: str


def use_of(place: str, material: str, crop: str, way: str, days: str, change: str = "") -> UseFacts:
    """The facts of one row: presets, then what the row changes."""
    what, _, food = material.partition("+")
    facts: dict[str, Any] = {"jurisdiction": place, "crop": "" if crop == "unknown" else crop}
    facts |= {**MATERIALS[what], **FOODS[food], **CROPS[crop], **WAYS[way]}
    if days:
        facts[DAYS.get(crop, "days_to_harvest")] = float(days)
    use = UseFacts(**facts)
    known = {field.name for field in fields(UseFacts)}
    for part in filter(None, (text.strip() for text in change.split(";"))):
        name, _, value = part.partition("=")
        name = SHORT.get(name, name)
        assert name in known, name
        plain: Any = WORDS.get(value, value)
        if name.startswith(("days_", "own_days")):
            plain = float(value) if value != "?" else None
        if name == "made_of":
            plain = tuple(value.split("/")) if value != "?" else ()
        use = replace(use, **{name: plain})
    return use


def rows(file: str) -> list[Row]:
    """The rows of one table beside this file."""
    with (Path(__file__).parent / file).open(encoding="utf-8", newline="") as text:
        return [
            Row(
                id=entry["id"],
                use=use_of(entry["place"], entry["material"], entry["crop"], entry["way"], entry["days"], entry["change"]),
                wanted=entry["wanted"],
                paragraph=entry["paragraph"],
                reason=entry["reason"],
            )
            for entry in csv.DictReader(text)
        ]

"""Questions of food and air as they are typed, on the page and on the command line."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from aerobe.errors import NotAQuantity
from aerobe.oxygen import FOODS
from aerobe.records import FoodDose, Recipe
from aerobe.units import DOSE, ELAPSED, OXYGEN, TEMPERATURE, parse_number
from aerobe.usecases.brews._typed import VesselTyped
from aerobe.usecases.brews._vessel import read_vessel
from aerobe.usecases.oxygen._forecast import FoodQuestion


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodForm:
    """A food question as a person types it: every quantity with its unit.

    Parameters
    ----------
    food
        Key or name in the food library.
    volume
        Water in the vessel.
    depth
        Of the air outlet, under the surface.
    flow
        Air flow.
    diffuser
        "fine bubble", "coarse bubble", "open pipe", "venturi" or "none".
    kla
        Measured transfer at 20 degC, such as "20 /h"; empty if not measured.
    kla_error
        Standard error of the measured transfer, such as "5 %"; empty if not known, then 20 %.
    guessed
        What of the vessel was guessed when it was written down, so that its air is believed no more than it deserves.
    altitude
        Height above sea level.
    temperature
        Of the water.
    compost
        Wet compost a litre.
    others
        Other foods of the recipe: "fish-hydrolysate 1 g/L, kelp-meal 0.5 g/L".
    floor
        Oxygen not to be undercut.
    probability
        Chance asked for: "0.9" or "90 %".
    hours
        Length of the brew.
    feeds
        When the food goes in, in equal parts: "0 8 16" hours.
    """

    food: str = "molasses"
    volume: str = "20 L"
    depth: str = "0.3 m"
    flow: str = "10 L/min"
    diffuser: str = "coarse bubble"
    kla: str = ""  # measured, at 20 degC; empty if not measured
    kla_error: str = ""  # a share; empty if not known
    guessed: str = ""  # what of the vessel nobody measured, with spaces between: names as a vessel keeps them
    altitude: str = "0 m"
    temperature: str = "20 degC"
    compost: str = "50 g/L"
    others: str = ""  # "fish-hydrolysate 1 g/L, kelp-meal 0.5 g/L"
    floor: str = "2 mg/L"
    probability: str = "0.9"
    hours: str = "36 h"
    feeds: str = "0"  # hours, with spaces or commas between

    def question(self, *, draws: int = 600, seed: int = 1) -> FoodQuestion:
        """The question, in house units.

        Raises
        ------
        NotAQuantity
            If a field cannot be read.
        UnusableForm
            If fields of the vessel cannot be used: all of them at once.
        NotFound
            If a food is unknown.
        """
        vessel = read_vessel(
            VesselTyped(
                name="this vessel",
                volume=self.volume,
                depth=self.depth,
                flow=self.flow,
                diffuser=self.diffuser,
                altitude=self.altitude,
                kla=self.kla,
                kla_error=self.kla_error,
            )
        )
        vessel = replace(vessel, guessed=tuple(dict.fromkeys((*vessel.guessed, *self.guessed.split()))))
        recipe = Recipe(
            key="recipe",
            name="this recipe",
            compost="compost",
            compost_g_per_l=DOSE.read(self.compost),
            foods=_others(self.others),
        )
        return FoodQuestion(
            recipe=recipe,
            vessel=vessel,
            food=FOODS.find(self.food).key,
            floor_mg_per_l=OXYGEN.read(self.floor),
            probability=_share(self.probability),
            temperature_degc=TEMPERATURE.read(self.temperature),
            hours=_hours(self.hours),
            feed_at_h=_feeds(self.feeds),
            draws=draws,
            seed=seed,
        )


def _others(text: str) -> tuple[FoodDose, ...]:
    doses = []
    # A comma between two digits is a decimal comma and parts nothing.
    for part in (item.strip() for item in re.split(r"[;\n]|(?<!\d),|,(?!\d)", text) if item.strip()):
        place = next((index for index, character in enumerate(part) if character.isdigit()), None)
        if place is None:
            raise NotAQuantity(f"'{part}' has no dose.", "Write 'fish-hydrolysate 1 g/L', and a comma before the next food.")
        doses.append(FoodDose(food=FOODS.find(part[:place].strip(" =:")).key, g_per_l=DOSE.read(part[place:])))
    return tuple(doses)


def _share(text: str) -> float:
    value = parse_number(text.replace("%", "").strip())
    share = value / 100.0 if "%" in text or value > 1.0 else value
    if not 0.0 < share < 1.0:
        raise NotAQuantity(f"A chance of '{text}' is none.", "Write 0.9 or 90 %.")
    return share


def _hours(text: str) -> float:
    hours = ELAPSED.read(text)
    if not 1.0 <= hours <= 240.0:
        raise NotAQuantity(f"A brew of {hours:g} h is outside 1 to 240 h.", "Most brews run 18 to 48 h.")
    return hours


def _feeds(text: str) -> tuple[float, ...]:
    parts = text.replace(";", " ").replace(",", " ").replace("h", " ").split()
    times = tuple(sorted(parse_number(part) for part in parts)) or (0.0,)
    if times[0] < 0.0 or times[-1] > 240.0:
        raise NotAQuantity(f"Feeding times '{text}' lie outside the brew.", "Give hours since aeration began, such as '0 8 16'.")
    return times

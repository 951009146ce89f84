"""What a person answers of tea, place and time before a use, as typed; what is left empty is not known and never a yes."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety import MADE_OF
from aerobe.units import parse_number

YES, NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceEntry:
    """The questions "what is it, where does it go, when is it eaten", as typed.

    Parameters
    ----------
    made_of
        What the compost was made of, with commas: plants, manure, food waste, fish or animal, sewage sludge, human waste.
    certificate
        What a certificate of its process says: 112.55(a), 112.55(b), class A or class B.
    soiled
        Was it soiled after its heating, or mixed with raw manure: yes or no.
    animal_food
        Is any food of the brew of animal origin: yes or no; empty: by the names in the recipe.
    seedling
        Is it eaten as sprout, shoot, seedling, microgreen or germinated seed: yes or no.
    raw
        Is it eaten raw: yes or no.
    listed
        Is it on the list of produce rarely eaten raw, 21 CFR 112.2(a)(1): yes or no.
    smoked
        Is any of it smoked, chewed or steeped: yes or no.
    grazed
        Do animals graze there, or is it cut as fodder: yes or no.
    pigs
        Are there pigs among them: yes or no.
    grazing
        To the first grazing or cutting. [d]
    people
        Do children, pets or others sit, play or work on it with bare hands: yes or no.
    weak
        Has any of them weak immunity: yes or no.
    sitting
        To the first people, children or pets on it. [d]
    organic
        Is it grown under an organic certificate: yes or no.
    garden
        Is it a house, kitchen or allotment garden: yes or no.
    in_water
        Does it go into water that feeds the plants: yes or no.
    fish_in_water
        Do fish live in that water: yes or no.
    in_soil
        Does the part that is eaten grow in the soil: yes or no.
    there
        Is the part that is eaten there already: yes or no.
    later
        Can that part touch the tea or the wetted soil later: yes or no.
    own_days
        Days that a stricter rule of your own asks for. [d]
    own_test
        Does a stricter rule of your own ask for a passed test: yes or no.
    checked
        Were the answers looked at again that differ from what the name suggests: yes or no.
    """

    made_of: str = ""
    certificate: str = ""
    soiled: str = ""
    animal_food: str = ""
    seedling: str = ""
    raw: str = ""
    listed: str = ""
    smoked: str = ""
    grazed: str = ""
    pigs: str = ""
    grazing: str = ""
    people: str = ""
    weak: str = ""
    sitting: str = ""
    organic: str = ""
    garden: str = ""
    in_water: str = ""
    fish_in_water: str = ""
    in_soil: str = ""
    there: str = ""
    later: str = ""
    own_days: str = ""
    own_test: str = ""
    checked: str = ""


# Which field of a form answers which fact.
FIELD_OF = {
    "certified_organic": "organic",
    "own_days": "own_days",
    "own_test": "own_test",
    "made_of": "made_of",
    "tea": "certificate",
    "soiled_again": "soiled",
    "animal_additive": "animal_food",
    "edible": "edible",
    "seedling": "seedling",
    "eaten_raw": "raw",
    "rarely_raw": "listed",
    "smoked_or_steeped": "smoked",
    "grazed": "grazed",
    "pigs": "pigs",
    "people_on_it": "people",
    "weak_immunity": "weak",
    "garden": "garden",
    "in_water": "in_water",
    "fish_in_water": "fish_in_water",
    "names_checked": "checked",
    "sprayed": "method",
    "part_is_there": "there",
    "touches_edible_part": "touches",
    "touches_later": "later",
    "edible_part_touches_soil": "soil",
    "grows_in_soil": "in_soil",
    "days_to_harvest": "days",
    "days_to_grazing": "grazing",
    "days_to_people": "sitting",
}


# Facts that no field of a use answers, and the command that does: they belong to the brew.
NOTED_WITH = {
    "has_additives": "aerobe brew event BREW food, or the recipe",
    "water": "aerobe safety water RECIPE none, or found",
    "held_over_an_hour": "aerobe safety ask, at the time of the use",
}


def made_of(text: str) -> tuple[str, ...]:
    """What a compost was made of, as typed with commas.

    Raises
    ------
    UnusableRecord
        If a word is none of the materials on file.
    """
    found = tuple(dict.fromkeys(word.strip().lower() for word in text.split(",") if word.strip()))
    for word in found:
        if word not in MADE_OF:
            raise UnusableRecord(f"'{word}' is no material on file.", f"Use some of: {', '.join(MADE_OF)}.")
    return found


def yes_or_no(text: str) -> bool | None:
    """True, False, or None for not known.

    Raises
    ------
    UnusableRecord
        If it is neither yes nor no.
    """
    word = text.strip().lower()
    if word in ("", "not known", "unknown", "none"):
        return None
    if word in YES or word in NO:
        return word in YES
    raise UnusableRecord(f"'{text}' is neither yes nor no.", "Write yes or no, or leave it empty if it is not known.")


def number_or_none(text: str) -> float | None:
    """A number, or None where nothing was typed."""
    return parse_number(text) if text.strip() else None

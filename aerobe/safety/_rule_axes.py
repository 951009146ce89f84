"""From what is known of a use to the axes of the decision tables: for each axis, the values that are still possible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from aerobe.safety._findings import FAILS, SHOWN
from aerobe.safety._rule_words import on_the_list
from aerobe.safety._thresholds import threshold
from aerobe.safety._use_facts import HUMAN, PLANTS, SLUDGE_A, SLUDGE_B, TREATED, TREATED_A, UNTREATED, UseFacts

Axes = Mapping[str, frozenset[str]]
FOOD, BREATH, GRAZE, PEOPLE, NOTHING = "food", "breath", "graze", "people", "nothing"

MATERIALS = {
    PLANTS: "plants",
    UNTREATED: "raw",
    TREATED: "b",
    TREATED_A: "a",
    SLUDGE_A: "sludge-a",
    SLUDGE_B: "sludge-b",
    HUMAN: "human",
}
TREATABLE, SLUDGES = frozenset({"raw", "b", "a"}), frozenset({"sludge-a", "sludge-b"})
# Which facts stand behind an axis: these are asked where the axis leaves an answer open.
BEHIND = {
    "material": ("made_of", "tea"),
    "organic_material": ("made_of", "tea"),
    "origin": ("made_of",),
    "soiled": ("soiled_again",),
    "additive": ("has_additives", "animal_additive"),
    "water": ("water",),
    "held": ("held_over_an_hour",),
    "crop": ("seedling", "eaten_raw"),
    "soil": ("edible_part_touches_soil", "grows_in_soil"),
    "at": ("touches_edible_part", "part_is_there", "sprayed", "edible_part_touches_soil", "grows_in_soil", "in_water"),
    "after": ("touches_later", "edible_part_touches_soil", "sprayed"),
    "there": ("part_is_there",),
    "way": ("sprayed",),
    "medium": ("in_water",),
    "fish": ("fish_in_water",),
    "garden": ("garden",),
    "pigs": ("pigs",),
    "weak": ("weak_immunity",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One way in which somebody meets a tea after its use: eating, smoke, grazing, touching; or none of them."""

    name: str
    is_sure: bool  # False: not answered, so it may not be there
    asked_by: str  # the fact that would say so


def ends_of(use: UseFacts) -> tuple[End, ...]:
    """Every way in that is not ruled out by an answer; `nothing` only if all of them are."""
    # An answer that only makes sense of something eaten says that something is.
    said = (use.touches_edible_part, use.seedling, use.eaten_raw, use.rarely_raw, use.grows_in_soil and not use.smoked_or_steeped)
    eaten = None if use.edible is None else use.edible or True in said
    found = [
        End(name=name, is_sure=answer is True, asked_by=asked)
        for name, answer, asked in (
            (FOOD, eaten, "edible"),
            (BREATH, use.smoked_or_steeped, "smoked_or_steeped"),
            (GRAZE, use.grazed, "grazed"),
            (PEOPLE, use.people_on_it, "people_on_it"),
        )
        if answer is not False
    ]
    if not any(end.is_sure for end in found):
        found.append(End(name=NOTHING, is_sure=not found, asked_by="edible"))
    return tuple(found)


def axes_of(use: UseFacts, end: str) -> dict[str, frozenset[str]]:
    """The axes of the tables for one way in; an axis with several values is one that was not answered."""
    soil = _soil(use)
    return {
        "end": frozenset({end}),
        "material": _material(use),
        "organic_material": _material(replace(use, tea=use.organic_tea or use.tea)),
        "origin": _origin(use),
        "soiled": _of(use.soiled_again, "yes", "no"),
        "additive": _additive(use),
        "water": frozenset({"ok"} if use.water == SHOWN else {"bad"} if use.water == FAILS else {"ok", "bad"}),
        "held": _of(use.held_over_an_hour, "longer", "hour"),
        "test": frozenset({_test(use)}),
        "crop": frozenset({"raw"}) if end == BREATH else _crop(use) if end == FOOD else frozenset({"none"}),
        "soil": soil,
        "at": frozenset().union(*(_at(use, value) for value in soil)),
        "after": frozenset().union(*(_after(use, value) for value in soil)),
        "there": _of(use.part_is_there, "yes", "no"),
        "way": _of(use.sprayed, "spray", "pour"),
        "medium": _of(use.in_water, "water", "ground"),
        "fish": _of(use.fish_in_water, "yes", "no"),
        "garden": _of(use.garden, "yes", "no"),
        "pigs": _of(use.pigs, "yes", "no"),
        "weak": _of(use.weak_immunity, "yes", "no"),
    }


def days_of(use: UseFacts, end: str) -> tuple[str, float | None]:
    """The days that count for one way in, and the name of the fact. [d]"""
    name = {GRAZE: "days_to_grazing", PEOPLE: "days_to_people"}.get(end, "days_to_harvest")
    value: float | None = getattr(use, name)
    return name, value


def _of(answer: bool | None, yes: str, no: str) -> frozenset[str]:
    return frozenset({yes, no}) if answer is None else frozenset({yes if answer else no})


def _material(use: UseFacts) -> frozenset[str]:
    """What it was made of can only narrow or worsen what its process is said to be; not said, it may hold sludge."""
    made_of = set(use.made_of)
    if use.tea == HUMAN or "human waste" in made_of:
        return frozenset({"human"})
    if "sewage sludge" in made_of or use.tea in (SLUDGE_A, SLUDGE_B):
        return frozenset({MATERIALS[use.tea]}) if use.tea in (SLUDGE_A, SLUDGE_B) else SLUDGES
    if made_of == {"plants"} or (use.tea == PLANTS and not made_of):
        return frozenset({"plants"})
    shown = frozenset({MATERIALS[use.tea]}) if use.tea in (TREATED, TREATED_A, UNTREATED) else TREATABLE
    if made_of:
        return shown
    return shown | SLUDGES | {"human"} | (frozenset() if use.tea in (TREATED, TREATED_A, UNTREATED) else {"plants"})


def _origin(use: UseFacts) -> frozenset[str]:
    made_of = set(use.made_of)
    if not made_of:
        return frozenset({"plants"}) if use.tea == PLANTS else frozenset({"plants", "manure", "mixed", "waste"})
    if made_of & {"food waste", "fish or animal"}:
        return frozenset({"waste"})
    if made_of & {"sewage sludge", "human waste"}:
        return frozenset({"other"})
    return frozenset({"mixed" if made_of == {"plants", "manure"} else made_of.pop()})


def _additive(use: UseFacts) -> frozenset[str]:
    if use.animal_additive:
        return frozenset({"animal"})
    some = _of(use.animal_additive, "animal", "plant")
    return frozenset({"none"}) if use.has_additives is False else some if use.has_additives else some | {"none"}


def _test(use: UseFacts) -> str:
    """A test that was not made is a fact, not an open question."""
    findings = (use.e_coli, use.enterococci)
    return "fail" if FAILS in findings else "pass" if SHOWN in findings else "none"


def _crop(use: UseFacts) -> frozenset[str]:
    if use.seedling:
        return frozenset({"sprout"})
    cooked = "listed" if use.rarely_raw and on_the_list(use.crop) else "cooked"
    rest = _of(use.eaten_raw, "raw", cooked)
    return rest | {"sprout"} if use.seedling is None else rest


def _soil(use: UseFacts) -> frozenset[str]:
    if use.grows_in_soil:
        return frozenset({"in"})
    if use.edible_part_touches_soil is False:
        return frozenset({"off"})
    rest = _of(use.edible_part_touches_soil, "on", "off")
    return rest | {"in"} if use.grows_in_soil is None else rest


def _at(use: UseFacts, soil: str) -> frozenset[str]:
    """Contact when it goes on. A spray over a standing crop reaches it, and so does a drench of soil that touches it."""
    if use.touches_edible_part:
        return frozenset({"direct"})
    found: frozenset[str] = frozenset()
    if use.part_is_there is not True:
        found |= {"none"}
    if use.part_is_there is not False:
        if use.sprayed is not True:
            # What is poured on the soil as long before the harvest as raw manure is no longer on the part by then.
            found |= {"none"} if _is_long_before(use, soil) else _poured(use, soil)
        if use.sprayed is not False:
            found |= {"direct"}
    return found | {"direct"} if use.touches_edible_part is None else found


def _poured(use: UseFacts, soil: str) -> frozenset[str]:
    """Contact of what lies at or in the ground that is wetted; what lies in water is soaked by what goes into it."""
    if soil == "off":
        return frozenset({"none"})
    return frozenset({"soaked"}) if soil == "in" else _of(use.in_water, "soaked", "least")


def _is_long_before(use: UseFacts, soil: str) -> bool:
    """Whether the days for raw manure still lie ahead."""
    needed = threshold("raw-manure-days" if soil == "off" else "raw-manure-days-soil").value
    return use.days_to_harvest is not None and use.days_to_harvest >= needed


def _after(use: UseFacts, soil: str) -> frozenset[str]:
    """Contact afterwards: with soil that was wetted, or with what was sprayed on the plant."""
    if soil != "off" or use.sprayed is not False:
        return frozenset({"possible"})
    return _of(use.touches_later, "possible", "none")

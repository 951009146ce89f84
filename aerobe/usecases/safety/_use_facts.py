"""From notebook and form to what the tables ask of a use; the form can only add, and what neither says stays unknown."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import datetime, timedelta

from aerobe.notebook import Notebook, brew_history
from aerobe.records import Brew, Compost, Recipe, standing_events
from aerobe.safety import (
    NOT_SHOWN,
    UseFacts,
    animal_additive,
    animal_material,
    heat_place,
    judge_compost,
    judge_material,
    judge_tea,
)
from aerobe.usecases.brews._behind_code import recipe_and_compost
from aerobe.usecases.safety._entry import UseEntry, mist_of
from aerobe.usecases.safety._material import germs_of, material_of, own_rule_of
from aerobe.usecases.safety._notes import indicator_findings, pieces_of, place_of, water_finding
from aerobe.usecases.safety._place_entry import made_of, number_or_none, yes_or_no

MANURE = "manure"  # of MADE_OF
ONE_HOUR = 1.0  # 21 CFR 112.3: an agricultural tea is held for longer


def use_facts(notebook: Notebook, entry: UseEntry, *, now: datetime) -> UseFacts:
    """What is known of a use.

    Parameters
    ----------
    notebook
        The open notebook.
    entry
        The use as typed.
    now
        The moment asked about.

    Raises
    ------
    AerobeError
        If a field cannot be read.
    """
    record = notebook.get(Brew, entry.brew)
    recipe, compost = recipe_and_compost(notebook, record)
    noted = material_of(notebook, recipe.compost)
    foods, fed_at = _foods(notebook, record, recipe, now=now)
    e_coli, enterococci = indicator_findings(notebook, entry.brew, not_before=fed_at)
    germs, (own_days, own_test) = germs_of(notebook, entry.brew), own_rule_of(notebook)
    place = place_of(notebook)
    certificate = entry.certificate.strip() or noted.certificate
    # What was noted of the compost and what is said now are both in it.
    said = made_of(entry.made_of)
    materials = tuple(dict.fromkeys((*noted.made_of, *said, *_animal_too(compost, (*noted.made_of, *said)))))
    said_animal, named_animal = yes_or_no(entry.animal_food), animal_additive(foods)
    soiled = yes_or_no(entry.soiled)
    held_h = record.hours_at(now)
    mist = mist_of(entry)
    facts = UseFacts(
        jurisdiction=place,
        certified_organic=yes_or_no(entry.organic),
        own_days=max(own_days, number_or_none(entry.own_days) or 0.0) or None,
        own_test=own_test or yes_or_no(entry.own_test),
        tea=_kind(notebook, compost, place, materials, certificate),
        # The organic rule also asks for the carbon and nitrogen of the mix: what meets one need not meet the other.
        organic_tea=_kind(notebook, compost, "US organic", materials, certificate) if place.startswith("US") else "",
        made_of=materials,
        soiled_again=True if noted.soiled or soiled else soiled if soiled is not None else noted.soiled,
        has_additives=bool(foods),
        animal_additive=True if named_animal or said_animal else said_animal if said_animal is not None else named_animal,
        water=water_finding(notebook, recipe).state,
        held_over_an_hour=None if held_h < 0.0 else held_h > ONE_HOUR,
        e_coli=e_coli,
        enterococci=enterococci,
        salmonella=germs["salmonella"],
        listeria=germs["listeria"],
        e_coli_o157=germs["e_coli_o157"],
        crop=f"{entry.crop} {entry.place}".strip(),
        edible=yes_or_no(entry.edible),
        seedling=yes_or_no(entry.seedling),
        eaten_raw=yes_or_no(entry.raw),
        rarely_raw=yes_or_no(entry.listed),
        smoked_or_steeped=yes_or_no(entry.smoked),
        grazed=yes_or_no(entry.grazed),
        pigs=yes_or_no(entry.pigs),
        people_on_it=yes_or_no(entry.people),
        weak_immunity=yes_or_no(entry.weak),
        garden=yes_or_no(entry.garden),
        in_water=yes_or_no(entry.in_water),
        fish_in_water=yes_or_no(entry.fish_in_water),
        names_checked=yes_or_no(entry.checked),
        part_is_there=yes_or_no(entry.there),
        touches_edible_part=yes_or_no(entry.touches),
        touches_later=yes_or_no(entry.later),
        edible_part_touches_soil=yes_or_no(entry.soil),
        grows_in_soil=yes_or_no(entry.in_soil),
        days_to_harvest=number_or_none(entry.days),
        days_to_grazing=number_or_none(entry.grazing),
        days_to_people=number_or_none(entry.sitting),
        **{field.name: getattr(mist, field.name) for field in fields(mist)},
    )
    return replace(facts, tea_why=judge_tea(facts).why)


def _kind(notebook: Notebook, compost: Compost, place: str, materials: tuple[str, ...], certificate: str) -> str:
    """What a material counts as under the rules of heating of a place."""
    named = heat_place(place)
    state = judge_compost(compost, named, largest_piece_mm=pieces_of(notebook, compost.key)).state if named else NOT_SHOWN
    return judge_material(compost=state, made_of=materials, certificate=certificate)


def _animal_too(compost: Compost, said: tuple[str, ...]) -> tuple[str, ...]:
    """Manure beside plants, where the record of a compost that is said to be of plants only names animal material."""
    named = compost.animal_origin is True or animal_material(f"{compost.name}, {compost.origin}")
    return (MANURE,) if named and set(said) == {"plants"} else ()


def _foods(notebook: Notebook, record: Brew, recipe: Recipe, *, now: datetime) -> tuple[tuple[str, ...], datetime | None]:
    """What the brew was fed until now, by recipe or as it was noted, and when its food or water last changed."""
    now_h = record.hours_at(now)
    events = [item for item in standing_events(brew_history(notebook, record.key).events) if item.elapsed_h <= now_h]
    doses = [*((dose.food, dose.at_h) for dose in recipe.foods), *((item.food, item.elapsed_h) for item in events if item.food)]
    watered = [item.elapsed_h for item in events if item.what == "water added"]
    changed = max([*(at for _, at in doses if at <= now_h), *watered], default=None)
    fed_at = None if changed is None else record.started_at + timedelta(hours=changed)
    return tuple(dict.fromkeys(food for food, _ in doses)), fed_at

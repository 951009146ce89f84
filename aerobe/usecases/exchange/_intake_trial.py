"""A trial out of a table that names treatments, bottles and methods."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from aerobe.errors import NotAQuantity, NotFound
from aerobe.notebook import Notebook, Pen, ProbeColumn, RowRead
from aerobe.records import AirSupply, Arm, Assay, Brew, Compost, Recipe, Trial, Vessel
from aerobe.units import BIOMASS, COUNT
from aerobe.usecases.exchange._origin import ASSUMED, FIRST_CLOCK

# 20 fg of carbon a bacterial cell. Source: lee-fuhrman-1987. Other factors in use differ twofold; a characterised assay
# replaces it, and its uncertainty belongs to the assay's scale.
UG_CARBON_PER_CELL = 2.0e-8

_METHODS: tuple[tuple[str, str], ...] = (
    ("flow cyt", "flow cytometry"),
    ("facs", "flow cytometry"),
    ("dapi", "direct microscopy"),
    ("microscop", "direct microscopy"),
    ("direct count", "direct microscopy"),
    ("plate", "plate count"),
    ("cfu", "plate count"),
    ("mpn", "most probable number"),
    ("probable", "most probable number"),
    ("respir", "respiration"),
    ("co2", "respiration"),
    ("oxygen", "oxygen uptake"),
    ("turbid", "turbidity"),
    ("fumig", "fumigation extraction"),
    ("colour", "colour test"),
    ("color", "colour test"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMade:
    """A trial begun from a table, and which brew each label of the table means."""

    trial: str
    brews: tuple[str, ...]
    by_label: dict[str, Brew]
    notes: tuple[str, ...]
    start: str  # how the start of its brews is known: `ASSUMED`, `FIRST_CLOCK` or "" where somebody said it


@dataclass(slots=True, kw_only=True)
class AssaysMade:
    """Assays that a table names: those that are new, and which key each of its method and variable pairs has."""

    new: list[Assay] = field(default_factory=list)
    keys: dict[tuple[str, str, str], str | None] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def key_of(self, row: RowRead) -> str | None:
        """The assay of a row, or None if its quantity is none that an assay of microbes has."""
        return self.keys.get((row.assay, row.method, row.variable))


def brew_label(item: RowRead | ProbeColumn) -> str:
    """What a table calls a brew; without a name of its own, its arm with bottle and block."""
    return item.brew or " ".join(filter(None, (item.arm, item.bottle, item.block)))


def is_mean(row: RowRead) -> bool:
    """A mean over bottles is no bottle: as a brew of its own it would count the same tea twice."""
    said = f"{row.bottle} {row.brew}".lower().replace("_", " ")
    return bool(row.arm) and bool(re.search(r"\b(mean|average|avg|all|pooled)\b", said))


def wholes_of(rows: Sequence[RowRead]) -> set[tuple[str, str]]:
    """Method and unit of every count that names itself the whole (`all cells`, `total bacteria`)."""
    return {(row.method, row.unit) for row in rows if _is_whole_name(row.variable)}


def is_part(row: RowRead, wholes: set[tuple[str, str]]) -> bool:
    """Where a method counts a whole and its parts, only the whole measures the tea."""
    return bool(row.variable) and not _is_whole_name(row.variable) and (row.method, row.unit) in wholes


def trial_key(name: str) -> str:
    """The key of the trial that a table belongs to, from the name given or the file's: the same file finds its trial again."""
    return _slug(re.sub(r"\.[a-z0-9]{2,4}$", "", name, flags=re.IGNORECASE))[:24].strip("-.") or "imported"


def fold_label(label: str) -> str:
    """Labels that differ by case or underscore name the same brew."""
    return " ".join(label.lower().replace("_", " ").split())


def known_brews(notebook: Notebook, trial: str) -> dict[str, Brew]:
    """Brews by folded key, and by folded name within the trial: `Control A` of another trial is another brew."""
    brews = notebook.find(Brew)
    named = {fold_label(brew.name): brew for brew in brews if brew.trial in ("", trial)}
    return named | {fold_label(brew.key): brew for brew in brews}


def make_trial(
    notebook: Notebook,
    pen: Pen,
    items: Iterable[RowRead | ProbeColumn],
    further_arms: Iterable[str],
    *,
    key: str,
    name: str,
    started_at: datetime | None,
    now: datetime,
    who: str,
) -> TrialMade:
    """Begin a trial, or add to the one with this key: an arm and a recipe for each treatment, a brew for each bottle.

    What a table cannot say (amounts, vessel, when the air went on) is written down as not stated, never as known.
    """
    items = list(items)
    kinds = {brew_label(item): item for item in items}
    arms = dict.fromkeys([_arm_of(item) for item in kinds.values()] + [arm for arm in further_arms if arm])
    keys = _distinct_keys(arms)
    recipes = {arm: f"{key}.{keys[arm]}" for arm in arms}
    unsaid = "Imported; the table does not state it."
    start, how, begun = (started_at, "", "") if started_at else _start_of(items, now)
    _add_unknowns(pen, now, who)
    known = {recipe.key for recipe in notebook.find(Recipe)}
    for arm in arms:
        if recipes[arm] not in known:
            pen.add(
                Recipe(
                    key=recipes[arm],
                    name=arm.replace("_", " "),
                    compost="not-stated",
                    compost_g_per_l=0.0,
                    notes=unsaid + " Only the treatment's name is known.",
                ),
                at=now,
                who=who,
            )
    _add_trial(notebook, pen, key, name, {keys[arm]: recipes[arm] for arm in arms}, outcome_of(items), now, who)
    by_label: dict[str, Brew] = {}
    for label, item in kinds.items():
        arm, said = _arm_of(item), label or "brew"
        which = ".".join(filter(None, (item.bottle, item.block))) or "1"
        brew = Brew(
            key=_slug(f"{key}.{keys[arm]}.{which}"),
            name=said.replace("_", " "),
            vessel="not-stated",
            recipe=recipes[arm],
            started_at=start,
            trial=key,
            arm=keys[arm],
            block=item.block,
            notes=f"{unsaid} {begun}".strip(),
        )
        pen.add(brew, at=now, who=who)
        by_label[fold_label(said)] = brew
    notes = [f"Trial '{key}' has {len(arms)} arms and {len(by_label)} brews from this table."]
    notes.append("Recipe, vessel and temperature are not in the table: they stand as not stated; mend them where you know them.")
    return TrialMade(
        trial=key,
        brews=tuple(brew.key for brew in by_label.values()),
        by_label=by_label,
        notes=tuple(notes + ([begun] if begun else [])),
        start=how,
    )


def _arm_of(item: RowRead | ProbeColumn) -> str:
    return item.arm or item.brew or "brew"


def _start_of(items: Sequence[RowRead | ProbeColumn], now: datetime) -> tuple[datetime, str, str]:
    """When the air went on where nobody says so: never such that a result would lie in the future. How, and a word on it."""
    clocks = [clock for item in items for clock in (item.clocks if isinstance(item, ProbeColumn) else [item.clock]) if clock]
    if clocks:
        return min(clocks), FIRST_CLOCK, "When the air went on is not stated: the start is the table's first clock time."
    hours = [hour for item in items for hour in (item.elapsed_h if isinstance(item, ProbeColumn) else [item.elapsed_h])]
    last_h = max((hour for hour in hours if hour is not None), default=0.0)
    said = "The table has no clock: its last hour is taken to be the time of import."
    return now - timedelta(hours=max(0.0, last_h)), ASSUMED, said


def outcome_of(items: Sequence[RowRead | ProbeColumn]) -> str:
    """What a trial from this table is judged by: counts if nothing but counts is in it, so that no carbon is claimed."""
    units = {item.unit for item in items if isinstance(item, RowRead)}
    return "count" if units and all(_to_house(unit)[1] == "count" for unit in units) else "biomass"


def _add_trial(
    notebook: Notebook, pen: Pen, key: str, name: str, arms: dict[str, str], outcome: str, now: datetime, who: str
) -> None:
    there = next((trial for trial in notebook.find(Trial) if trial.key == key), None)
    if there is not None:
        held = {arm.key for arm in there.arms}
        more = tuple(Arm(key=arm, recipe=recipe) for arm, recipe in arms.items() if arm not in held)
        pen.change(replace(there, arms=there.arms + more), at=now, who=who, why="more arms from a table")
        return
    standards = [arm for arm in arms if re.search(r"control|standard|blank|untreated|water|without|\bnon?-", arm)][:1]
    pen.add(
        Trial(
            key=key,
            name=re.sub(r"\.[a-zA-Z0-9]{2,4}$", "", name).replace("_", " "),
            question="several against a standard" if len(arms) > 2 and standards else "two recipes",
            outcome=outcome,
            arms=tuple(Arm(key=arm, recipe=recipe, is_standard=arm in standards) for arm, recipe in arms.items()),
            design="as imported; how bottles were assigned is not stated",
            notes="Imported.",
        ),
        at=now,
        who=who,
    )


def assays_of(rows: Sequence[RowRead], known: dict[str, Assay], *, default: str) -> AssaysMade:
    """The assay of each method and variable in a table; new ones where the notebook has none.

    Raises
    ------
    NotFound
        If the person named an assay that the notebook does not have.
    """
    made = AssaysMade()
    if default and default not in known:
        raise NotFound(f"The notebook has no assay '{default}'.", "Name one it has, or leave the table to name its own.")
    for row in _first_of_each(rows):
        where = row.assay, row.method, row.variable
        label = row.assay or " ".join(filter(None, (row.method, row.variable)))
        if row.assay in known or not label:
            made.keys[where] = row.assay if row.assay in known else default or _plain_assay(row, known, made)
            continue
        made.keys[where] = _new_assay(row, label, known, made)
    return made


def _plain_assay(row: RowRead, known: dict[str, Assay], made: AssaysMade) -> str | None:
    """A table that names no assay at all: one of its unit, if its results have a unit that says what they are."""
    return _new_assay(row, f"imported {row.unit}".strip(), known, made) if row.unit else None


def _new_assay(row: RowRead, label: str, known: dict[str, Assay], made: AssaysMade) -> str | None:
    factor, basis = _to_house(row.unit)
    if factor is None:
        return None
    key = _slug(label)
    if key in known:
        return key
    said = label.replace("_", " ")
    quantity = "fungi" if "fung" in said.lower() else "bacteria" if basis == "count" else "biomass"
    assay = Assay(key=key, name=said, method=_method(said), quantity=quantity, unit=row.unit, to_house=factor)
    if key not in {item.key for item in made.new}:
        made.new.append(assay)
        if basis == "count":
            made.why[key] = "counts to carbon by 20 fg C a cell (lee-fuhrman-1987)"
            made.notes.append(
                f"'{said}' counts cells: 20 fg of carbon a cell is taken (Lee & Fuhrman 1987) until you characterise it."
            )
    return key


def _to_house(unit: str) -> tuple[float | None, str]:
    """ug C/mL for one unit of a result, and whether it is a count; None if the unit is no amount of microbes."""
    try:
        return BIOMASS.convert(1.0, unit), "mass"
    except NotAQuantity:
        pass
    try:
        return COUNT.convert(1.0, unit) * UG_CARBON_PER_CELL, "count"
    except NotAQuantity:
        return None, ""


def _method(label: str) -> str:
    folded = label.lower().replace("_", " ")
    return next((method for mark, method in _METHODS if mark in folded), "other")


def _is_whole_name(variable: str) -> bool:
    return bool(re.match(r"(all|total|whole)\b", variable.lower().replace("_", " ")))


def _first_of_each(rows: Sequence[RowRead]) -> list[RowRead]:
    firsts: dict[tuple[str, str, str, str], RowRead] = {}
    for row in rows:
        firsts.setdefault((row.assay, row.method, row.variable, row.unit), row)
    return list(firsts.values())


def _add_unknowns(pen: Pen, now: datetime, who: str) -> None:
    pen.add(Compost(key="not-stated", name="not stated"), at=now, who=who)
    pen.add(
        Vessel(
            key="not-stated",
            name="not stated (1 L, still air, assumed)",
            volume_l=1.0,
            depth_m=0.1,
            air=AirSupply(flow_l_per_min=0.0, diffuser="none"),
        ),
        at=now,
        who=who,
    )


def _distinct_keys(arms: Iterable[str]) -> dict[str, str]:
    keys: dict[str, str] = {}
    for arm in arms:
        stem, number = _slug(arm)[:40], 2
        key = stem
        while key in keys.values():
            key, number = f"{stem}-{number}", number + 1
        keys[arm] = key
    return keys


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9.]+", "-", text.lower()).strip("-.")[:80] or "unnamed"

"""A trial out of a table that names treatments, bottles and doses."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aerobe.inference import TEMPERATURE_DEGC
from aerobe.notebook import Notebook
from aerobe.records import BREW_GUESSES, UNSTATED_AIR, AirSupply, Arm, Brew, Compost, Recipe, Trial, Vessel
from aerobe.tables import ProbeColumn, RowRead
from aerobe.usecases.brews._started import ASSUMED
from aerobe.usecases.exchange._intake_assays import to_house
from aerobe.usecases.exchange._origin import FIRST_CLOCK, TakingIn

NOT_STATED, SEALED = "not-stated", "sealed-not-stated"
SEALED_SAID, OPEN_SAID, AERATED_SAID, UNKNOWN_SAID = (
    "sealed: no air comes in",
    "open, standing still",
    "aerated, transfer not known",
    "not known",
)
Item = RowRead | ProbeColumn


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMade:
    """A trial begun from a table, and which brew each label of the table means."""

    trial: str
    brews: tuple[str, ...]
    by_label: dict[str, Brew]
    notes: tuple[str, ...]
    start: str  # how the start of its brews is known: `ASSUMED`, `FIRST_CLOCK` or "" where somebody said it


def fold_label(label: str) -> str:
    """Labels that differ by case or underscore name the same brew."""
    return " ".join(label.lower().replace("_", " ").split())


def wholes_of(rows: Sequence[RowRead]) -> set[tuple[str, str]]:
    """Method and unit of every count that names itself the whole (`all cells`, `total bacteria`)."""
    return {(row.method, row.unit) for row in rows if _is_whole_name(_variable(row))}


def is_part(row: RowRead, wholes: set[tuple[str, str]]) -> bool:
    """Where a method counts a whole and its parts, only the whole measures the tea."""
    said = _variable(row)
    return bool(said) and not _is_whole_name(said) and (row.method, row.unit) in wholes and _shares_noun(said)


def _variable(row: RowRead) -> str:
    return row.variable or row.measured


def _is_whole_name(variable: str) -> bool:
    return bool(re.match(r"(all|total|whole)\b", variable.lower().replace("_", " ")))


def _shares_noun(variable: str) -> bool:
    """Parts are named as cells of a kind; fungi beside total bacteria are no part of them."""
    return not re.search(r"fung|yeast|pilz|protozoa|ciliate|flagellate|amoeb|nematode", variable.lower())


def trial_key(name: str) -> str:
    """The key of the trial that a table belongs to, from the name given or the file's: the same file finds its trial again."""
    return _slug(re.sub(r"\.[a-z0-9]{2,4}$", "", name, flags=re.IGNORECASE))[:24].strip("-.") or "imported"


def known_brews(notebook: Notebook, trial: str) -> dict[str, Brew]:
    """Brews by folded key, and by name or code on the label within the trial: `Control A` of another trial is another brew."""
    brews = notebook.find(Brew)
    coded = {fold_label(brew.blind_code): brew for brew in brews if brew.blind_code and brew.trial == trial}
    named = {fold_label(brew.name): brew for brew in brews if brew.trial in ("", trial)}
    return coded | named | {fold_label(brew.key): brew for brew in brews}


def make_trial(
    table: TakingIn,
    items: Iterable[Item],
    further_arms: Iterable[str],
    *,
    key: str,
    name: str,
    started_at: datetime | None,
    temperatures: dict[str, float],
    transfer: str,
) -> TrialMade:
    """Begin a trial, or add to the one with this key: an arm and a recipe for each treatment, a brew for each bottle.

    What a table cannot say (amounts, vessel, when the air went on) is written down as not stated, never as known.
    """
    items = list(items)
    kinds = {item.label: item for item in items}
    arms = dict.fromkeys([arm_of(item) for item in kinds.values()] + [arm for arm in further_arms if arm])
    keys = _distinct_keys(arms)
    recipes = {arm: f"{key}.{keys[arm]}" for arm in arms}
    unsaid = "Imported; the table does not state it."
    start, how, begun = (started_at, "", "") if started_at else _start_of(items, table.now)
    vessel = _add_unknowns(table, transfer)
    known = {recipe.key for recipe in table.notebook.find(Recipe)}
    for arm in arms:
        if recipes[arm] not in known:
            why = unsaid + " Only the treatment's name is known."
            recipe = Recipe(key=recipes[arm], name=arm.replace("_", " "), compost=NOT_STATED, compost_g_per_l=0.0, notes=why)
            table.add(recipe)
    doses = _doses_of(kinds.values(), keys)
    _add_trial(table, key, name, {keys[arm]: recipes[arm] for arm in arms}, doses, outcome_of(items))
    by_label: dict[str, Brew] = {}
    taken: set[str] = set()
    for label, item in kinds.items():
        arm, said = arm_of(item), label or "brew"
        labels = item.labels
        which = ".".join(filter(None, (labels.brew if labels.arm else "", labels.bottle, labels.block, labels.experiment))) or "1"
        brew = Brew(
            key=_free(_slug(f"{key}.{keys[arm]}.{which}"), taken),
            name=said.replace("_", " "),
            vessel=vessel,
            recipe=recipes[arm],
            started_at=start,
            temperature_degc=temperatures.get(label, TEMPERATURE_DEGC.middle),
            guessed=() if label in temperatures else BREW_GUESSES,
            trial=key,
            arm=keys[arm],
            block=" ".join(filter(None, (labels.experiment, labels.block))),
            notes=f"{unsaid} {begun}".strip(),
        )
        table.add(brew)
        by_label[fold_label(label)] = brew
    notes = [f"Trial '{key}' has {len(arms)} arms and {len(by_label)} brews from this table."]
    unstated = "Recipe and vessel are" if temperatures else "Recipe, vessel and temperature are"
    notes.append(f"{unstated} not in the table: they stand as not stated; mend them where you know them.")
    return TrialMade(
        trial=key,
        brews=tuple(brew.key for brew in by_label.values()),
        by_label=by_label,
        notes=tuple(notes + ([begun] if begun else [])),
        start=how,
    )


def arm_of(item: Item) -> str:
    """The treatment of a row; a brew without one is its own."""
    return item.labels.treatment or item.labels.brew or "brew"


def _doses_of(items: Iterable[Item], keys: dict[str, str]) -> dict[str, float]:
    found: dict[str, float] = {}
    for item in items:
        match = re.search(r"(\d+(?:\.\d+)?(?:e[+-]?\d+)?)(?!.*\d)", item.labels.dose)
        if match:
            found[keys[arm_of(item)]] = float(match[1])
    return found


def _start_of(items: Sequence[Item], now: datetime) -> tuple[datetime, str, str]:
    """When the air went on where nobody says so: never such that a result would lie in the future. How, and a word on it."""
    clocks = [clock for item in items for clock in (item.clocks if isinstance(item, ProbeColumn) else [item.clock]) if clock]
    if clocks:
        return min(clocks), FIRST_CLOCK, "When the air went on is not stated: the start is the table's first clock time."
    hours = [hour for item in items for hour in (item.elapsed_h if isinstance(item, ProbeColumn) else [item.elapsed_h])]
    last_h = max((hour for hour in hours if hour is not None), default=0.0)
    said = "The table has no clock: its last hour is taken to be the time of import."
    return now - timedelta(hours=max(0.0, last_h)), ASSUMED, said


def outcome_of(items: Sequence[Item]) -> str:
    """What a trial from this table is judged by: counts if nothing but counts is in it, so that no carbon is claimed."""
    units = {item.unit for item in items if isinstance(item, RowRead)}
    return "count" if units and all(to_house(unit)[1] == "count" for unit in units) else "biomass"


def _add_trial(table: TakingIn, key: str, name: str, arms: dict[str, str], doses: dict[str, float], outcome: str) -> None:
    there = next((trial for trial in table.notebook.find(Trial) if trial.key == key), None)
    if there is not None:
        held = {arm.key for arm in there.arms}
        more = tuple(Arm(key=arm, recipe=recipe, dose=doses.get(arm)) for arm, recipe in arms.items() if arm not in held)
        table.pen.change(replace(there, arms=there.arms + more), at=table.now, who=table.who, why="more arms from a table")
        return
    standards = [arm for arm in arms if re.search(r"control|standard|blank|untreated|water|without|\bnon?-", arm)][:1]
    standards = standards or [arm for arm in arms if doses.get(arm) == 0.0][:1]
    series = len(doses) > 2 and len(doses) == len(arms)
    several = len(arms) > 2 and standards
    table.add(
        Trial(
            key=key,
            name=re.sub(r"\.[a-zA-Z0-9]{2,4}$", "", name).replace("_", " "),
            question="dose series" if series else "several against a standard" if several else "two recipes",
            outcome=outcome,
            arms=tuple(
                Arm(key=arm, recipe=recipe, is_standard=arm in standards, dose=doses.get(arm)) for arm, recipe in arms.items()
            ),
            design="as imported; how bottles were assigned is not stated",
            notes="Imported.",
        )
    )


def _add_unknowns(table: TakingIn, transfer: str) -> str:
    """The compost and the vessel of brews whose table states none; gives the vessel's key."""
    table.add(Compost(key=NOT_STATED, name="not stated"))
    sealed = transfer == SEALED_SAID
    aerated = transfer == AERATED_SAID
    key = SEALED if sealed else "aerated-not-stated" if aerated else "open-not-stated" if transfer == OPEN_SAID else NOT_STATED
    names = {
        SEALED: "sealed, size not stated (1 L assumed; no air comes in)",
        "aerated-not-stated": "aerated, size and air not stated (1 L, 0.1 L/min, assumed)",
        "open-not-stated": "open and still, size not stated (1 L assumed)",
        NOT_STATED: "not stated (1 L, still air, assumed)",
    }
    still = AirSupply(flow_l_per_min=0.0, diffuser="none", kla_per_h=0.0 if sealed else None)
    air = UNSTATED_AIR.get(key, still)
    table.add(Vessel(key=key, name=names[key], volume_l=1.0, depth_m=0.1, air=air))
    return key


def _free(stem: str, taken: set[str]) -> str:
    key, number = stem, 2
    while key in taken:
        key, number = f"{stem}-{number}", number + 1
    taken.add(key)
    return key


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

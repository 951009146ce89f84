"""What many people found: trials of others taken in, weighed with one's own, and all their brews pooled."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.charts import Picture, weighed_pictures
from aerobe.errors import ImportFault, NotEnoughData, NotFound
from aerobe.evidence import (
    ManyPool,
    TrialContrast,
    Weighed,
    contrasts_from_table,
    evidence_hash,
    notes_of,
    weigh,
)
from aerobe.notebook import Notebook
from aerobe.records import Recipe, Trial, as_plain, from_plain
from aerobe.usecases.evidence._making import own_evidence, trials_of
from aerobe.usecases.exchange._packages import import_package
from aerobe.usecases.reports._publishing import empty_notebook

KIND = "evidence"
MANY_KIND = "evidence brews"
REPORT = "report"  # what a package's report was told, such as that its data are invented
OWN_PLACE = "own notebook"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenEvidence:
    """What came in: contrasts that were new, how many were known, and trials that say nothing, with the reason."""

    new: tuple[TrialContrast, ...]
    known: int
    silent: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The evidence on a pair of recipes with its pictures."""

    weighed: Weighed
    notes: tuple[str, ...]  # checks and reasons beside the answer
    pictures: tuple[Picture, ...]


def take_evidence(
    notebook: Notebook,
    content: bytes,
    name: str,
    *,
    now: datetime,
    site: str = "",
    who: str = "",
) -> TakenEvidence:
    """Take in the trials of a data package, or contrasts typed from papers as a table.

    The package's records do not enter the person's own records: only what its trials show is kept.

    Parameters
    ----------
    content, name
        Of the file; a name ending in .zip is a package.
    site
        What to call the place it comes from; the mark of its notebook if left out.

    Raises
    ------
    ImportFault
        If the file is refused.
    """
    if content[:2] == b"PK":
        found, many, silent = _of_package(content, site, now)
    else:
        try:
            found, many, silent = list(contrasts_from_table(content.decode("utf-8-sig"))), [], []
        except UnicodeDecodeError:
            raise ImportFault(f"{name} is neither a data package nor a text table.", "Save the table as CSV in UTF-8.") from None
    held = {_stamp(item) for item in kept_evidence(notebook)}
    new = [item for item in found if _stamp(item) not in held]
    with notebook.writing() as pen:
        for item in new:
            pen.keep(KIND, subject_of(item.key), as_plain(item), at=now, who=who)
        for lines in many if new else []:
            pen.keep(MANY_KIND, subject_of(lines["trial"]), lines, at=now, who=who)
    return TakenEvidence(new=tuple(new), known=len(found) - len(new), silent=tuple(silent))


def kept_evidence(notebook: Notebook) -> tuple[TrialContrast, ...]:
    """Contrasts taken in from others."""
    return tuple(from_plain(TrialContrast, item.payload) for item in notebook.kept(KIND))


def all_evidence(notebook: Notebook) -> tuple[tuple[TrialContrast, ...], tuple[str, ...]]:
    """Own trials and those of others; and own trials that say nothing yet, with the reason."""
    own, _, silent = own_evidence(notebook, OWN_PLACE, asks=False)  # a trial that was not judged is not looked at here
    return (*own, *kept_evidence(notebook)), tuple(silent)


def evidence_pairs(notebook: Notebook) -> tuple[tuple[str, str, str, int], ...]:
    """Pairs of recipes with their outcome and number of trials, most first."""
    found, _ = all_evidence(notebook)
    count = Counter((*sorted((item.recipe, item.against)), item.outcome) for item in found)
    named = {(*sorted((item.recipe, item.against)), item.outcome): (item.recipe, item.against) for item in reversed(found)}
    return tuple((*named[key], key[2], number) for key, number in sorted(count.items(), key=lambda pair: (-pair[1], pair[0])))


def weigh_evidence(
    notebook: Notebook,
    recipe: str,
    against: str,
    *,
    outcome: str = "biomass",
    margin_ratio: float = 1.25,
) -> Answer:
    """What all trials together say of one recipe against another.

    Raises
    ------
    NotEnoughData
        If no trial and no chain of trials speaks of them.
    NotFound
        If no trial is about one of the recipes.
    """
    found, silent = all_evidence(notebook)
    names = {item.recipe for item in found} | {item.against for item in found}
    recipe, against = (_as_written(notebook, name, names) for name in (recipe, against))
    for name in (recipe, against):
        if name not in names:
            raise NotFound(f"No trial is about '{name}'.", f"Recipes with trials: {', '.join(sorted(names)) or 'none yet'}.")
    weighed = weigh(found, recipe, against, outcome=outcome, margin_ratio=margin_ratio)
    own = [f"Trial {trial.key} says nothing yet" for trial in trials_of(notebook, recipe, against)]
    notes = (*notes_of(weighed), *(line for line in silent if line.startswith(tuple(own))))
    return Answer(weighed=weighed, notes=notes, pictures=weighed_pictures(weighed))


def _as_written(notebook: Notebook, recipe: str, names: set[str]) -> str:
    """A recipe as trials name it: by its name whatever its capitals, or by the key that it has in this notebook."""
    if recipe in names:
        return recipe
    known = {name.casefold(): name for name in sorted(names)}
    own = {item.key: item.name for item in notebook.find(Recipe)}
    return known.get(recipe.casefold(), known.get(own.get(recipe, "").casefold(), recipe))


def flags_by_words(weighed: Weighed) -> dict[str, list[str]]:
    """Each weakness with the trials that have it: what weakens first, what is merely not told after it."""
    found: dict[str, list[str]] = {}
    for flag in sorted(weighed.flags, key=lambda one: one.severity == "note"):
        if flag.trial not in found.setdefault(flag.words, []):
            found[flag.words].append(flag.trial)
    return found


def pool_all_brews(notebook: Notebook, *, reference: str = "", outcome: str = "biomass", on_gpu: bool = False) -> ManyPool:
    """Every brew of own and imported trials in one hierarchical model.

    Parameters
    ----------
    reference
        Recipe to compare with; the one in most trials if left out.
    outcome
        Trials judged by it.
    on_gpu
        Run on a GPU through cupy.

    Raises
    ------
    NotEnoughData
        If there is no brew to pool.
    """
    import numpy as np

    from aerobe.evidence import ManyBrews, array_module, pool_brews

    _, own, _ = own_evidence(notebook, OWN_PLACE, asks=False)
    lots = [lot for lot in [*own, *(item.payload for item in notebook.kept(MANY_KIND))] if lot["outcome"] == outcome]
    unique = {lot["data_hash"]: lot for lot in reversed(lots)}
    rows = [(f"{lot['site']}/{lot['trial']}", *row) for lot in unique.values() for row in lot["brews"]]
    if not rows:
        raise NotEnoughData("There is no brew to pool.", "Finish a trial, or take in packages of others.")
    columns = list(zip(*rows, strict=True))
    warm = np.array(columns[4], dtype=float)
    moderators = {"temperature_degc": warm} if np.ptp(warm) > 0.5 else {}
    return pool_brews(
        ManyBrews(
            outcome=np.array(columns[2], dtype=float),
            variance=np.array(columns[3], dtype=float),
            trial=columns[0],
            recipe=columns[1],
            moderators=moderators,
        ),
        reference=_as_written(notebook, reference, set(columns[1])) if reference else "",
        xp=array_module("cupy" if on_gpu else "numpy"),
    )


def _of_package(content: bytes, site: str, now: datetime) -> tuple[list[TrialContrast], list[dict[str, Any]], list[str]]:
    with empty_notebook(now) as copy:
        origin = import_package(copy, content, now=now).origin
        site = site or (f"notebook-{origin[:8]}" if origin else f"package-{evidence_hash(content.hex())[:8]}")
        found, lots, silent = own_evidence(copy, site, sent=origin, now=now)
        told = any(_told_invented(item.payload) for item in copy.kept(REPORT))
        # What is exported as it stands has its names alone to say so.
        names = [trial.name for trial in copy.find(Trial)] + [recipe.name for recipe in copy.find(Recipe)]
        is_invented = told or any("(invented)" in name for name in names)
        return [replace(item, invented=is_invented) for item in found], lots, silent


def _told_invented(payload: object) -> bool:
    """Whether a package's report was told that its data are made up; a stranger's payload may be anything."""
    options = payload.get("options") if isinstance(payload, dict) else None
    return isinstance(options, dict) and bool(options.get("invented"))


def _stamp(item: TrialContrast) -> tuple[str, ...]:
    if item.data_hash:
        return item.data_hash, item.outcome, f"{item.effect:.9g}"
    return item.key, item.site, item.recipe, item.against, item.outcome, f"{item.effect:.9g}", f"{item.variance:.9g}"


def subject_of(key: str) -> str:
    """Keys from tables are free text; the notebook's subjects are short."""
    return "".join(sign if sign.isalnum() or sign in "-_." else "-" for sign in key)[:80] or "trial"

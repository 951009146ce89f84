"""Own trials beside those of others: what a report and a site take along, and what they say together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from aerobe.evidence import TrialContrast, Weighed, flags, sites_of, weigh
from aerobe.notebook import Notebook
from aerobe.records import as_plain
from aerobe.usecases.evidence._making import own_evidence
from aerobe.usecases.evidence._pooling import KIND, OWN_PLACE, kept_evidence, subject_of


def copy_evidence(notebook: Notebook, copy: Notebook, *, now: datetime, with_people: bool) -> None:
    """Evidence of others on the recipes of the trials in `copy`, so that a report can show the pooled view."""
    own, _, _ = own_evidence(copy, "")
    pairs = {frozenset((item.recipe, item.against)) for item in own}
    for item in kept_evidence(notebook) if with_people else numbered_places(kept_evidence(notebook)):
        if frozenset((item.recipe, item.against)) in pairs:
            copy.keep(KIND, subject_of(item.key), as_plain(item), at=now)


def numbered_places(items: Sequence[TrialContrast]) -> tuple[TrialContrast, ...]:
    """The same trials with numbers for their places: trials of one place keep one voice, and those of no place their own."""
    told = sites_of(items)
    others = dict.fromkeys(name for name, item in zip(told, items, strict=True) if item.site != OWN_PLACE)
    numbers = {name: f"place {place}" for place, name in enumerate(others, start=1)}
    return tuple(
        item if item.site == OWN_PLACE else replace(item, site=numbers[name]) for name, item in zip(told, items, strict=True)
    )


def weighed_with_others(copy: Notebook) -> tuple[Weighed, ...]:
    """Each pair of recipes of the own trials, weighed with what others found of it; nothing if others found nothing."""
    others = kept_evidence(copy)
    own, _, _ = own_evidence(copy, OWN_PLACE)
    pairs = dict.fromkeys((item.recipe, item.against, item.outcome) for item in own)
    return tuple(
        weigh((*own, *others), recipe, against, outcome=outcome)
        for recipe, against, outcome in pairs
        if any({item.recipe, item.against} == {recipe, against} and item.outcome == outcome for item in others)
        and any(_usable(item) for item in (*own, *others) if {item.recipe, item.against} == {recipe, against})
    )


def _usable(item: TrialContrast) -> bool:
    return all(flag.severity != "leaves it out" for flag in flags(item))

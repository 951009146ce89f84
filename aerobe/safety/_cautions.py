"""The usual cautions: a short line where the decision is made, the full text one tap away."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from aerobe.errors import NotFound
from aerobe.safety._thresholds import tables

OCCASIONS = (
    "brewing",
    "harvest",
    "spraying",
    "pouring",
    "edible",
    "compost",
    "chemicals",
    "sanitising",
    "re-aeration",
    "sampling",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution."""

    key: str
    when: tuple[str, ...]  # occasions
    short: str
    full: str
    source: str
    date: str


@cache
def all_cautions() -> tuple[Caution, ...]:
    """Every caution, in the order in which they are to be read."""
    return tuple(
        Caution(key=key, when=tuple(fields.pop("when")), **fields)
        for key, fields in ((key, dict(fields)) for key, fields in tables("cautions").items())
    )


def cautions(*occasions: str) -> tuple[Caution, ...]:
    """The cautions that belong to any of these occasions, each once.

    Parameters
    ----------
    occasions
        Of `OCCASIONS`; none for all.

    Returns
    -------
    tuple of Caution
        Short and full text with its source.

    Raises
    ------
    NotFound
        If an occasion is not known: a slip must not make a caution vanish.

    Source
    ------
    worksafe-qld-legionella, ingram-millner-2007, aerobe-cautious-choice
    """
    for occasion in occasions:
        if occasion not in OCCASIONS:
            raise NotFound(f"There is no occasion '{occasion}'.", f"Use some of: {', '.join(OCCASIONS)}.")
    return tuple(item for item in all_cautions() if not occasions or set(occasions) & set(item.when))

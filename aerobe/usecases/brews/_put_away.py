"""Out of sight, not gone: brews, recipes, vessels and tests that a person has put away, and back again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import NotFound
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Assay, Brew, Recipe, Vessel
from aerobe.usecases.brews._held import cached, held_by

CAN_BE_PUT_AWAY: dict[str, type[Brew] | type[Recipe] | type[Vessel] | type[Assay]] = {
    "brew": Brew,
    "recipe": Recipe,
    "vessel": Vessel,
    "assay": Assay,
}


def put_away(notebook: Notebook) -> frozenset[tuple[str, str]]:
    """What is put away now, as pairs of noun and key."""

    def read() -> frozenset[tuple[str, str]]:
        kept = [(noun, item) for noun in CAN_BE_PUT_AWAY for item in notebook.kept(_kind(noun))]
        last = {(noun, item.subject): bool(item.payload["away"]) for noun, item in kept}
        return frozenset(pair for pair, away in last.items() if away)

    return cached(notebook, ("put away",), held_by(notebook).version_of(*map(_kind, CAN_BE_PUT_AWAY)), read)


@dataclass(frozen=True, slots=True, kw_only=True)
class PutAway:
    """One thing that is put away: what it is, its name, and where its page and its form are."""

    noun: str
    key: str
    name: str
    what: str


def things_put_away(notebook: Notebook) -> tuple[PutAway, ...]:
    """Everything that is put away, by name."""
    words = {"assay": "test"}
    found = [
        PutAway(noun=noun, key=key, name=notebook.get(CAN_BE_PUT_AWAY[noun], key).name, what=words.get(noun, noun))
        for noun, key in put_away(notebook)
    ]
    return tuple(sorted(found, key=lambda item: (item.name.lower(), item.key)))


def put_away_or_back(notebook: Notebook, noun: str, key: str, *, away: bool, now: datetime, who: str = "") -> Receipt:
    """Put something away, or bring it back. It stays in the notebook, and whatever names it goes on as before.

    Raises
    ------
    NotFound
        If there is no such thing.
    """
    if noun not in CAN_BE_PUT_AWAY:
        raise NotFound(f"'{noun}' is nothing that can be put away.", f"Use one of: {', '.join(CAN_BE_PUT_AWAY)}.")
    notebook.get(CAN_BE_PUT_AWAY[noun], key)
    return notebook.keep(_kind(noun), key, {"away": away}, at=now, who=who)


def _kind(noun: str) -> str:
    return f"put away {noun}"

"""The register of hazards: what can hurt whom, the caution, and where the tool decides on it or shows it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from aerobe.safety._cautions import Caution, all_cautions
from aerobe.safety._thresholds import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One hazard of brewing, testing and using tea."""

    key: str
    name: str
    harm: str  # what can happen
    who: str  # those most at risk
    caution: Caution
    gates: tuple[str, ...]  # names of the gates that decide on it; () where none does
    shown: tuple[str, ...]  # pages ("/...") and commands that show its line; {brew} and {compost} stand for keys
    source: str
    date: str  # when the entry was last looked at
    words: str = ""  # the line at those places, where it is not the caution's own

    @property
    def line(self) -> str:
        """The line that stands at each place."""
        return self.words or self.caution.short


@cache
def all_hazards() -> tuple[Hazard, ...]:
    """Every hazard on file, in the order in which they are to be read."""
    known = {item.key: item for item in all_cautions()}
    return tuple(
        Hazard(
            key=key,
            name=entry["name"],
            harm=entry["harm"],
            who=entry["who"],
            caution=known[entry["caution"]],
            gates=tuple(entry["gates"]),
            shown=tuple(entry["shown"]),
            source=entry["source"],
            date=entry["date"],
            words=entry.get("words", ""),
        )
        for key, entry in tables("hazards").items()
    )

"""What happens to a brew between its start and its harvest: air off and on, food, water, a part drawn off, warmth."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.records._checks import require_between, require_key, require_one_of

# What a number beside the event means, with its unit in the house; None: the event has no number.
EVENTS: dict[str, str | None] = {
    "air off": None,
    "air on": None,
    "air kept running": None,  # from elapsed_h to until_h, whatever a log looks like
    "air flow": "L/min",
    "food": "g/L",  # as bought, per litre of brew at that time
    "water added": "L",
    "drawn off": "L",
    "temperature": "degC",  # expected from then on, where no thermometer says otherwise
    "taken back": None,  # the event named in `takes_back` was entered by mistake
}
_LIMITS = {"air flow": (0.0, 1e6), "food": (0.0, 500.0), "water added": (0.0, 1e6), "drawn off": (0.0, 1e6)}


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewEvent:
    """One thing that happened to a brew. It is never changed: a mistake is taken back by another event that names it."""

    key: str
    brew: str
    what: str  # one of EVENTS
    elapsed_h: float  # since aeration began [h]
    amount: float | None = None  # in the unit that EVENTS gives for it
    food: str = ""  # key of the food library, for "food"
    until_h: float | None = None  # end, for "air kept running" [h]
    takes_back: str = ""  # key of an earlier event, for "taken back"
    typed_as: str = ""  # what the person entered
    notes: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "event")
        require_one_of(self.what, tuple(EVENTS), "event of a brew")
        require_between(self.elapsed_h, 0.0, 10000.0, "The time of an event", "h")
        unit = EVENTS[self.what]
        if unit is not None:
            if self.amount is None:
                raise UnusableRecord(f"'{self.what}' has no amount.", f"Give it in {unit}.")
            low, high = _LIMITS.get(self.what, (1.0, 45.0))
            require_between(self.amount, low, high, self.what.capitalize(), unit)
        if self.what == "food":
            require_key(self.food, "food")
        if self.what == "taken back":
            require_key(self.takes_back, "event")
        if self.what == "air kept running" and (self.until_h is None or not self.elapsed_h < self.until_h < math.inf):
            raise UnusableRecord("It is not clear how long the air kept running.", "Give the end as well, after the start.")

    def says(self) -> str:
        """The event in words, without its time."""
        if self.what == "food":
            return f"{self.amount:g} g/L {self.food} added"
        unit = EVENTS[self.what]
        words = {"air flow": "air flow set to", "drawn off": "drawn off:", "water added": "water added:"}.get(
            self.what, self.what
        )
        if self.what == "air kept running":
            return f"air kept running until {self.until_h:g} h"
        return words if unit is None else f"{words} {self.amount:g} {unit}"


def standing_events(events: tuple[BrewEvent, ...] | list[BrewEvent]) -> tuple[BrewEvent, ...]:
    """Events in order of time, without those that were taken back and without the taking back."""
    gone = {item.takes_back for item in events if item.what == "taken back"}
    kept = [item for item in events if item.what != "taken back" and item.key not in gone]
    return tuple(sorted(kept, key=lambda item: item.elapsed_h))

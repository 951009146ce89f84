"""What a brewer notes of smell and air, and how it is read: when it was noted is part of the answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook, Receipt, brew_history
from aerobe.records import Brew, BrewEvent, Harvest, standing_events
from aerobe.safety import threshold
from aerobe.usecases.notebook._moments import elapsed_from


def note_smell(notebook: Notebook, brew: str, smell: str, *, now: datetime, who: str = "", token: str = "") -> Receipt:
    """Keep what a brew smells of now.

    Raises
    ------
    UnusableRecord
        If nothing is written.
    """
    notebook.get(Brew, brew)
    if not smell.strip():
        raise UnusableRecord("The smell is empty.", "Write what it smells of: earthy, none, sour ...")
    return notebook.keep("smell", brew, {"smell": smell.strip()}, at=now, who=who, token=token)


@dataclass(frozen=True, slots=True, kw_only=True)
class Smelt:
    """What a brew smelt of, and when."""

    words: str | None  # None: not noted
    at_h: float | None  # on the brew's clock [h]


def smell_of_brew(notebook: Notebook, record: Brew, end: Harvest | None, *, now: datetime) -> Smelt:
    """The smell noted at harvest, or lately; an old note says nothing about now. A bad one is not outlived by the harvest's."""
    kept = notebook.latest("smell", record.key)
    fresh = kept is not None and 0.0 <= (now - kept.at).total_seconds() / 3600.0 <= threshold("recent-oxygen").value
    late = str(kept.payload.get("smell", "")) if fresh and kept is not None and isinstance(kept.payload, dict) else ""
    noted = end.smell if end is not None and end.smell != "not noted" else ""
    at_h = record.hours_at(kept.at) if late and kept is not None else end.elapsed_h if noted and end is not None else None
    return Smelt(words="; ".join(text for text in (noted, late) if text) or None, at_h=at_h)


def note_air(
    notebook: Notebook,
    brew: str,
    *,
    now: datetime,
    unbroken: bool | None = None,
    restarted: str = "",
    who: str = "",
    token: str = "",
) -> Receipt:
    """Keep whether the air of a brew has run without a break until now, or when it was started again after the harvest.

    Parameters
    ----------
    notebook
        The open notebook.
    brew
        Key of the brew.
    now
        Time of the entry.
    unbroken
        Whether the air ran without a break until now; None where that is not answered.
    restarted
        When the air was started again: a clock time or hours since the first start; empty where it was not.
    who, token
        Who enters it; name of this entry.

    Raises
    ------
    UnusableRecord
        If neither is answered, or the air was started again before it stopped, or in the future.
    """
    record = notebook.get(Brew, brew)
    if unbroken is None and not restarted.strip():
        raise UnusableRecord("Nothing is noted of the air.", "Say whether it ran without a break, or when it was started again.")
    restarted_h = elapsed_from(restarted, record, now=now) if restarted.strip() else None
    if restarted_h is not None:
        ends = notebook.find(Harvest, of=brew)
        if not ends or not ends[0].elapsed_h <= restarted_h <= record.hours_at(now):
            raise UnusableRecord(
                "The air cannot have been started again then.",
                "Give a time after the recorded harvest and not in the future; without a harvest note whether it ran unbroken.",
            )
    kept = {"unbroken": unbroken, "restarted_h": restarted_h}
    return notebook.keep("air", brew, kept, at=now, who=who, token=token)


Stop = tuple[float, float | None]  # since when the air was off, and until when; None: it still is [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """What is noted of a brew's air: by answers, by events, and by its harvest."""

    unbroken: bool | None  # None: not answered
    answered_at_h: float  # when, on the brew's clock [h]
    stops: tuple[Stop, ...]  # every time without air that is more than brief, in order [h]

    @property
    def judged(self) -> Stop | None:
        """The stop that stands for all: the one that lasts, else the longest; None where the air ran throughout."""
        if self.stops and self.stops[-1][1] is None:
            return self.stops[-1]
        return max(self.stops, key=lambda stop: (stop[1] or 0.0) - stop[0], default=None)

    @property
    def restarted_h(self) -> float | None:
        """When the air was last started again, also where it is off once more; None where it never was. [h]"""
        return max((on for _, on in self.stops if on is not None), default=None)

    @property
    def longest_before_h(self) -> float:
        """The longest time without air that has ended; 0 where there was none. [h]"""
        return max((on - off for off, on in self.stops if on is not None), default=0.0)


def air_of_brew(notebook: Notebook, record: Brew, harvested_h: float | None, *, now: datetime) -> Air:
    """The answers and events of a brew's air until now. A break that was noted is not undone by a later yes."""
    now_h = record.hours_at(now)
    notes = [
        (record.hours_at(kept.at), kept.payload) for kept in notebook.kept("air", record.key) if record.hours_at(kept.at) <= now_h
    ]
    answers = [(at, payload["unbroken"]) for at, payload in notes if payload.get("unbroken") is not None]
    switched = [(item.elapsed_h, runs) for item in _events(notebook, record) if (runs := _runs(item)) is not None]
    switched += [(payload["restarted_h"], True) for _, payload in notes[-1:] if payload.get("restarted_h") is not None]
    switched += [(harvested_h, False)] if harvested_h is not None else []
    return Air(
        unbroken=None if not answers else all(bool(answer) for _, answer in answers),
        answered_at_h=answers[-1][0] if answers else float("-inf"),
        stops=_stops([(at, runs) for at, runs in sorted(switched) if at <= now_h]),
    )


def _events(notebook: Notebook, record: Brew) -> tuple[BrewEvent, ...]:
    return standing_events(brew_history(notebook, record.key).events)


def _runs(event: BrewEvent) -> bool | None:
    """Whether the air runs after an event; None where it says nothing of that."""
    if event.what == "air flow":
        return bool(event.amount)
    return {"air off": False, "air on": True}.get(event.what)


def _stops(switched: list[tuple[float, bool]]) -> tuple[Stop, ...]:
    found: list[Stop] = []
    off: float | None = None
    for at, runs in switched:
        if not runs:
            off = at if off is None else off
        elif off is not None:
            found += [(off, at)] if at - off > threshold("air-stop-brief").value else []
            off = None
    return (*found, (off, None)) if off is not None else tuple(found)

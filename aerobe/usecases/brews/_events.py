"""What happened to a brew, written down as it happens or afterwards: air off and on, food, water, a part drawn off, warmth."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import AerobeError, ImportFault, NotFound, UnusableRecord
from aerobe.inference import AirStop, stops_in_log
from aerobe.notebook import BrewHistory, Notebook, Receipt, brew_history
from aerobe.oxygen import FOODS
from aerobe.records import EVENTS, Brew, BrewEvent, content_hash, standing_events
from aerobe.units import AIR_FLOW, DOSE, TEMPERATURE, VOLUME, Kind, numbers_of_table
from aerobe.usecases.brews._beliefs import story_of_history
from aerobe.usecases.brews._held import cached, held_by
from aerobe.usecases.notebook._moments import elapsed_from, require_possible

AMOUNTS: dict[str, Kind] = {
    "air flow": AIR_FLOW,
    "food": DOSE,
    "water added": VOLUME,
    "drawn off": VOLUME,
    "temperature": TEMPERATURE,
}
# What a form offers; the rest is asked where it arises.
EVENTS_OF_A_FORM = ("air off", "air on", "air flow", "food", "water added", "drawn off", "temperature")
COLUMNS = ("time", "event", "amount", "food", "until", "notes")
MOST_ROWS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class EventEntry:
    """An event as a person types it; `amount` with its unit, `when` and `until` as for a reading."""

    what: str
    amount: str = ""
    food: str = ""
    when: str = ""
    until: str = ""
    takes_back: str = ""
    notes: str = ""
    age_s: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """An event that was kept, whether it is new, and what should be looked at."""

    event: BrewEvent
    was_new: bool
    look_again: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventsTakenIn:
    """What became of a file of events."""

    kept: int
    known: int  # that were there already
    faults: tuple[str, ...]


def note_event(notebook: Notebook, brew: str, entry: EventEntry, *, now: datetime, who: str = "", token: str = "") -> Noted:
    """Keep an event of a brew. Nothing is changed by it: a mistake is taken back by another event.

    Raises
    ------
    NotFound
        If brew, food or the event to be taken back is not known.
    UnusableRecord, UnusableReading, NotAQuantity
        If it cannot be read, or cannot have been then.
    """
    record = notebook.get(Brew, brew)
    before = events_of_brew(notebook, brew)
    key = f"e-{token}"[:80] if token else f"e-{len(before) + 1}-{now:%H%M%S%f}"
    event = _event_of(entry, record, key=key, now=now)
    if event.what == "taken back" and event.takes_back not in {item.key for item in before}:
        raise NotFound(f"Brew '{brew}' has no event '{event.takes_back}'.", f"See its events: aerobe brew events {brew}.")
    receipt: Receipt = notebook.keep("event", brew, event, at=now, who=who, token=token)
    return Noted(event=event, was_new=receipt.was_new, look_again=_odd(event, before))


def events_of_brew(notebook: Notebook, brew: str) -> tuple[BrewEvent, ...]:
    """Every event of a brew as it was entered, also those taken back, oldest entry first."""
    return brew_history(notebook, brew).events


def standing_events_of(notebook: Notebook, brew: str) -> tuple[BrewEvent, ...]:
    """Events of a brew that hold, in order of time."""
    version = held_by(notebook).version(brew)
    return cached(notebook, ("events", brew), version, lambda: standing_events(events_of_brew(notebook, brew)))


def air_is_off_since(events: tuple[BrewEvent, ...]) -> float | None:
    """Since when the air is off, as far as is entered; None while it runs. [h]"""
    off: float | None = None
    for item in standing_events(events):
        if item.what == "air off":
            off = item.elapsed_h if off is None else off
        elif item.what == "air on" or (item.what == "air flow" and item.amount):
            off = None
    return off


def stops_noticed(notebook: Notebook, brew: str) -> tuple[AirStop, ...]:
    """Stops of the air that the oxygen log shows and nobody entered or denied."""

    def look() -> tuple[AirStop, ...]:
        return stops_of_history(brew_history(notebook, brew))

    return cached(notebook, ("stops", brew), held_by(notebook).version(brew), look)


def stops_of_history(history: BrewHistory) -> tuple[AirStop, ...]:
    """The same of a history."""
    story, _ = story_of_history(history)
    return stops_in_log(story, standing_events(story.events))


def take_in_events(notebook: Notebook, brew: str, content: bytes, *, now: datetime, who: str = "") -> EventsTakenIn:
    """Keep the events of a file: a table with the columns time, event, amount, food, until, notes.

    Parameters
    ----------
    notebook
        The open notebook.
    brew
        Key of the brew.
    content
        The file: comma, semicolon or tab between columns, UTF-8.
    now
        Time of the entry.
    who
        Who enters it.

    Raises
    ------
    ImportFault
        If it is no such table. A row that cannot be read is reported; the others are kept, none twice.
    """
    rows, separator = _rows(content)
    with numbers_of_table(separator):
        return _take_in(notebook, brew, rows, now=now, who=who)


def _take_in(notebook: Notebook, brew: str, rows: list[dict[str, str]], *, now: datetime, who: str) -> EventsTakenIn:
    kept = known = 0
    faults: list[str] = []
    seen = {_content(item) for item in events_of_brew(notebook, brew)}
    for place, row in enumerate(rows, start=2):
        given = {name: (row.get(name) or "").strip() for name in COLUMNS}
        entry = EventEntry(
            what=given["event"].lower(),
            when=given["time"],
            amount=given["amount"],
            food=given["food"],
            until=given["until"],
            notes=given["notes"],
        )
        try:
            _need_a_time(entry)
            made = _event_of(entry, notebook.get(Brew, brew), key=f"e-row-{place}", now=now)
            if _content(made) in seen:
                known += 1
                continue
            note_event(notebook, brew, entry, now=now, who=who, token=f"event-{content_hash([brew, *_content(made)])[:24]}")
            seen.add(_content(made))
            kept += 1
        except AerobeError as fault:
            faults.append(f"Line {place}: {fault.problem} {fault.remedy}")
    return EventsTakenIn(kept=kept, known=known, faults=tuple(faults))


def _need_a_time(entry: EventEntry) -> None:
    if not entry.when:
        raise UnusableRecord("There is no time.", "Write hours since the air was turned on, or date and time.")


def _rows(content: bytes) -> tuple[list[dict[str, str]], str]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ImportFault("The file is no text in UTF-8.", "Save it as CSV in UTF-8.") from None
    head = text.split("\n", 1)[0]
    separator = max(";\t,", key=head.count)
    reader = csv.DictReader(io.StringIO(text), delimiter=separator)
    names = [(name or "").strip().lower() for name in reader.fieldnames or ()]
    reader.fieldnames = names
    if "time" not in names or "event" not in names:
        raise ImportFault("A table of events needs the columns time and event.", f"Its columns may be: {', '.join(COLUMNS)}.")
    try:
        rows = list(reader)
    except csv.Error as fault:
        raise ImportFault(f"The table cannot be read: {fault}.", "Save it again as CSV.") from None
    if len(rows) > MOST_ROWS:
        raise ImportFault(f"The table has {len(rows)} rows.", f"One brew has {MOST_ROWS} events at most.")
    return rows, separator


def _event_of(entry: EventEntry, brew: Brew, *, key: str, now: datetime) -> BrewEvent:
    what = entry.what.strip().lower()
    if what not in EVENTS:
        raise UnusableRecord(f"'{entry.what}' is no event of a brew.", f"Use one of: {', '.join(EVENTS)}.")

    def hours(text: str) -> float:
        return require_possible(elapsed_from(text, brew, now=now, age_s=entry.age_s), brew, now=now)

    return BrewEvent(
        key=key,
        brew=brew.key,
        what=what,
        elapsed_h=_not_before_the_start(hours(entry.when)),
        amount=_amount(what, entry.amount),
        food=FOODS.find(entry.food).key if what == "food" else "",
        until_h=hours(entry.until) if what == "air kept running" and entry.until.strip() else None,
        takes_back=entry.takes_back.strip() if what == "taken back" else "",
        typed_as=" ".join(part for part in (entry.amount.strip(), entry.food.strip(), entry.when.strip()) if part),
        notes=entry.notes.strip(),
    )


def _amount(what: str, text: str) -> float | None:
    kind = AMOUNTS.get(what)
    if kind is None:
        return None
    if not text.strip():
        raise UnusableRecord(f"'{what}' needs an amount.", f"Write it with its unit, such as 2 {kind.house}.")
    return kind.read(text)


def _not_before_the_start(hours: float) -> float:
    # The tap that started the brew and the tap that notes its first event may share a minute.
    return 0.0 if -0.05 <= hours < 0.0 else hours


def _content(event: BrewEvent) -> tuple[object, ...]:
    return event.what, round(event.elapsed_h, 3), event.amount, event.food, event.until_h


def _odd(event: BrewEvent, before: tuple[BrewEvent, ...]) -> str:
    off = air_is_off_since(tuple(item for item in before if item.elapsed_h <= event.elapsed_h))
    if event.what == "air on" and off is None:
        return "No 'air off' is noted before it: if the air stood still, note since when."
    if event.what == "air off" and off is not None:
        return f"The air is noted as off since {off:.1f} h already."
    return ""

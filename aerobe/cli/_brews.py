"""Commands about brews and what happens to them."""

from __future__ import annotations

from pathlib import Path

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, say, table, then
from aerobe.cli._typed import NOTED, NoteOptions
from aerobe.errors import ImportFault
from aerobe.records import Brew, SensorLog, as_plain
from aerobe.units import TEMPERATURE

brew = App(name="brew", help="Start, list and show brews.")


@brew.command(name="new")
def brew_new(
    name: str,
    /,
    *,
    recipe: str,
    vessel: str,
    started: str = "",
    temperature: str = "20 degC",
    trial: str = "",
    arm: str = "",
    where: Where = OWN,
) -> None:
    """Start a brew: the air is on.

    Parameters
    ----------
    name
        What you call it.
    recipe
        Key of a recipe in the notebook.
    vessel
        Key of a vessel in the notebook.
    started
        When the air was turned on: 08:30, or a date and time; now if left out.
    temperature
        Expected water temperature, with unit.
    trial
        Key of the trial that the brew belongs to, if any.
    arm
        Key of its arm in that trial.
    """
    from aerobe.usecases.notebook import moment_of, new_brew

    with where.open() as open_one:
        draft = Brew(
            key="draft",
            name=name,
            recipe=recipe,
            vessel=vessel,
            started_at=moment_of(started, now=now()),
            temperature_degc=TEMPERATURE.read(temperature),
            trial=trial,
            arm=arm,
        )
        made = new_brew(open_one, draft, now=now())
    say(
        made,
        as_json=where.json,
        text=[
            f"Brew '{made.key}' began at {made.started_at:%Y-%m-%d %H:%M}.",
            *then(f'reading add {made.key} "12.5" --assay KEY', f"call {made.key}"),
        ],
    )


@brew.command(name="list")
def brew_list(*, where: Where = OWN) -> None:
    """All brews, newest first."""
    from aerobe.usecases.notebook import list_brews

    with where.open(create=False) as open_one:
        brews = list_brews(open_one, now=now())
    rows = [
        (
            item["key"],
            item["name"],
            item["recipe"],
            f"{item['elapsed_h']:.1f} h" + (" so far" if item["brewing"] else ""),
            item["readings"],
        )
        for item in brews
    ]
    say(brews, as_json=where.json, text=table(("key", "name", "recipe", "brewed", "readings"), rows))


@brew.command(name="show")
def brew_show(brew: str, /, *, where: Where = OWN) -> None:
    """All that the notebook holds of one brew.

    Parameters
    ----------
    brew
        Key of the brew.
    """
    from aerobe.usecases.notebook import brew_history

    with where.open(create=False) as open_one:
        history = brew_history(open_one, brew)
    plain = {name: as_plain(getattr(history, name)) for name in history.__dataclass_fields__ if name != "logs"}
    plain["logs"] = [{"channel": log.channel, "probe": log.probe, "points": len(log.values)} for log in history.logs]
    lines = [f"{history.brew.name} ({history.brew.key}): {history.recipe.name} in {history.vessel.name}"]
    if history.harvest:
        lines.append(f"Harvested at {history.harvest.elapsed_h:g} h.")
    else:
        lines.append("Still brewing, as far as is noted.")
    lines += table(
        ("reading", "h", "role", "assay", "result"),
        [(item.key, f"{item.elapsed_h:g}", item.role, item.assay, f"{item.typed_as} {item.unit}") for item in history.readings],
    )
    lines += [_log_line(log) for log in history.logs if log.values]
    lines += [] if history.harvest else then(f"call {brew}")
    say(plain, as_json=where.json, text=lines)


@brew.command(name="event")
def brew_event(
    brew: str,
    what: str,
    /,
    *,
    amount: str = "",
    food: str = "",
    until: str = "",
    takes_back: str = "",
    noted: NoteOptions = NOTED,
    where: Where = OWN,
) -> None:
    """Keep what happened to a brew: air off and on, food, water, a part drawn off, warmth.

    Parameters
    ----------
    brew
        Key of the brew.
    what
        "air off", "air on", "air flow", food, "water added", "drawn off", temperature; "air kept running" from --when to
        --until, whatever the oxygen log looks like; or "taken back" for an event entered by mistake.
    amount
        With its unit: "5 L/min", "1 g/L" of a food per litre of brew, "2 L", "24 degC".
    food
        Which food of the library.
    until
        End of the time in which the air kept running.
    takes_back
        Key of the event that was entered by mistake.
    """
    from aerobe.usecases.brews import EventEntry, note_event

    entry = EventEntry(
        what=what, amount=amount, food=food, when=noted.when, until=until, takes_back=takes_back, notes=noted.notes
    )
    with where.open(create=False) as open_one:
        kept = note_event(open_one, brew, entry, now=now(), token=noted.token)
    text = [f"Kept as '{kept.event.key}': {kept.event.says()} at {kept.event.elapsed_h:.2f} h."]
    say(kept, as_json=where.json, text=[*text, *([kept.look_again] if kept.look_again else []), *then(f"call {brew}")])


@brew.command(name="events")
def brew_events(brew: str, /, *, file: Path | None = None, where: Where = OWN) -> None:
    """What happened to a brew, and what its oxygen log looks like that nobody entered; or take in a file of events.

    Parameters
    ----------
    brew
        Key of the brew.
    file
        A table with the columns time, event, amount, food, until, notes: its rows are kept, none twice.
    """
    from aerobe.usecases.brews import standing_events_of, stops_noticed, take_in_events

    with where.open(create=False) as open_one:
        taken = None if file is None else take_in_events(open_one, brew, _content(file), now=now())
        events, stops = standing_events_of(open_one, brew), stops_noticed(open_one, brew)
    lines = table(("key", "h", "what"), [(item.key, f"{item.elapsed_h:.2f}", item.says()) for item in events])
    lines += [stop.says() for stop in stops]
    if taken is not None:
        lines = [f"{taken.kept} events kept, {taken.known} were there already.", *taken.faults, *lines]
    say({"taken_in": taken, "events": events, "stops_noticed": stops}, as_json=where.json, text=lines)


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None


def _log_line(log: SensorLog) -> str:
    from aerobe.usecases.brews import KINDS_OF_CHANNELS

    unit = KINDS_OF_CHANNELS[log.channel].house
    return f"{log.channel}: {len(log.values)} points, last {log.values[-1]:.3g} {unit} at {log.elapsed_h[-1]:.1f} h"

"""Things to do at a time as a calendar file that any phone takes in; the run sheet as one."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from aerobe.records import PlannedBrew, RunSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarEvent:
    """One thing to do, with a reminder before it."""

    uid: str  # the same for the same thing, so that a calendar moves an event instead of doubling it
    starts_at: datetime  # with offset
    ends_at: datetime  # with offset
    summary: str
    description: str
    spoken: str  # what the reminder says


def calendar_file(
    events: Iterable[CalendarEvent], *, product: str, made_at: datetime, remind_minutes: int, name: str = ""
) -> bytes:
    """An iCalendar file (RFC 5545) of events, each with a reminder before it.

    Parameters
    ----------
    events
        What is to do. [-]
    product, name
        Of the file, and of the calendar. [-]
    made_at
        Stamp of the file, with offset. [-]
    remind_minutes
        Before each event. [min]

    Returns
    -------
    bytes
        The file. [-]

    Source
    ------
    rfc-5545
    """
    from icalendar import Alarm, Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", product)
    calendar.add("version", "2.0")
    if name:
        calendar.add("x-wr-calname", name)
    for one in events:
        event = Event()
        event.add("uid", one.uid)
        event.add("dtstamp", made_at.astimezone(UTC))
        # In UTC: a bare offset has no name that a calendar knows, and would be read as the time of wherever the phone is.
        event.add("dtstart", one.starts_at.astimezone(UTC))
        event.add("dtend", one.ends_at.astimezone(UTC))
        event.add("summary", one.summary)
        event.add("description", one.description)
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", one.spoken)
        alarm.add("trigger", timedelta(minutes=-remind_minutes))
        event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def calendar_of(sheet: RunSheet, *, made_at: datetime, remind_minutes: int = 10, shown: Callable[[str], str] = str) -> bytes:
    """The run sheet as a calendar file: one event for each start and each sampling, with a reminder.

    Events show the blind code and the vessel, never the arm.

    Parameters
    ----------
    sheet
        The run sheet. [-]
    made_at
        Stamp of the file, with offset. [-]
    remind_minutes
        Before each event. [min]
    shown
        How a person wants to read a sentence, such as with a decimal comma. [-]

    Returns
    -------
    bytes
        The file. [-]

    Source
    ------
    rfc-5545
    """
    events = [
        replace(event, description=shown(event.description)) for brew in sheet.brews for event in _events(sheet.trial, brew)
    ]
    return calendar_file(
        events,
        product="-//aerobe//run sheet//EN",
        made_at=made_at,
        remind_minutes=remind_minutes,
        name=f"Trial {sheet.trial}",
    )


def _events(trial: str, brew: PlannedBrew) -> list[CalendarEvent]:
    if brew.starts_at is None:
        return []
    found = [("start", brew.starts_at, 30, "Fill, note the water temperature, start the air.")]
    for i, sample in enumerate(brew.samples, start=1):
        controls = f" Also: {', '.join(sample.controls)}." if sample.controls else ""
        tests = "1 test" if sample.tests == 1 else f"{sample.tests} tests"
        at = brew.starts_at + timedelta(hours=sample.elapsed_h)
        found.append((f"sample {i}", at, 15, f"At {sample.elapsed_h:g} h: {tests}.{controls}"))
    return [
        CalendarEvent(
            uid=f"{brew.brew}-{name.replace(' ', '-')}@aerobe",
            starts_at=at,
            ends_at=at + timedelta(minutes=minutes),
            summary=f"Brew {brew.blind_code}: {name} ({brew.vessel})",
            description=f"Trial {trial}, {brew.block}. {detail}",
            spoken=f"Brew {brew.blind_code}: {name}",
        )
        for name, at, minutes, detail in found
    ]

"""What is due: next test and harvest, as notices and as a calendar file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminder:
    """One thing to do at a time."""

    brew: str
    brew_name: str
    what: str  # "test", "harvest" or "feed"
    says: str
    at: datetime
    until: datetime | None = None

    @property
    def name(self) -> str:
        """The same for the same thing, so that a calendar moves an event instead of doubling it."""
        return f"{self.brew}-{self.what}"


def calendar_of(reminders: Iterable[Reminder], *, now: datetime, warn_minutes: int = 15) -> bytes:
    """Reminders as an iCalendar file with an alarm before each.

    Parameters
    ----------
    reminders
        What is due.
    now
        Stamp of the file.
    warn_minutes
        How long before each the telephone should speak. [min]

    Source
    ------
    rfc-5545
    """
    from icalendar import Alarm, Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Aerobe//Brewing//EN")
    calendar.add("version", "2.0")
    for reminder in reminders:
        event = Event()
        event.add("uid", f"{reminder.name}@aerobe.local")
        event.add("dtstamp", now.astimezone(UTC))
        # In UTC: a bare offset has no name that a calendar knows, and would be read as the time of wherever the phone is.
        event.add("dtstart", reminder.at.astimezone(UTC))
        event.add("dtend", (reminder.until or reminder.at + timedelta(minutes=15)).astimezone(UTC))
        event.add("summary", f"{reminder.brew_name}: {reminder.what}")
        event.add("description", reminder.says)
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", reminder.says)
        alarm.add("trigger", timedelta(minutes=-warn_minutes))
        event.add_component(alarm)
        calendar.add_component(event)
    made: bytes = calendar.to_ical()
    return made

"""What is due: next test and harvest, as notices and as a calendar file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.units import display_units, shown_text


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
    from aerobe.trials import CalendarEvent, calendar_file

    events = [
        CalendarEvent(
            uid=f"{reminder.name}@aerobe.local",
            starts_at=reminder.at,
            ends_at=reminder.until or reminder.at + timedelta(minutes=15),
            summary=f"{reminder.brew_name}: {reminder.what}",
            description=shown_text(display_units(), reminder.says),
            spoken=shown_text(display_units(), reminder.says),
        )
        for reminder in reminders
    ]
    return calendar_file(events, product="-//Aerobe//Brewing//EN", made_at=now, remind_minutes=warn_minutes)

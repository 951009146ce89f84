"""The run sheet as a calendar file that any phone takes in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from aerobe.records import PlannedBrew, RunSheet


def calendar_of(sheet: RunSheet, *, made_at: datetime, remind_minutes: int = 10) -> bytes:
    """An iCalendar file (RFC 5545): one event for each start and each sampling, with a reminder.

    Events show the blind code and the vessel, never the arm.

    Parameters
    ----------
    sheet
        The run sheet. [-]
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
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//aerobe//run sheet//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Trial {sheet.trial}")
    for brew in sheet.brews:
        if brew.starts_at is None:
            continue
        for name, start, minutes, detail in _events(brew):
            calendar.add_component(_event(sheet.trial, brew, name, start, minutes, detail, made_at, remind_minutes))
    return bytes(calendar.to_ical())


def _events(brew: PlannedBrew) -> list[tuple[str, datetime, int, str]]:
    assert brew.starts_at is not None
    found = [("start", brew.starts_at, 30, "Fill, note the water temperature, start the air.")]
    for i, sample in enumerate(brew.samples, start=1):
        controls = f" Also: {', '.join(sample.controls)}." if sample.controls else ""
        tests = "1 test" if sample.tests == 1 else f"{sample.tests} tests"
        found.append(
            (
                f"sample {i}",
                brew.starts_at + timedelta(hours=sample.elapsed_h),
                15,
                f"At {sample.elapsed_h:g} h: {tests}.{controls}",
            )
        )
    return found


def _event(
    trial: str, brew: PlannedBrew, name: str, start: datetime, minutes: int, detail: str, made_at: datetime, remind_minutes: int
) -> Any:
    from icalendar import Alarm, Event

    event = Event()
    event.add("uid", f"{brew.brew}-{name.replace(' ', '-')}@aerobe")
    event.add("dtstamp", made_at.astimezone(UTC))
    # UTC, since a bare offset is no time zone in iCalendar; the phone shows its own clock.
    event.add("dtstart", start.astimezone(UTC))
    event.add("duration", timedelta(minutes=minutes))
    event.add("summary", f"Brew {brew.blind_code}: {name} ({brew.vessel})")
    event.add("description", f"Trial {trial}, {brew.block}. {detail}")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"Brew {brew.blind_code}: {name}")
    alarm.add("trigger", timedelta(minutes=-remind_minutes))
    event.add_component(alarm)
    return event

"""What a person writes down standing at the vessel: a test result, a probe read by eye, the harvest."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta

from aerobe.desk._records import ReadingEntry, add_reading, elapsed_from
from aerobe.desk._sensors import Point, take_points
from aerobe.errors import AerobeError, UnusableReading
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Harvest
from aerobe.units import VOLUME, parse_number

SMELLS = ("earthy", "sweet", "no smell", "sour", "sulphurous", "putrid")
OLDEST_ENTRY_S = 60 * 24 * 3600.0  # what waited longer on a phone needs its time typed [s]


def moment_typed(text: str, *, now: datetime, age_s: str = "") -> str:
    """A time as `ReadingEntry.when` takes it, from a field that may be empty or hold a clock time such as `14:10`.

    Parameters
    ----------
    text
        Empty for the moment of entry, `14:10`, hours since aeration began, or a full date and time.
    now
        The server's clock.
    age_s
        How long ago the entry was made on the phone, by the phone's own clock. So neither a wait for the connection nor a
        phone that goes wrong moves a reading. [s]

    Raises
    ------
    UnusableReading
        If the age cannot be used.
    """
    entered = now - timedelta(seconds=_age(age_s))
    text = text.strip()
    if not text:
        return entered.isoformat()
    clock = re.fullmatch(r"([01]?\d|2[0-3])[:.h]([0-5]\d)", text)
    if clock is None:
        return text
    moment = entered.replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0)
    return (moment if moment <= entered + timedelta(minutes=5) else moment - timedelta(days=1)).isoformat()


def record_reading(notebook: Notebook, entry: ReadingEntry, *, now: datetime, age_s: str = "", who: str = "") -> Receipt:
    """Keep a test result typed on a phone, at the time it was typed there."""
    return add_reading(notebook, replace(entry, when=moment_typed(entry.when, now=now, age_s=age_s)), now=now, who=who)


def record_probe(
    notebook: Notebook,
    *,
    brew: str,
    channel: str,
    value: str,
    unit: str,
    now: datetime,
    when: str = "",
    age_s: str = "",
    token: str = "",
) -> Receipt:
    """Keep a value read off a hand meter.

    Raises
    ------
    UnusableReading, NotAQuantity
        If it cannot be read.
    """
    record = notebook.get(Brew, brew)
    if not value.strip():
        raise UnusableReading("The value is empty.", "Type the number that the meter shows.")
    elapsed_h = elapsed_from(moment_typed(when, now=now, age_s=age_s), record, now=now)
    at = record.started_at + timedelta(hours=elapsed_h)
    return take_points(
        notebook,
        place=brew,
        channel=channel,
        unit=unit,
        points=[Point(value=parse_number(value), at=at)],
        now=now,
        probe="by hand",
        token=token,
    )


def end_brew(
    notebook: Notebook,
    key: str,
    *,
    now: datetime,
    when: str = "",
    age_s: str = "",
    smell: str = "",
    volume: str = "",
    notes: str = "",
    token: str = "",
    who: str = "",
) -> Receipt:
    """Write in the harvest: the air is off, the clock stops.

    Raises
    ------
    AerobeError
        If a field cannot be used, or the brew has been harvested before.
    """
    brew = notebook.get(Brew, key)
    elapsed_h = elapsed_from(moment_typed(when, now=now, age_s=age_s), brew, now=now)
    if elapsed_h < 0.0:
        raise UnusableReading("The harvest lies before the start of the brew.", "Correct the time of the harvest.")
    harvest = Harvest(
        brew=key,
        elapsed_h=elapsed_h,
        smell=smell.strip() or "not noted",
        notes=notes.strip(),
        volume_l=VOLUME.read(volume) if volume.strip() else None,
    )
    return notebook.add(harvest, at=now, who=who, token=token)


def _age(text: str) -> float:
    try:
        age = parse_number(text) if text.strip() else 0.0
    except AerobeError:
        age = -1.0
    if not 0.0 <= age <= OLDEST_ENTRY_S:
        raise UnusableReading(
            "It cannot be told when this entry was made.", "Type the clock time of the reading, and send it again."
        )
    return age

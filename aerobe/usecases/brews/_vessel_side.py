"""What a person writes down standing at the vessel: a probe read by eye, the harvest."""

from __future__ import annotations

from datetime import datetime, timedelta

from aerobe.errors import UnusableReading
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Harvest
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.brews._sensors import Point, take_points
from aerobe.usecases.notebook._moments import elapsed_from, require_possible

SMELLS = ("earthy", "sweet", "no smell", "sour", "sulphurous", "putrid")


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
    elapsed_h = require_possible(elapsed_from(when, record, now=now, age_s=age_s), record, now=now)
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
    elapsed_h = require_possible(elapsed_from(when, brew, now=now, age_s=age_s), brew, now=now)
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

"""What a person writes down standing at the vessel: a probe read by eye, the harvest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.errors import UnusableReading
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Harvest
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.brews._sensors import Point, take_points
from aerobe.usecases.notebook._moments import elapsed_from, require_possible

SMELLS = ("earthy", "sweet", "no smell", "sour", "sulphurous", "putrid")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeTyped:
    """A value read off a hand meter, as typed."""

    channel: str
    value: str
    unit: str
    when: str = ""
    age_s: str = ""  # how long it waited on a phone
    token: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HarvestTyped:
    """The end of a brew, as typed."""

    when: str = ""
    age_s: str = ""  # how long it waited on a phone
    smell: str = ""
    volume: str = ""  # drawn off, with unit
    notes: str = ""
    token: str = ""


def record_probe(notebook: Notebook, brew: str, typed: ProbeTyped, *, now: datetime) -> Receipt:
    """Keep a value read off a hand meter.

    Raises
    ------
    UnusableReading, NotAQuantity
        If it cannot be read.
    """
    record = notebook.get(Brew, brew)
    if not typed.value.strip():
        raise UnusableReading("The value is empty.", "Type the number that the meter shows.")
    elapsed_h = require_possible(elapsed_from(typed.when, record, now=now, age_s=typed.age_s), record, now=now)
    at = record.started_at + timedelta(hours=elapsed_h)
    return take_points(
        notebook,
        place=brew,
        channel=typed.channel,
        unit=typed.unit,
        points=[Point(value=parse_number(typed.value), at=at)],
        now=now,
        probe="by hand",
        token=typed.token,
    )


def end_brew(notebook: Notebook, key: str, typed: HarvestTyped, *, now: datetime, who: str = "") -> Receipt:
    """Write in the harvest: the air is off, the clock stops.

    Raises
    ------
    AerobeError
        If a field cannot be used, or the brew has been harvested before.
    """
    brew = notebook.get(Brew, key)
    elapsed_h = require_possible(elapsed_from(typed.when, brew, now=now, age_s=typed.age_s), brew, now=now)
    if elapsed_h < 0.0:
        raise UnusableReading("The harvest lies before the start of the brew.", "Correct the time of the harvest.")
    harvest = Harvest(
        brew=key,
        elapsed_h=elapsed_h,
        smell=typed.smell.strip() or "not noted",
        notes=typed.notes.strip(),
        volume_l=VOLUME.read(typed.volume) if typed.volume.strip() else None,
    )
    return notebook.add(harvest, at=now, who=who, token=typed.token)

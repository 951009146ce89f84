"""When something was: from what a person wrote about time to a moment and to hours of a brew, and back to words."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from aerobe.errors import AerobeError, UnusableReading, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Brew
from aerobe.units import ELAPSED, display_units, parse_number

OLDEST_ENTRY_S = 60 * 24 * 3600.0  # what waited longer on a phone needs its time typed [s]
AHEAD = timedelta(minutes=10)  # a phone's or a sender's clock may be a little fast
HOUR = timedelta(hours=1)
LOOKED_BACK = 50  # entries whose time is compared with the clock
PREPARED_H = 48.0  # the longest that water or compost is tested before the air goes on [h]
FAST = timedelta(minutes=5)  # a clock time this little ahead is a clock a little fast, not yesterday

NEAR = {-1: "yesterday", 0: "", 1: "tomorrow"}


def moment_of(text: str, *, now: datetime) -> datetime:
    """A moment from what a person wrote: empty for now, `08:30` for today, or a date and time.

    Without an offset it is on the clock of `now`.

    Raises
    ------
    UnusableRecord
        If it is none of these.
    """
    text = _as_house_writes(text)
    if not text:
        return now
    clock = re.fullmatch(r"([01]?\d|2[0-3])[:.]([0-5]\d)", text)
    if clock is not None:
        return _typed(now.replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0), now)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UnusableRecord(f"'{text}' is no clock time.", "Write 08:30, or a date and time such as 2026-05-01 08:30.") from None
    return moment if moment.tzinfo is not None else _typed(moment, now)


def _of_this_machine(clock: datetime) -> bool:
    """Whether a clock goes as this machine's does: then its hour changes with summer, whatever its offset was then."""
    return clock.utcoffset() == clock.astimezone().utcoffset()


def _typed(moment: datetime, clock: datetime) -> datetime:
    """A date and time as somebody read it off a clock, with the offset that this clock has then."""
    bare = moment.replace(tzinfo=None)
    return bare.astimezone() if _of_this_machine(clock) else bare.replace(tzinfo=clock.tzinfo)


def on_clock(moment: datetime, clock: datetime) -> datetime:
    """A moment as a clock will show it then, or showed it: winter or summer, where the machine's zone knows both."""
    return moment.astimezone() if _of_this_machine(clock) else moment.astimezone(clock.tzinfo)


def _as_house_writes(text: str) -> str:
    """A time as typed, with am or pm made hours of 24, and a date in the chosen order made year-month-day."""
    text = re.sub(r"(?<!\d)(0?[1-9]|1[0-2])(?:[:.]([0-5]\d))? ?([ap])\.?m\.?$", _of_24, text.strip(), flags=re.IGNORECASE)
    order = display_units().date
    sign = {"d.m.y": ".", "d/m/y": "/", "m/d/y": "/"}.get(order, "")
    found = re.match(rf"(\d{{1,2}})[{sign}](\d{{1,2}})[{sign}](\d{{4}})(?!\d)", text) if sign else None
    if found is None:
        return text
    month, day = (found[1], found[2]) if order == "m/d/y" else (found[2], found[1])
    return f"{found[3]}-{int(month):02d}-{int(day):02d}{text[found.end() :]}"


def _of_24(found: re.Match[str]) -> str:
    return f"{int(found[1]) % 12 + (12 if found[3].lower() == 'p' else 0):02d}:{found[2] or '00'}"


def elapsed_from(when: str, brew: Brew | None, *, now: datetime, age_s: str = "") -> float:
    """Hours since the air was turned on, from what a person wrote about time. [h]

    Parameters
    ----------
    when
        Empty for the moment of entry; hours ("8", "8.5 h", "90 min"); `14:10` for the last time a clock showed that; or a
        date and time, without an offset on the brew's own clock.
    brew
        Whose clock runs; None for a reading of no brew, which has hours only.
    now
        This machine's clock.
    age_s
        How long ago the entry was made on a phone, by the phone's own clock. So neither a wait for the connection nor a
        phone that goes wrong moves a reading. [s]

    Raises
    ------
    UnusableReading, NotAQuantity
        If time or age cannot be read.
    """
    text = _as_house_writes(when)
    entered = now - timedelta(seconds=_age(age_s))
    if re.fullmatch(r"[+-]?[\d.,]+", text):
        return ELAPSED.convert(parse_number(text), ELAPSED.house, typed=text)
    if brew is None:
        return ELAPSED.read(text) if text else 0.0
    if not text:
        return brew.hours_at(entered)
    clock = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text)  # a point would make hours of it
    if clock is not None:
        today = on_clock(entered, now).replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0)
        # An hour that a clock shows twice in autumn is the later one, if that has been.
        shown = [_typed((today - timedelta(days=back)).replace(fold=fold), now) for back in (0, 1) for fold in (1, 0)]
        return brew.hours_at(next((moment for moment in shown if moment <= entered + FAST), shown[-1]))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return ELAPSED.read(text)
    moment = moment if moment.tzinfo is not None else _typed(moment, brew.started_at)
    return ELAPSED.convert(brew.hours_at(moment), ELAPSED.house, typed=text)


def impossible(hours: float, brew: Brew, *, now: datetime) -> str:
    """What is impossible about a time of a brew; empty if nothing is.

    A time after the present, or long before the air went on, is a slip of the pen or of a clock.
    """
    if hours > brew.hours_at(now + AHEAD):
        return f"That is {_long(hours - brew.hours_at(now))} ahead of the clock."
    if hours < -PREPARED_H:
        return f"That is {_long(-hours)} before the air went on, at {brew.started_at:%Y-%m-%d %H:%M}."
    return ""


def require_possible(hours: float, brew: Brew, *, now: datetime) -> float:
    """The time, if it can have been.

    Raises
    ------
    UnusableReading
        If it cannot.
    """
    said = impossible(hours, brew, now=now)
    if said:
        raise UnusableReading(said, f"Type when it was; or set this machine's clock, which shows {now:%Y-%m-%d %H:%M}.")
    return hours


def clock_trouble(notebook: Notebook, *, now: datetime) -> str:
    """What is wrong with a clock that shows an earlier time than the notebook's newest entry; empty if nothing is."""
    newest = max((line.at for line in notebook.audit(newest=LOOKED_BACK)), default=None)
    if newest is None or newest <= now + AHEAD:
        return ""
    return (
        f"This machine's clock shows {now:%Y-%m-%d %H:%M}, but a late entry was made {_long((newest - now) / HOUR)} after that. "
        "Set the clock if it is wrong now, or correct those entries if it was wrong then: hours of a brew are counted by it."
    )


def _long(hours: float) -> str:
    return f"{hours * 60:.0f} min" if hours < 2 else f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"


def spoken(moment: datetime, now: datetime) -> str:
    """`14:10` on the clock of `now`, with the day where it is not today."""
    moment = on_clock(moment, now)
    days = (moment.date() - now.date()).days
    if days in NEAR:
        return f"{moment:%H:%M} {NEAR[days]}".rstrip()
    return f"{moment:%H:%M} on {moment:%A}" if 1 < days < 7 else f"{moment:%H:%M} on {moment.day} {moment:%b}"


def _age(text: str) -> float:
    try:
        # The device wrote it, with a decimal point, whichever sign the person types: 12.345 is a dozen seconds and no question.
        age = parse_number(text, decimal="") if text.strip() else 0.0
    except AerobeError:
        age = -1.0
    if not 0.0 <= age <= OLDEST_ENTRY_S:
        raise UnusableReading(
            "It cannot be told when this entry was made.", "Type the clock time of the reading, and send it again."
        )
    return age

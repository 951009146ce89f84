"""Dates, clock times and zones, as files write them."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from aerobe.errors import ImportFault

_ZONE = re.compile(r"[A-Za-z0-9_+-]{1,40}(/[A-Za-z0-9_+-]{1,40}){0,2}")
_DATED = re.compile(r"(\d{1,2})([/.-])(\d{1,2})\2\d{2,4}\b")
_OFFSET = re.compile(r"(Z|UTC|GMT|[+-]\d{2}:?\d{2})$")
# Short names of zones that mean one offset wherever they are written; CST, IST and BST mean several and are not read.
_SHORT = {"WET": 0, "WEST": 1, "CET": 1, "MEZ": 1, "CEST": 2, "MESZ": 2, "EET": 2, "EEST": 3}
_SHORT |= {"EST": -5, "EDT": -4, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}
_NAMED_ZONE = re.compile(rf"\s({'|'.join(_SHORT)})$")
_SAID_ZONE = re.compile(
    rf"(?:\b(?:UTC|GMT)\s*([+-]\s?\d{{1,2}}(?::?\d{{2}})?)(?!\d)|\b(UTC|GMT|{'|'.join(_SHORT)})\b|\b([A-Z][a-z]+/[A-Z][A-Za-z_]+)\b)"
)
_ISO = re.compile(r"\d{4}-?\d{2}-?\d{2}")
_MONTHS = {
    "jan": 1,
    "feb": 2,
    "mar": 3,
    "apr": 4,
    "may": 5,
    "jun": 6,
    "jul": 7,
    "aug": 8,
    "sep": 9,
    "oct": 10,
    "nov": 11,
    "dec": 12,
}
_MONTHS |= {
    "m\u00e4r": 3,
    "mrz": 3,
    "mai": 5,
    "okt": 10,
    "dez": 12,
    "f\u00e9v": 2,
    "avr": 4,
    "ao\u00fb": 8,
    "d\u00e9c": 12,
    "ene": 1,
    "abr": 4,
    "ago": 8,
    "dic": 12,
}
_NAMED = re.compile(r"(?:(\d{1,2})[\s.-]+([^\W\d]{3,9})\.?|([^\W\d]{3,9})\.?\s+(\d{1,2}),?)[\s.,-]+(\d{4}|\d{2})(.*)")


def zone_of(name: str) -> tzinfo:
    """A time zone from its IANA name or an offset such as +02:00.

    Raises
    ------
    ImportFault
        If there is no such zone.
    """
    match = re.fullmatch(r"(?:UTC|GMT)?\s*([+-])(\d{1,2}):?(\d{2})?", name.strip())
    if match:
        offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
        if offset <= timedelta(hours=14):
            return timezone(offset if match[1] == "+" else -offset)
    if name.strip().upper() in ("UTC", "GMT", "Z"):
        return UTC
    try:
        # The name becomes a file's: what is no name of a zone is not looked for.
        return ZoneInfo(name.strip() if _ZONE.fullmatch(name.strip()) else "")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ImportFault(f"There is no time zone '{name}'.", "Write for example Europe/Berlin, or +02:00.") from None


def _with_colons(text: str) -> str:
    """`08h00` and `08:00 Uhr` as `08:00`, `1:00 p.m.` as `1:00 PM`."""
    text = re.sub(r"(?<=\d)\s?([AaPp])\.?\s?[Mm]\b\.?$", lambda match: f" {match[1].upper()}M", text)
    return re.sub(r"(?<=\d)\s?Uhr$", "", re.sub(r"(?<=[\s,]\d\d)h(?=\d\d$)|(?<=[\s,]\d)h(?=\d\d$)", ":", text))


def winter_of(zone: str) -> str:
    """The offset that a zone's clocks show when they are not put forward, as +HH:MM."""
    offsets = [datetime(2026, month, 1, tzinfo=zone_of(zone)).utcoffset() or timedelta() for month in (1, 7)]
    minutes = round(min(offsets).total_seconds() / 60.0)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def looks_dated(text: str) -> bool:
    """Whether a cell holds a date, with or without a time of day."""
    text = text.strip()
    return bool((_ISO.match(text) and not re.fullmatch(r"\d+", text)) or _DATED.match(text) or _named(text) is not None)


def looks_clocked(text: str) -> bool:
    """Whether a cell holds a time of day alone, or a duration written like one."""
    return bool(re.fullmatch(r"\d{1,3}:[0-5]\d(:[0-5]\d([.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?", text.strip()))


def has_offset(text: str) -> bool:
    """Whether a clock time says how far it is from universal time."""
    return bool(_OFFSET.search(text.strip()) or _NAMED_ZONE.search(text.strip()))


def zone_in(text: str) -> str:
    """The zone that a name of a column or a line above a table states (`Date Time, GMT-05:00`); empty where it states none."""
    match = _SAID_ZONE.search(text)
    if match is None:
        return ""
    said = (match[1] or match[2] or match[3]).replace(" ", "")
    try:
        zone_of(_short(said))
    except ImportFault:
        return ""
    return _short(said)


def _short(name: str) -> str:
    return f"{_SHORT[name]:+03d}:00" if name in _SHORT else name


def day_order(cells: list[str]) -> tuple[bool | None, bool]:
    """Whether the day stands first (None: not told by these dates), and whether that matters for any of them."""
    pairs = [(int(match[1]), int(match[3]), match[2]) for cell in cells if (match := _DATED.match(cell.strip()))]
    if not pairs:
        return None, False
    if any(first > 12 for first, _, _ in pairs):
        return True, True
    if any(second > 12 for _, second, _ in pairs):
        return False, True
    # A point between day and month is written day first wherever it is written.
    return (True, True) if all(mark == "." for *_, mark in pairs) else (None, any(a != b for a, b, _ in pairs))


def duration_h(text: str) -> float | None:
    """Hours of a duration written as a clock: `30:15` or `00:30:00`. [h]"""
    if not looks_clocked(text) or re.search(r"[AaPp]", text):
        return None
    parts = [float(part.replace(",", ".")) for part in text.strip().split(":")]
    return parts[0] + parts[1] / 60.0 + (parts[2] / 3600.0 if len(parts) > 2 else 0.0)


class Clock:
    """Reads clock times of one table; remembers which way of writing fitted last."""

    def __init__(self, zone: tzinfo | None, day_first: bool | None) -> None:
        self.zone, self.day_first, self._pattern = zone, day_first, ""
        self.skipped = self.later = False  # whether the last time was one that the zone never had, or had twice
        self._last: datetime | None = None

    def read(self, text: str) -> datetime | None:
        """The moment in universal time; None where the text is no date and time, or has no zone and none was said."""
        text = re.sub(r"\s+", " ", text.strip().replace("T ", " "))
        short = _NAMED_ZONE.search(text)
        if short or text.endswith((" UTC", " GMT")):
            said = zone_of(_short(short[1])) if short else UTC
            return Clock(said, self.day_first).read(text.rsplit(" ", 1)[0])
        text = re.sub(r"(?<=\d )(?=\d:\d\d)", "0", _with_colons(text)) if _ISO.match(text) else _with_colons(text)
        if re.search(r"[ T]24:00(:00)?$", text):  # the end of a day is the beginning of the next
            day = self.read(re.sub(r"24:00(:00)?$", "00:00", text))
            return None if day is None else day + timedelta(days=1)
        offset = re.fullmatch(r"(.*\d)\s*([+-]\d{2}:?\d{2}|Z)", text) if not _ISO.match(text) else None
        if offset and looks_dated(text):
            plain = Clock(zone_of("UTC" if offset[2] == "Z" else offset[2]), self.day_first)
            return plain.read(offset[1])
        moment = _strptime(text, self._pattern)
        if moment is None:
            for pattern in ("", *_patterns(self.day_first is not False)):
                moment = _strptime(text, pattern)
                if moment is not None:
                    self._pattern = pattern  # the next row is most likely written the same way
                    break
        if moment is None:
            moment = _named(text)
        if moment is None:
            return None
        if moment.tzinfo is None:
            if self.zone is None:
                return None
            moment = moment.replace(tzinfo=self.zone)
        try:
            return self._universal(moment)
        except (OverflowError, ValueError):
            return None

    def _universal(self, moment: datetime) -> datetime:
        """In universal time, so that differences across a change of clocks are true; an hour that came twice by its order."""
        found = moment.astimezone(UTC)
        self.skipped = found.astimezone(moment.tzinfo).replace(tzinfo=None) != moment.replace(tzinfo=None)
        second = moment.replace(fold=1).astimezone(UTC)
        self.later = not self.skipped and self._last is not None and found < self._last < second
        found = second if self.later else found
        self._last = found
        return found


@cache
def _patterns(day_first: bool) -> tuple[str, ...]:
    order = "%d{0}%m{0}" if day_first else "%m{0}%d{0}"
    clocks = ("", " %H:%M", " %H:%M:%S", " %H:%M:%S.%f", " %I:%M %p", " %I:%M:%S %p")
    written = tuple(order.format(mark) + year + clock for mark in "/.-" for year in ("%Y", "%y") for clock in clocks)
    return written + tuple("%Y/%m/%d" + clock for clock in clocks) + tuple("%Y.%m.%d" + clock for clock in clocks)


def _strptime(text: str, pattern: str) -> datetime | None:
    """A date and time in this pattern; the empty pattern stands for ISO 8601."""
    try:
        return datetime.strptime(text, pattern) if pattern else datetime.fromisoformat(text)
    except ValueError:
        return None


def _named(text: str) -> datetime | None:
    """`1 May 2026 08:00` and `May 1, 2026`, in the languages that the months above cover."""
    match = _NAMED.fullmatch(_with_colons(text.strip()))
    if match is None:
        return None
    day, month = int(match[1] or match[4]), _MONTHS.get((match[2] or match[3])[:3].lower())
    year = int(match[5]) + (2000 if len(match[5]) == 2 else 0)
    clock = re.fullmatch(r"[\s,]*(\d{1,2}):(\d{2})(?::(\d{2}))?\s*", match[6]) if match[6].strip() else None
    if month is None or (match[6].strip() and clock is None):
        return None
    try:
        hour, minute, second = (int(clock[place] or 0) for place in (1, 2, 3)) if clock else (0, 0, 0)
        return datetime(year, month, day, hour, minute, second)
    except ValueError:
        return None

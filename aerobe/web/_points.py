"""What a probe's sender posts or publishes, read into points: JSON, a table, or a bare number."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import UnusableReading
from aerobe.units import parse_number
from aerobe.usecases.brews import Point

POINTS_AT_MOST = 500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Points of one channel in one unit."""

    channel: str
    unit: str
    points: tuple[Point, ...]


def batches_from(body: bytes, kind: str, *, channel: str = "", unit: str = "") -> tuple[Batch, ...]:
    """What a body holds.

    Parameters
    ----------
    body
        JSON such as `{"channel": "oxygen", "unit": "mg/L", "value": 7.9}`, or with `"points": [["2026-05-01T08:00+02:00", 7.9]]`,
        or a list of such objects; or a table with the columns time, channel, value, unit; or a bare number.
    kind
        The content type.
    channel, unit
        What is meant where the body does not say.

    Raises
    ------
    UnusableReading
        If it cannot be read.
    """
    try:
        text = body.decode("utf-8-sig").strip()
    except UnicodeDecodeError:
        raise UnusableReading("The body is no UTF-8 text.", "Send JSON, a CSV table or a number.") from None
    if not text:
        raise UnusableReading("The body is empty.", "Send JSON, a CSV table or a number.")
    if "csv" in kind:
        return _from_table(text, channel, unit)
    if text[0] in "{[":
        return _from_json(text, channel, unit)
    return (Batch(channel=channel, unit=unit, points=(Point(value=_number(text)),)),)


def _from_json(text: str, channel: str, unit: str) -> tuple[Batch, ...]:
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        raise UnusableReading(
            "The body is no JSON.", 'Send, for example, {"channel": "oxygen", "unit": "mg/L", "value": 7.9}.'
        ) from None
    items = told if isinstance(told, list) else [told]
    if not all(isinstance(item, dict) for item in items):
        raise UnusableReading(
            "Each entry must be an object.", 'Send, for example, {"channel": "oxygen", "unit": "mg/L", "value": 7.9}.'
        )
    found: dict[tuple[str, str], list[Point]] = {}
    for item in items:
        place = (str(item.get("channel") or channel), str(item.get("unit") or unit))
        found.setdefault(place, []).extend(_points(item))
    return _batches(found)


def _batches(found: dict[tuple[str, str], list[Point]]) -> tuple[Batch, ...]:
    """One batch for each channel and unit: each is one writing to the disk, however many values it holds."""
    if sum(map(len, found.values())) > POINTS_AT_MOST:
        raise UnusableReading("These are too many values at once.", f"Send at most {POINTS_AT_MOST}.")
    return tuple(Batch(channel=name, unit=of, points=tuple(points)) for (name, of), points in found.items())


def _points(item: dict[str, object]) -> tuple[Point, ...]:
    if "points" in item:
        rows = item["points"]
        if (
            not isinstance(rows, list)
            or len(rows) > POINTS_AT_MOST
            or not all(isinstance(row, list) and len(row) == 2 for row in rows)
        ):
            raise UnusableReading('"points" must be a list of [time, value].', f"Send at most {POINTS_AT_MOST} pairs at once.")
        return tuple(Point(value=_number(value), at=_time(at)) for at, value in rows)
    return (Point(value=_number(item.get("value")), at=_time(item.get("at"))),)


def _from_table(text: str, channel: str, unit: str) -> tuple[Batch, ...]:
    try:
        rows = list(csv.DictReader(io.StringIO(text)))
    except csv.Error as fault:
        raise UnusableReading(f"The body is no table: {fault}.", "Send lines with commas, under a line of names.") from None
    if "value" not in (rows[0] if rows else ()):
        raise UnusableReading("The table has no column 'value'.", "Begin it with the line: time,channel,value,unit")
    found: dict[tuple[str, str], list[Point]] = {}
    for row in rows:
        place = (row.get("channel") or channel, row.get("unit") or unit)
        found.setdefault(place, []).append(Point(value=_number(row.get("value")), at=_time(row.get("time"))))
    return _batches(found)


def _number(value: object) -> float:
    if isinstance(value, str):
        return parse_number(value, decimal=".")  # a probe's own text, whichever sign its person types
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value or abs(value) > 1e300:
        raise UnusableReading(f"{value!r} is no value.", "Send a number.")
    return float(value)


def _time(value: object) -> datetime | None:
    if value in (None, ""):
        return None
    try:
        moment = (
            datetime.fromisoformat(str(value))
            if not isinstance(value, (int, float))
            else datetime.fromtimestamp(value).astimezone()
        )
    except (ValueError, OverflowError, OSError):
        raise UnusableReading(
            f"{value!r} is no time.", "Write it as 2026-05-01T08:00:00+02:00, or as seconds since 1970."
        ) from None
    if moment.tzinfo is None:
        raise UnusableReading(f"The time {value} has no offset.", "Write it as 2026-05-01T08:00:00+02:00.")
    return moment

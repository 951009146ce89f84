"""One truth written as many people and instruments would: each odd file with what must come out. All of it is made up.

Two foods, two bottles each, four hours; counts of cells. What a file cannot say is answered by one reply at most.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import openpyxl

HOURS = (0, 6, 12, 24)
BREWS = {("kelp", "A"): (1.05e6, 2.5e6, 6.25e6, 9.5e6), ("kelp", "B"): (1.15e6, 2.75e6, 5.5e6, 8.25e6),
         ("plain", "C"): (0.95e6, 1.5e6, 2.25e6, 3.75e6), ("plain", "D"): (1.25e6, 1.75e6, 2.15e6, 3.25e6)}  # fmt: skip
START = datetime(2026, 4, 1, 8, 0, tzinfo=UTC)
Course = frozenset[tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class Odd:
    """A file, the one answer it needs, and what must come out: the course of each brew, whatever its name."""

    id: str
    content: bytes
    name: str = "x.csv"
    reply: Mapping[str, str] = field(default_factory=dict)
    courses: frozenset[Course]
    unit: str = "cells/mL"
    role_courses: frozenset[Course] = frozenset()  # controls
    logs: frozenset[tuple[str, Course]] = frozenset()  # channel and course
    sds: bool = False
    says: str = ""  # a word that must be said of what is left out


def course(values: tuple[float, ...], hours: tuple[float, ...] = HOURS) -> Course:
    return frozenset((float(hour), float(f"{value:.6g}")) for hour, value in zip(hours, values, strict=True))


ALL = frozenset(course(values) for values in BREWS.values())
OD = {key: tuple(value / 8e6 for value in values) for key, values in BREWS.items()}
ALL_OD = frozenset(course(tuple(float(f"{one:.4f}") for one in values)) for values in OD.values())


def long_rows(sep: str = ",", decimal: str = ".", fmt: str = "{:.6g}", time=lambda hour: str(hour)) -> str:
    rows = []
    for (arm, bottle), values in BREWS.items():
        for hour, value in zip(HOURS, values, strict=True):
            shown = fmt.format(value).replace(".", decimal)
            rows.append(sep.join((arm, bottle, time(hour), shown)))
    return "\n".join(rows) + "\n"


def plain(header: str, sep: str = ",", **how) -> bytes:
    return (header + "\n" + long_rows(sep, **how)).encode()


def wide_by(label, header: str, scale: float = 1.0, sep: str = ",", decimal: str = ".") -> bytes:
    lines = [sep.join([header, *(label(arm, bottle) for arm, bottle in BREWS)])]
    for place, hour in enumerate(HOURS):
        lines.append(sep.join([str(hour), *(f"{values[place] * scale:.6g}".replace(".", decimal) for values in BREWS.values())]))
    return ("\n".join(lines) + "\n").encode()


def clock(pattern: str, zone_h: float = 0.0):
    return lambda hour: (START + timedelta(hours=hour + zone_h)).strftime(pattern)


def sheet(rows_by_sheet: dict[str, list[list]], hidden: tuple[str, ...] = ()) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in rows_by_sheet.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
        if name in hidden:
            page.sheet_state = "hidden"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def table_rows() -> list[list]:
    rows: list[list] = [["treatment", "bottle", "hours", "cells/mL"]]
    rows += [
        [arm, bottle, hour, value] for (arm, bottle), values in BREWS.items() for hour, value in zip(HOURS, values, strict=True)
    ]
    return rows

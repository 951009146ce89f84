"""Odd files of a second round: looks of spreadsheets, clocks of twelve hours, shares, and columns that only look like results.

All of it is made up.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from tests.tables._dialects import ALL, HOURS, START, Odd, course, long_rows, plain, table_rows

HEAD = "treatment,bottle,hours,cells/mL"
AFTERNOON = "a clock of 12 hours: the later ones are of the afternoon"


def dressed(rows: list[list], dress: Callable[[Worksheet], object]) -> bytes:
    """A workbook of one sheet, dressed up."""
    book = openpyxl.Workbook()
    page = book.active
    for row in rows:
        page.append(row)
    dress(page)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_column(name: str, cell: Callable[[int], str]) -> bytes:
    """The truth with one column more."""
    lines = long_rows().splitlines()
    return (f"{HEAD},{name}\n" + "\n".join(f"{line},{cell(at)}" for at, line in enumerate(lines)) + "\n").encode()


def stranger_files() -> Iterator[Odd]:
    yield from _looks()
    yield from _clocks()
    yield from _numbers()
    yield from _not_results()
    yield from _logs()
    yield from _slips()


def _looks() -> Iterator[Odd]:
    wrong = ["kelp", "A", 6, 9.9e7]
    rows = table_rows()
    at = next(place for place, row in enumerate(rows) if row[:3] == wrong[:3]) + 1
    rows.insert(at, wrong)

    def hide(page: Worksheet) -> None:
        page.row_dimensions[at + 1].hidden = True

    def strike(page: Worksheet) -> None:
        for column in range(1, 5):
            page.cell(at + 1, column).font = Font(strike=True)

    yield Odd(
        id="a hidden row", content=dressed(rows, hide), name="x.xlsx", reply={"hidden": "leave out"}, courses=ALL, says="hidden"
    )
    yield Odd(
        id="a struck row",
        content=dressed(rows, strike),
        name="x.xlsx",
        reply={"struck out": "leave out"},
        courses=ALL,
        says="struck",
    )
    older = [[*row, "old cells/mL" if place == 0 else 7] for place, row in enumerate(table_rows())]

    def narrow(page: Worksheet) -> None:
        page.column_dimensions["E"].hidden = True

    yield Odd(id="a hidden column", content=dressed(older, narrow), name="x.xlsx", reply={"hidden": "leave out"}, courses=ALL)

    def remark(page: Worksheet) -> None:
        page["D3"].comment = Comment("spilled", "somebody")

    yield Odd(id="a pinned remark", content=dressed(table_rows(), remark), name="x.xlsx", courses=ALL, says="pinned")
    shares = [["hours", "DO (%)"], *([hour, value] for hour, value in zip((0, 1, 2), (0.98, 0.95, 0.9), strict=True))]

    def percent(page: Worksheet) -> None:
        for row in range(2, 5):
            page.cell(row, 2).number_format = "0.0%"

    log = frozenset({("oxygen", course((98.0, 95.0, 90.0), (0, 1, 2)))})
    yield Odd(id="shares shown as percent", content=dressed(shares, percent), name="x.xlsx", courses=frozenset(), logs=log)
    plainly = "hours,DO (%)\n0,0.98\n1,0.95\n2,0.9\n"
    yield Odd(id="shares written out", content=plainly.encode(), reply={"share:DO (%)": "100 %"}, courses=frozenset(), logs=log)


def _clocks() -> Iterator[Odd]:
    values = (1e6, 2e6, 3e6, 4e6)
    one = frozenset({course(values, (0, 4, 8, 11))})
    times = ("8:00 a.m.", "12:00 p.m.", "4:00 p.m.", "7:00 p.m.")
    dotted = "tank,when,cells/mL\n" + "".join(
        f"A,04/01/2026 {time},{value:g}\n" for time, value in zip(times, values, strict=True)
    )
    yield Odd(id="a.m. and p.m.", content=dotted.encode(), reply={"zone": "UTC", "day first": "no"}, courses=one)
    lost = "tank,date,time,cells/mL\n" + "".join(
        f"A,2026-04-01,{time},{value:g}\n" for time, value in zip(("8:00", "12:00", "4:00", "7:00"), values, strict=True)
    )
    yield Odd(
        id="twelve hours, halves lost", content=lost.encode(), reply={"zone": "UTC", "twelve hours": AFTERNOON}, courses=one
    )
    short = "tank,date,time,cells/mL\n" + "".join(
        f"A,2026-04-0{1 + (8 + hour) // 24},{(8 + hour) % 24}:00,{value:g}\n"
        for hour, value in zip((0, 1, 2, 20), values, strict=True)
    )
    yield Odd(
        id="hours of one digit", content=short.encode(), reply={"zone": "UTC"}, courses=frozenset({course(values, (0, 1, 2, 20))})
    )
    serial = plain("treatment,bottle,when,cells/mL", time=lambda hour: f"{46113.0 + (8 + hour) / 24:.8f}")
    yield Odd(id="days since 1900", content=serial, reply={"zone": "UTC"}, courses=ALL)


def _numbers() -> Iterator[Odd]:
    grouped = "tank;hours;cells/mL\nA;0;1.050\nA;6;2.500\nA;12;6.250\n"
    yield Odd(
        id="thousands or three decimals",
        content=grouped.encode(),
        reply={"decimal:cells/mL": "comma"},
        courses=frozenset({course((1050, 2500, 6250), (0, 6, 12))}),
    )
    foot = f"{HEAD}\n{long_rows()}Total,,,5e7\nAverage,,,3.1e6\nMax,,,9.5e6\nMin,,,9.5e5\n"
    yield Odd(id="totals at the foot", content=foot.encode(), courses=ALL)
    largest = f"{HEAD}\n{long_rows()}" + "".join(f"Max,,{hour},9.5e6\n" for hour in HOURS)
    yield Odd(id="largest of each hour", content=largest.encode(), courses=ALL)
    minus = "hours,Temp (C),DO (mg/L)\n0,\u22120.5,12.1\n1,\u22120.3,12\n2,0.4,11.9\n"
    cold = frozenset({("temperature", course((-0.5, -0.3, 0.4), (0, 1, 2))), ("oxygen", course((12.1, 12.0, 11.9), (0, 1, 2)))})
    yield Odd(id="a true minus sign", content=minus.encode(), courses=frozenset(), logs=cold)


def _not_results() -> Iterator[Odd]:
    yield Odd(id="what is eaten is no dose", content=with_column("glucose (mg/L)", lambda at: str(1500 - 90 * at)), courses=ALL)
    yield Odd(
        id="logarithms beside",
        content=with_column("ln cells/mL", lambda at: f"{13.8 + at / 10:.2f}"),
        courses=ALL,
        says="worked out",
    )
    yield Odd(
        id="a ratio beside",
        content=with_column("relative cells/mL", lambda at: f"{1 + at / 10:.2f}"),
        courses=ALL,
        says="worked out",
    )
    yield Odd(id="nitrogen is no number of tests", content=with_column("NO3-N (mg/L)", lambda at: str(3 + at)), courses=ALL)
    yield Odd(id="dissolved solids are no oxygen", content=with_column("TDS (mg/L)", lambda at: "12.5"), courses=ALL)


def _logs() -> Iterator[Odd]:
    hours, oxygen = (0.0, 1.0, 2.0), (8.2, 8.0, 7.5)
    one = ("oxygen", course(oxygen, hours))
    room = "hours,Room (\u00b0C),Wasser (\u00b0C),DO (mg/L)\n" + "".join(
        f"{hour:g},{25 + hour:g},{18 + hour / 10:g},{value}\n" for hour, value in zip(hours, oxygen, strict=True)
    )
    water = ("temperature", course((18.0, 18.1, 18.2), hours))
    yield Odd(id="the room and the water", content=room.encode(), courses=frozenset(), logs=frozenset({one, water}))
    two = "hours,DO1 (mg/L),DO2 (mg/L),T1 (C),T2 (C)\n" + "".join(
        f"{hour:g},{value},{value - 1:g},{20 + hour / 10:g},{21 + hour / 10:g}\n"
        for hour, value in zip(hours, oxygen, strict=True)
    )
    logs = frozenset(
        {
            one,
            ("oxygen", course(tuple(value - 1 for value in oxygen), hours)),
            ("temperature", course((20.0, 20.1, 20.2), hours)),
            ("temperature", course((21.0, 21.1, 21.2), hours)),
        }
    )
    yield Odd(id="numbered probes", content=two.encode(), courses=frozenset(), logs=logs)
    salt = "hours,DO (mg/L),Salinity (PSU),TDS (mg/L)\n" + "".join(
        f"{hour:g},{value},0.{3 + at},33{at}\n" for at, (hour, value) in enumerate(zip(hours, oxygen, strict=True))
    )
    yield Odd(
        id="salinity",
        content=salt.encode(),
        courses=frozenset(),
        logs=frozenset({one, ("salinity", course((0.3, 0.4, 0.5), hours))}),
        says="TDS",
    )
    autumn = "timestamp,DO (mg/L)\n" + "".join(
        f"2026-10-25 {clock},{8 - at / 10:g}\n"
        for at, clock in enumerate(("01:00", "01:30", "02:00", "02:30", "02:00", "02:30", "03:00"))
    )
    since = (datetime(2026, 10, 24, 23, tzinfo=UTC) - START).total_seconds() / 3600.0
    went = course(tuple(8 - at / 10 for at in range(7)), tuple(since + at / 2 for at in range(7)))
    yield Odd(
        id="an hour that came twice",
        content=autumn.encode(),
        reply={"zone": "Europe/Berlin"},
        courses=frozenset(),
        logs=frozenset({("oxygen", went)}),
        says="came twice",
    )


def _slips() -> Iterator[Odd]:
    typed = plain("treatment,bottle,hours,cells/mL").decode() + "kelp,A,1200,1e6\n"
    yield Odd(
        id="an hour mistyped", content=typed.encode(), reply={"far apart": "leave them out"}, courses=ALL, says="far from all"
    )
    body = "tank,hours,cells/mL,cells/mL\nA,0,1e6,1.1e6\nA,6,2e6,2.1e6\n"
    both = frozenset({frozenset({(0.0, 1e6), (0.0, 1.1e6), (6.0, 2e6), (6.0, 2.1e6)})})
    yield Odd(id="one name twice", content=body.encode(), courses=both)
    blank = "tank,hours,OD600,OD600 blank\nA,0,0.12,0.04\nA,6,0.5,0.04\n"
    yield Odd(
        id="a column of blanks",
        content=blank.encode(),
        courses=frozenset({course((0.12, 0.5), (0, 6))}),
        role_courses=frozenset({course((0.04, 0.04), (0, 6))}),
        unit="OD",
    )
    limits = "tank,hours,MPN/100mL,95% low,95% high\nA,0,23,9,86\nA,6,1100,180,4200\n"
    yield Odd(
        id="limits of a most probable number",
        content=limits.encode(),
        courses=frozenset({course((23, 1100), (0, 6))}),
        unit="MPN/100 mL",
        sds=True,
    )
    for language, header in (
        ("dutch", "behandeling;fles;uren;cellen/mL"),
        ("italian", "trattamento;bottiglia;ore;cellule/mL"),
        ("polish", "wariant;butelka;godziny;kom\u00f3rki/mL"),
        ("swedish", "behandling;flaska;timmar;celler/mL"),
    ):
        yield Odd(id=language, content=plain(header, ";", decimal=","), courses=ALL)

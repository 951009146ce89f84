"""One truth in the dialects of text, time, layout, logs and sheets that people and instruments write."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from tests.tables._odd import (
    ALL,
    ALL_OD,
    BREWS,
    HOURS,
    OD,
    START,
    Course,
    Odd,
    clock,
    course,
    long_rows,
    plain,
    sheet,
    table_rows,
    wide_by,
)
from tests.tables._troubles import dialects_of_trouble


def odd_files() -> Iterator[Odd]:
    yield from _dialects_of_text()
    yield from _dialects_of_time()
    yield from _dialects_of_layout()
    yield from dialects_of_trouble()
    yield from _dialects_of_logs()
    yield from _dialects_of_sheets()


def _dialects_of_text() -> Iterator[Odd]:
    yield Odd(id="plain", content=plain("treatment,bottle,hours,cells/mL"), courses=ALL)
    yield Odd(id="tabs", content=plain("treatment\tbottle\thours\tcells_per_mL", "\t"), courses=ALL)
    yield Odd(id="semicolons", content=plain("treatment;bottle;time (h);cells [cells/mL]", ";", decimal=","), courses=ALL)
    yield Odd(id="bars", content=plain("treatment|bottle|hours|cells/mL", "|"), courses=ALL)
    yield Odd(id="sep line", content=b"sep=;\n" + plain("treatment;bottle;hours;cells/mL", ";"), courses=ALL)
    german = "Messger\u00e4t 12;Serie 7\nOrt;Schuppen\n\nBehandlung;Flasche;Stunden nach Start;Zellzahl (Zellen/mL)\n"
    yield Odd(id="german", content=(german + long_rows(";", ",")).encode("cp1252"), courses=ALL)
    french = "traitement;flacon;temps (h);cellules/mL\n"
    yield Odd(id="french", content=(french + long_rows(";", ",", "{:.3e}")).encode("utf-8-sig"), courses=ALL)
    yield Odd(id="spanish", content=plain("tratamiento;bottle;horas;c\u00e9lulas/mL", ";"), courses=ALL)
    yield Odd(id="utf-16", content=plain("treatment,bottle,hours,cells/mL").decode().encode("utf-16"), courses=ALL)
    yield Odd(id="utf-16 unmarked", content=plain("treatment,bottle,hours,cells/mL").decode().encode("utf-16-le"), courses=ALL)
    yield Odd(id="windows lines", content=plain("treatment,bottle,hours,cells/mL").replace(b"\n", b"\r\n"), courses=ALL)
    yield Odd(id="quoted thousands", content=plain("treatment,bottle,hours,cells/mL", fmt='"{:,.0f}"'), courses=ALL)
    yield Odd(
        id="spaced thousands",
        content=plain("treatment;bottle;hours;cells/mL", ";", fmt="{:,.0f}").replace(b",", b" "),
        courses=ALL,
    )
    million = "\n".join(
        f"{arm},{bottle},{hour},{value / 1e6:.6g}"
        for (arm, bottle), values in BREWS.items()
        for hour, value in zip(HOURS, values, strict=True)
    )
    yield Odd(id="millions", content=f"treatment,bottle,hours,cells (x10^6 cells/mL)\n{million}\n".encode(), courses=ALL)
    yield Odd(
        id="times ten to the",
        content=plain("treatment,bottle,hours,cells/mL", fmt="{:.6g}").replace(b"e+06", b" x 10^6"),
        courses=ALL,
    )
    yield Odd(id="minus one units", content=plain("Treatment,Bottle,Time [h],Cells mL-1"), courses=ALL)
    yield Odd(
        id="long header",
        content=plain("Treatment name,Replicate bottle,Hours since start,Total cell count (cells/mL)"),
        courses=ALL,
    )
    yield Odd(id="camel case", content=plain("treatment,bottle,elapsedTime_h,cells_per_mL"), courses=ALL)
    unit_column = (
        plain("treatment,bottle,hours,value").decode().replace("\n", ",cells/mL\n").replace("value,cells/mL", "value,unit")
    )
    yield Odd(id="unit in a column", content=unit_column.encode(), courses=ALL)
    in_cell = plain("treatment,bottle,hours,result", fmt="{:.6g} cells/mL")
    yield Odd(id="unit in the cell", content=in_cell, courses=ALL)


def _dialects_of_time() -> Iterator[Odd]:
    head = "treatment,bottle,{},cells/mL"
    yield Odd(id="minutes", content=plain(head.format("time (min)"), time=lambda hour: str(hour * 60)), courses=ALL)
    yield Odd(id="days", content=plain(head.format("time (d)"), time=lambda hour: str(hour / 24)), courses=ALL)
    yield Odd(id="hours in cells", content=plain(head.format("time"), time=lambda hour: f"{hour} h"), courses=ALL)
    yield Odd(id="T labels", content=plain(head.format("time (h)"), time=lambda hour: f"T{hour}"), courses=ALL)
    yield Odd(id="no unit of time", content=plain(head.format("time")), reply={"unit:time": "h"}, courses=ALL)
    yield Odd(id="iso clock", content=plain(head.format("timestamp"), time=clock("%Y-%m-%dT%H:%M:%SZ")), courses=ALL)
    yield Odd(
        id="clock without zone",
        content=plain(head.format("sampled at"), time=clock("%Y-%m-%d %H:%M", 2.0)),
        reply={"zone": "+02:00"},
        courses=ALL,
    )
    two = plain("treatment;bottle;Datum;Uhrzeit;cells/mL", ";", time=clock("%d.%m.%Y;%H:%M", 2.0))
    yield Odd(id="date and time apart", content=two, reply={"zone": "+02:00"}, courses=ALL)
    yield Odd(
        id="day or month",
        content=plain(head.format("date time"), time=clock("%d/%m/%Y %H:%M+00:00").__call__),
        reply={"day first": "yes"},
        courses=ALL,
    )
    yield Odd(id="durations", content=plain(head.format("elapsed"), time=lambda hour: f"{hour}:00:00"), courses=ALL)
    yield Odd(
        id="named month", content=plain(head.format("when"), time=clock("%d %b %Y %H:%M")), reply={"zone": "UTC"}, courses=ALL
    )


def _dialects_of_layout() -> Iterator[Odd]:
    across = [",".join(["treatment", "bottle", *(f"{hour} h" for hour in HOURS)])]
    across += [",".join([arm, bottle, *(f"{value:.6g}" for value in values)]) for (arm, bottle), values in BREWS.items()]
    text = ("\n".join(across) + "\n").encode()
    yield Odd(id="hours across", content=text, reply={"unit:cell": "cells/mL"}, courses=ALL)
    tanks = wide_by(lambda arm, bottle: f"{arm} {bottle} (cells/mL)", "hours")
    yield Odd(id="brews across", content=tanks, courses=ALL)
    yield Odd(
        id="brews across, comma",
        content=wide_by(lambda arm, bottle: f"{arm} {bottle} (cells/mL)", "Stunden", sep=";", decimal=","),
        courses=ALL,
    )
    yield Odd(id="tanks across", content=wide_by(lambda arm, bottle: f"cells tank {bottle} (cells/mL)", "hours"), courses=ALL)
    names = list(BREWS)
    two_rows = ["hours," + ",".join(f"Tank {bottle},," for _, bottle in names).replace(",,,", ",,")]
    two_rows = [",".join(["", *(cell for _, bottle in names for cell in (f"Tank {bottle}", ""))])]
    two_rows.append(",".join(["hours", *(cell for _ in names for cell in ("cells (cells/mL)", "pH"))]))
    for place, hour in enumerate(HOURS):
        two_rows.append(",".join([str(hour), *(cell for values in BREWS.values() for cell in (f"{values[place]:.6g}", "6.8"))]))
    yield Odd(id="two rows of names", content=("\n".join(two_rows) + "\n").encode(), reply={"transfer": "not known"}, courses=ALL)
    units_row = "treatment,bottle,time,cells\n,,h,cells/mL\n" + long_rows()
    yield Odd(id="units in a second row", content=units_row.encode(), courses=ALL)
    merged = []
    for (arm, bottle), values in BREWS.items():
        for place, hour in enumerate(HOURS):
            merged.append(",".join((f"{arm} {bottle}" if place == 0 else "", str(hour), f"{values[place]:.6g}")))
    yield Odd(id="merged cells", content=("tank,hours,cells/mL\n" + "\n".join(merged) + "\n").encode(), courses=ALL)
    sections = []
    for (_, bottle), values in BREWS.items():
        sections.append(f"Tank {bottle},,")
        sections += [f"{hour},{values[place]:.6g}," for place, hour in enumerate(HOURS)]
    yield Odd(id="section lines", content=("hours,cells/mL,notes\n" + "\n".join(sections) + "\n").encode(), courses=ALL)
    stacked = "\n\n".join(
        f"Tank {bottle}\nhours,cells/mL\n" + "\n".join(f"{hour},{values[place]:.6g}" for place, hour in enumerate(HOURS))
        for (_, bottle), values in BREWS.items()
    )
    yield Odd(id="stacked tables", content=(stacked + "\n").encode(), courses=ALL)
    blank_rows = plain("treatment,bottle,hours,cells/mL").decode().replace("\n", "\n\n")
    yield Odd(id="blank rows", content=blank_rows.encode(), courses=ALL)
    repeated = (
        plain("treatment,bottle,hours,cells/mL").decode().replace("plain,C,0", "treatment,bottle,hours,cells/mL\nplain,C,0")
    )
    yield Odd(id="names repeated", content=repeated.encode(), courses=ALL)
    footer = plain("treatment,bottle,hours,cells/mL").decode() + "\nCounted by hand.\n"
    yield Odd(id="remark below", content=footer.encode(), courses=ALL, says="Counted by hand")
    wells = _plates()
    yield Odd(
        id="plates by hour", content=wells, reply={"layout": "A1=kelp; A2=kelp; B1=plain; B2=plain"}, courses=ALL_OD, unit="OD"
    )
    kinetic = ["Time (h),A1,A2,A3,B1,B2,B3"]
    for place, hour in enumerate(HOURS):
        kinetic.append(",".join([str(hour), *(f"{values[place]:.4f}" for values in OD.values()), "0.04", "0.04"]))
    layout = {"layout": "A1=kelp;A2=kelp;A3=plain;B1=plain", "unit:cell": "OD"}
    yield Odd(id="wells across", content=("\n".join(kinetic) + "\n").encode(), reply=layout, courses=ALL_OD, unit="OD")


def _plates() -> bytes:
    lines: list[str] = []
    for place, hour in enumerate(HOURS):
        lines += [f"OD600 time {hour} h", "," + ",".join(map(str, range(1, 13)))]
        found = [f"{values[place]:.4f}" for values in OD.values()]
        for letter in "ABCDEFGH":
            cells = {"A": found[:2], "B": found[2:]}.get(letter, []) + ["0.0400"] * 12
            lines.append(f"{letter}," + ",".join(cells[:12]))
        lines.append("")
    return ("\n".join(lines) + "\n").encode()


def _log(channel: str, values: tuple[float, ...], hours: tuple[float, ...]) -> tuple[str, Course]:
    return channel, course(values, hours)


def _dialects_of_logs() -> Iterator[Odd]:
    hours, oxygen = (0.0, 1.0, 2.0, 3.0), (8.2, 8.0, 7.5, 7.1)
    one = frozenset({_log("oxygen", oxygen, hours)})
    text = "hours,DO (mg/L)\n" + "".join(f"{hour:g},{value}\n" for hour, value in zip(hours, oxygen, strict=True))
    yield Odd(id="a log", content=text.encode(), courses=frozenset(), logs=one)
    units = "Logger 7\nsn;12\n\nStunden;DO_mg_per_L;Temp_degC;EC_uS_per_cm\n" + "".join(
        f"{hour:g};{value};20,{place};5{place}0\n".replace(".", ",")
        for place, (hour, value) in enumerate(zip(hours, oxygen, strict=True))
    )
    four = one | {_log("temperature", (20.0, 20.1, 20.2, 20.3), hours), _log("conductivity", (500, 510, 520, 530), hours)}
    yield Odd(id="units behind underlines", content=units.encode(), courses=frozenset(), logs=frozenset(four))
    twice = "hours,DO (mg/L),DO (%)\n" + "".join(
        f"{hour:g},{value},{value * 11:g}\n" for hour, value in zip(hours, oxygen, strict=True)
    )
    yield Odd(id="oxygen twice", content=twice.encode(), courses=frozenset(), logs=one, says="same oxygen")
    mixed = "hours,DO (mg/L)\n0,8.2\n1,8\n2,7.5\n3,90\n4,88\n5,87\n"
    reply = {"mixed:DO (mg/L)": "mixed: up to 25 is mg/L, above is %"}
    found = frozenset({_log("oxygen", (8.2, 8.0, 7.5), hours[:3]), _log("oxygen", (90.0, 88.0, 87.0), (3.0, 4.0, 5.0))})
    yield Odd(id="percent and mg/L in one", content=mixed.encode(), reply=reply, courses=frozenset(), logs=found)
    pair = "hours,DO tank 1 (mg/L),DO tank 2 (mg/L)\n" + "".join(
        f"{hour:g},{value},{value - 1:g}\n" for hour, value in zip(hours, oxygen, strict=True)
    )
    tanks = one | {_log("oxygen", tuple(value - 1 for value in oxygen), hours)}
    yield Odd(id="two tanks, one log", content=pair.encode(), courses=frozenset(), logs=frozenset(tanks))
    named = "tank,hours,DO (mg/L)\n" + "".join(
        f"t{tank},{hour:g},{value - tank + 1:g}\n" for tank in (1, 2) for hour, value in zip(hours, oxygen, strict=True)
    )
    yield Odd(id="two tanks by name", content=named.encode(), courses=frozenset(), logs=frozenset(tanks))
    broken = text.replace("2,7.5", "1.5,ERR\n1.6,9999\n2,7.5")
    yield Odd(id="a broken probe", content=broken.encode(), courses=frozenset(), logs=one, says="no reading")


def _dialects_of_sheets() -> Iterator[Odd]:
    yield Odd(id="a workbook", content=sheet({"counts": table_rows()}), name="x.xlsx", courses=ALL)
    old = [
        [cell if row == 0 or column < 3 else 1.0 for column, cell in enumerate(cells)] for row, cells in enumerate(table_rows())
    ]
    yield Odd(
        id="a hidden sheet",
        content=sheet({"old": old, "counts": table_rows()}, hidden=("old",)),
        name="x.xlsx",
        courses=ALL,
        says="hidden",
    )
    notes = [["This is a trial"], ["by the shed"]]
    yield Odd(id="a page of notes", content=sheet({"read me": notes, "counts": table_rows()}), name="x.xlsx", courses=ALL)
    other = [["compost", "moisture"], ["heap", 0.6]]
    yield Odd(
        id="two kinds of sheets",
        content=sheet({"compost": other, "counts": table_rows()}),
        name="x.xlsx",
        reply={"table": "counts"},
        courses=ALL,
    )
    by_tank = {
        f"Tank {bottle}": [["hours", "cells/mL"], *([hour, value] for hour, value in zip(HOURS, values, strict=True))]
        for (_, bottle), values in BREWS.items()
    }
    yield Odd(id="a sheet a tank", content=sheet(by_tank), name="x.xlsx", courses=ALL)
    dated = [["treatment", "bottle", "sampled at", "cells/mL"]]
    dated += [
        [arm, bottle, (START + timedelta(hours=hour)).replace(tzinfo=None), value]
        for (arm, bottle), values in BREWS.items()
        for hour, value in zip(HOURS, values, strict=True)
    ]
    yield Odd(id="dates in a workbook", content=sheet({"a": dated}), name="x.xlsx", reply={"zone": "UTC"}, courses=ALL)

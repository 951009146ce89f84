"""Files as people have them, read by hand beside: what comes out, or what is asked. All of it is invented."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import openpyxl
import pytest

from aerobe.tables import TableReading, read_table

COUNTS = "tank,hours,cells/mL\n"
LOG = "hours,DO (mg/L)\n"


def read(content: str | bytes, name: str = "x.csv", **replies: str) -> TableReading:
    said = {key.replace("_", " "): value for key, value in replies.items()}
    return read_table(content.encode() if isinstance(content, str) else content, name, said, zone="Europe/Berlin")


def asked(reading: TableReading) -> set[str]:
    return {question.key for question in reading.open_questions}


def results(reading: TableReading) -> list[tuple[str, float, float]]:
    assert reading.ready and reading.rows is not None, reading.open_questions
    return [(row.label, row.elapsed_h if row.elapsed_h is not None else -1.0, row.value) for row in reading.rows.results]


def probe(reading: TableReading, channel: str = "oxygen") -> list[tuple[str, float]]:
    assert reading.rows is not None, reading.open_questions
    found = []
    for one in reading.rows.probes:
        if one.channel == channel:
            moments = [
                f"{hour:g}" if hour is not None else f"{clock:%d %H:%M}" if clock else ""
                for hour, clock in zip(one.elapsed_h, one.clocks, strict=True)
            ]
            found += list(zip(moments, [round(value, 3) for value in one.values], strict=True))
    return found


def log(*times: str, name: str = "time") -> str:
    return f"{name},DO mg/L\n" + "".join(f"{time},{8.0 - at / 10}\n" for at, time in enumerate(times))


CLOCKS = {  # how times are written, the name of their column, and the first and last moment in universal time
    "whole dates under 'time'": (("2026-06-01 08:00", "2026-06-01 09:30"), "time", "01 06:00", "01 07:30"),
    "seconds since 1970": (("1772438400", "1772445600"), "time", "02 08:00", "02 10:00"),
    "milliseconds since 1970": (("1772438400000", "1772445600000"), "timestamp", "02 08:00", "02 10:00"),
    "days as spreadsheets count": (("46083.5", "46083.75"), "sampled at", "02 11:00", "02 17:00"),
    "a zone's short name": (("2026-06-01 08:00 CEST", "2026-06-01 09:00 CEST"), "time", "01 06:00", "01 07:00"),
    "offsets that differ": (("2026-06-01T08:00:00Z", "2026-06-01T12:00:00+02:00"), "time", "01 08:00", "01 10:00"),
    "a zone in the name": (("2026-06-01 08:00", "2026-06-01 09:00"), '"Date Time, GMT-05:00"', "01 13:00", "01 14:00"),
    "the end of a day": (("2026-06-01 23:00", "2026-06-01 24:00"), "time", "01 21:00", "01 22:00"),
    "Uhr": (("2. M\u00e4rz 2026 08:00 Uhr", "2. M\u00e4rz 2026 20:00 Uhr"), "Datum", "02 07:00", "02 19:00"),
    "h between": (("2 mars 2026 08h00", "2 mars 2026 20h00"), "Date", "02 07:00", "02 19:00"),
    "morning and evening": (("3/13/2026 8:00 AM", "3/13/2026 8:00 PM"), "time", "13 07:00", "13 19:00"),
    "an hour that came twice": (
        ("2026-10-25 02:00", "2026-10-25 02:30", "2026-10-25 02:00", "2026-10-25 02:30"),
        "time",
        "25 00:00",
        "25 01:30",
    ),
}


@pytest.mark.parametrize("case", CLOCKS)
def test_moments_are_read_however_they_are_written(case: str) -> None:
    times, name, first, last = CLOCKS[case]
    found = probe(read(log(*times, name=name)))
    assert (found[0][0], found[-1][0], len(found)) == (first, last, len(times))


def test_a_zone_that_a_line_above_states_holds_and_two_are_asked_about() -> None:
    body = log("2026-06-01 08:00", "2026-06-01 09:00", name="Date Time")
    assert probe(read("Logger\nTimezone: GMT-05:00\n\n" + body))[0][0] == "01 13:00"
    assert asked(read("Clock: UTC\nTimezone: GMT-05:00\n\n" + body)) == {"zone"}


def test_clocks_without_colons_and_clocks_that_pass_midnight() -> None:
    assert [time for time, _ in probe(read("date,time,DO mg/L\n2026-06-01,0800,8\n2026-06-01,1330,7\n"))] == [
        "01 06:00",
        "01 11:30",
    ]
    night = read(log("22:00", "23:30", "00:30"), date="2026-06-01", **{"clock:time": "time of day"})
    assert [time for time, _ in probe(night)] == ["01 20:00", "01 21:30", "01 22:30"]
    assert "midnight" in {question.key for question in night.questions}


def test_an_hour_that_the_zone_skipped_is_asked_about() -> None:
    content = log("2026-03-29 01:30", "2026-03-29 02:30", "2026-03-29 03:30")
    assert asked(read(content)) == {"no such hour"}
    kept = read(content, no_such_hour="it kept the time of the winter")
    assert [time for time, _ in probe(kept)] == ["29 00:30", "29 01:30", "29 02:30"]
    assert len(probe(read(content, no_such_hour="leave out"))) == 2


def test_a_share_of_living_cells_is_no_oxygen_and_samples_name_brews() -> None:
    head = "Instrument;Counter 3\nUnits;10^6 cells/mL\n\nSample ID;Time (h);Total;Viability (%)\n"
    reading = read(head + "A;0;1,05;85,7\nA;12;2,5;84\nB;0;1,1;81\nB;12;2,0;85\n", **{"value column": "Total"})
    assert results(reading) == [("A", 0.0, 1.05e6), ("A", 12.0, 2.5e6), ("B", 0.0, 1.1e6), ("B", 12.0, 2.0e6)]
    assert reading.rows is not None and not reading.rows.probes


def test_results_beside_dilutions_are_not_multiplied_twice() -> None:
    plates = "tank,hours,dilution,colonies,CFU/mL\nA,0,1e-3,35,3.5e5\nA,12,1e-4,62,6.2e6\n"
    reading = read(plates)
    assert results(reading) == [("A", 0.0, 3.5e5), ("A", 12.0, 6.2e6)]
    assert reading.rows is not None and {row.dilution for row in reading.rows.results} == {1.0}
    alone = plates.replace(",colonies", "").replace(",35,", ",").replace(",62,", ",")
    assert asked(read(alone)) == {"dilution:dilution"}
    multiplied = read(alone, **{"dilution:dilution": "to be multiplied"})
    assert multiplied.rows is not None and {row.dilution for row in multiplied.rows.results} == {1e3, 1e4}


def test_spreads_as_relative_ones_limits_and_words_in_the_name() -> None:
    def errors(header: str, row: str) -> list[float | None]:
        reading = read(f"tank,hours,{header}\nA,0,{row}\nB,0,{row}\n", means_of="tests of one brew")
        assert reading.rows is not None
        return [None if row.uncertainty is None else round(row.uncertainty, 2) for row in reading.rows.results]

    assert errors("cells/mL,CV%", "1e6,12") == [1.2e5, 1.2e5]
    # ln(4/1) / (2 * 1.96) of 200: limits of counts are even on a scale of logarithms.
    assert errors("CFU/mL,95% LCL,95% UCL", "200,100,400") == [70.73, 70.73]
    assert errors('"cells/mL (mean \u00b1 SE, n=3)"', "1e6 \u00b1 1e5") == [1e5, 1e5]
    assert errors('"cells/mL (mean \u00b1 SD, n=4)"', "1e6 \u00b1 1e5") == [5e4, 5e4]


def test_rows_pasted_twice_count_once_and_twins_of_one_hour_are_repeats() -> None:
    body = "A,0,1e6\nA,12,4e6\nB,0,1.1e6\n"
    pasted = read(COUNTS + body + body)
    assert len(results(pasted)) == 3 and pasted.rows is not None and "3 doubled rows" in " ".join(pasted.rows.left_out)
    assert len(results(read(COUNTS + "A,0,1e6\nA,0,1e6\n"))) == 2


def test_a_logger_that_begins_anew_is_not_one_course() -> None:
    content = LOG + "0,8.1\n1,8.0\n2,7.5\n0.5,8.3\n1.5,8.2\n"
    assert asked(read(content)) == {"runs:log"}
    apart = read(content, **{"runs:log": "runs of their own"})
    assert apart.rows is not None and [len(one.values) for one in apart.rows.probes] == [3, 2]
    assert len(probe(read(content, **{"runs:log": "only the first counts"}))) == 3
    assert len(probe(read(LOG + "0,8.1\n1,8.0\n2,7.5\n0,8.1\n1,8.0\n"))) == 5  # pasted twice: one course still


def test_names_that_come_again_in_another_order_hold_for_the_rows_below_them() -> None:
    content = "hours,DO (mg/L),Temp (C)\n0,8.1,20\n1,8.0,21\nhours,Temp (C),DO (mg/L)\n3,22,7.9\n"
    reading = read(content)
    assert probe(reading) == [("0", 8.1), ("1", 8.0), ("3", 7.9)]
    assert probe(reading, "temperature")[-1] == ("3", 22.0)
    assert asked(read(content.replace("Temp (C),DO (mg/L)\n3,22,7.9", "DO (%),Temp (C)\n3,93,22"))) == {"table"}


def test_what_a_loose_plug_shows_is_no_reading() -> None:
    rows = "0,8.1,20.1\n1,-999,20.2\n2,8.0,655.35\n3,7.9,85\n4,0,20.1\n5,7.9,-127\n6,7.8,20\n"
    content = "hours,DO (mg/L),Temp (C)\n" + rows
    assert asked(read(content)) == {"no reading:DO (mg/L):0"}  # nought may be true
    reading = read(content, **{"no reading:DO (mg/L):0": "yes"})
    assert len(probe(reading)) == 5 and {value for _, value in probe(reading, "temperature")} == {20.1, 20.2, 20.0}
    falling = LOG + "".join(f"{hour},{max(0.0, 8.0 - 2 * hour)}\n" for hour in range(7))
    assert len(probe(read(falling))) == 7  # oxygen that is used up comes to nought by and by


def test_percent_of_a_gas_is_no_percent_of_saturation() -> None:
    content = "hours,O2 (%)\n0,20.9\n1,20.1\n2,18.2\n"
    assert asked(read(content)) == {"percent:O2 (%)"}
    gas = read(content, **{"percent:O2 (%)": "% O2 in gas"})
    assert probe(gas)[0] == ("0", pytest.approx(99.8, abs=0.05))


def test_lines_of_names_and_values() -> None:
    lines = "# logger\n2026-06-01T08:00:00+02:00 DO=8.10mg/L T=20.1C\n--- restart ---\n"
    lines += "2026-06-01T08:05:00+02:00 DO=8.00mg/L T=20.2C\n"
    reading = read(lines, "log.txt")
    assert probe(reading) == [("01 06:00", 8.1), ("01 06:05", 8.0)]
    assert probe(reading, "temperature") == [("01 06:00", 20.1), ("01 06:05", 20.2)]


def test_a_single_letter_is_a_unit_only_behind_its_quantity() -> None:
    assert results(read("hours,Plain C,Plain D\n0,1e6,2e6\n", **{"unit:cell": "cells/mL"})) == [
        ("Plain C", 0.0, 1e6),
        ("Plain D", 0.0, 2e6),
    ]
    assert probe(read("hours,Temp C\n0,20\n1,21\n"), "temperature") == [("0", 20.0), ("1", 21.0)]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    rows: list[list[object]]
    merged: tuple[str, ...] = ()
    replies: Mapping[str, str] = field(default_factory=dict)

    def bytes(self) -> bytes:
        book = openpyxl.Workbook()
        assert book.active is not None
        for row in self.rows:
            book.active.append(row)
        for span in self.merged:
            book.active.merge_cells(span)
        stream = io.BytesIO()
        book.save(stream)
        return stream.getvalue()


def test_names_merged_over_two_rows() -> None:
    rows: list[list[object]] = [["hours", "Kelp", None, "Plain", None], [None, "A", "B", "C", "D"]]
    rows += [[0, 1e6, 1.1e6, 1.2e6, 1.3e6], [6, 2e6, 2.1e6, 2.2e6, 2.3e6]]
    sheet = Sheet(rows=rows, merged=("A1:A2", "B1:C1", "D1:E1"))
    found = results(read(sheet.bytes(), "x.xlsx", **{"unit:cell": "cells/mL"}))
    assert found[:4] == [("Kelp A", 0.0, 1e6), ("Kelp B", 0.0, 1.1e6), ("Plain C", 0.0, 1.2e6), ("Plain D", 0.0, 1.3e6)]


def test_formulas_that_were_never_worked_out_are_no_empty_cells() -> None:
    sheet = Sheet(rows=[["tank", "hours", "cells/mL"], ["A", 0, 1e6], ["A", 12, "=B3*4e6"]])
    reading = read(sheet.bytes(), "x.xlsx")
    assert asked(reading) == {"formulas"} and "1 formulas" in " ".join(reading.ignored)


def test_hours_of_the_lines_above_plates() -> None:
    def plate(hours: int) -> str:
        rows = "\n".join(f"{letter}," + ",".join(f"{0.1 + hours / 100:.3f}" for _ in range(12)) for letter in "ABCDEFGH")
        return f"Read {hours + 1} ({hours}:00:00)\n<>," + ",".join(map(str, range(1, 13))) + f"\n{rows}\n\n"

    reading = read("Date: 2026-03-02\n\n" + plate(0) + plate(6), layout="A1=kelp; B1=plain", **{"unit:value": "OD"})
    assert results(reading) == [("kelp A1", 0.0, 0.1), ("plain B1", 0.0, 0.1), ("kelp A1", 6.0, 0.16), ("plain B1", 6.0, 0.16)]

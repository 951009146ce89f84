"""Files as loggers and people write them; the tables here are made up, their quirks are common ones."""

from __future__ import annotations

import io
import math
import zipfile
from datetime import UTC, datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aerobe.errors import AerobeError, ImportFault
from aerobe.tables import RowsRead, TableReading, read_table, zone_of


def understood(
    text: str | bytes, name: str = "x.csv", *, columns: dict[str, str] | None = None, **replies: str
) -> tuple[TableReading, RowsRead]:
    said = {key.replace("_", " "): value for key, value in replies.items()}
    reading = read_table(text.encode() if isinstance(text, str) else text, name, said, columns=columns, test_named=True)
    assert reading.rows is not None, reading.open_questions
    return reading, reading.rows


def keys_of(reading: TableReading) -> list[str]:
    return [question.key for question in reading.open_questions]


def test_a_german_logger_with_preamble_decimal_commas_and_semicolons() -> None:
    mapping, rows = understood(
        "Messger\u00e4t 3000;SN 12\n\nDatum;Uhrzeit;Sauerstoff (mg/L);Temp_C\n"
        "25.11.2026;08:00:00;8,2;20,1\n25.11.2026;08:00:10;8,3;20,2\n",
        zone="Europe/Berlin",
    )
    assert {column.decimal for column in mapping.columns if column.field in ("oxygen", "temperature")} == {","}
    assert {probe.channel: probe.values for probe in rows.probes} == {"oxygen": [8.2, 8.3], "temperature": [20.1, 20.2]}
    assert rows.probes[0].clocks[0] == datetime(2026, 11, 25, 7, 0, tzinfo=UTC)


def test_units_of_a_header_are_converted_to_house_units() -> None:
    _, rows = understood("minutes,DO [umol/L],Temp [degF],EC [mS/cm],pH\n30,250,68,1.2,6.5\n")
    probes = {probe.channel: probe for probe in rows.probes}
    assert probes["oxygen"].elapsed_h == [0.5]
    assert probes["oxygen"].values == [pytest.approx(7.9995)]  # 31.998 g/mol of oxygen
    assert probes["temperature"].values == [pytest.approx(20.0)]
    assert (probes["conductivity"].values, probes["pH"].values) == ([1200.0], [6.5])


def test_a_probe_in_a_table_of_one_value_a_row_is_a_log_and_a_change_of_oxygen_is_not() -> None:
    _, rows = understood(
        "hours,variable,value,units\n0,dissolved_oxygen,250,umol/L\n1,dissolved_oxygen,wet,umol/L\n1,oxygen_change,-3,umol O2/L\n"
        "2,all_cells,1000,cells/mL\n"
    )
    assert [(probe.channel, probe.values) for probe in rows.probes] == [("oxygen", [pytest.approx(7.9995)])]
    assert [row.variable for row in rows.results] == ["oxygen_change", "all_cells"]
    assert [(fault.row, fault.column) for fault in rows.faults] == [(3, "value")]


def test_a_bare_unit_is_asked_for_and_never_guessed() -> None:
    content = b"time,DO\n0,8\n1,7\n"
    assert keys_of(read_table(content, "x.csv")) == ["unit:time", "unit:DO"]
    settled = read_table(content, "x.csv", columns={"time": "elapsed [min]", "DO": "oxygen [%]"})
    assert settled.ready and settled.rows is not None
    assert settled.rows.probes[0].unit == "% saturation"


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (["03/04/2026 08:00", "04/04/2026 08:00"], True),
        (["03/04/2026 08:00", "13/04/2026 08:00"], False),
        (["04/13/2026 08:00", "04/14/2026 08:00"], False),
        (["03.04.2026 08:00", "04.04.2026 08:00"], False),
        (["04/04/2026 08:00", "05/05/2026 08:00"], False),
    ],
)
def test_dates_that_read_two_ways_are_asked_about(cells: list[str], asked: bool) -> None:
    content = ("when;oxygen mg/L;x\n" + "".join(f"{cell};8;\n" for cell in cells)).encode()
    reading = read_table(content, "x.csv", {"zone": "UTC"}, columns={"when": "clock"})
    assert ("day first" in keys_of(reading)) == asked
    if not asked:
        assert reading.rows is not None and len(reading.rows.probes[0].values) == 2 and not reading.rows.faults


def test_clock_times_without_offset_are_asked_for_their_zone_and_those_with_one_are_not() -> None:
    assert read_table(b"timestamp\tDO mg/L\n2026-05-01T08:00+02:00\t8\n", "x.tsv").ready
    without = b"timestamp\tDO mg/L\n2026-05-01 08:00\t8\n"
    assert keys_of(read_table(without, "x.tsv")) == ["zone"]
    offered = read_table(
        without, "x.tsv", zone="Europe/Berlin"
    )  # the person's own clock: taken unless somebody says no, and said
    assert offered.ready and [question.taken for question in offered.questions] == ["Europe/Berlin"]


def test_an_hour_lost_to_summer_time_is_not_counted() -> None:
    _, rows = understood("timestamp;DO mg/L\n29.03.2026 01:30;8\n29.03.2026 03:30;7\n", zone="Europe/Berlin")
    first, second = rows.probes[0].clocks
    assert first is not None and second is not None
    assert (second - first).total_seconds() == 3600.0


def test_a_bad_row_is_named_with_column_reason_and_remedy_and_the_good_ones_stay() -> None:
    _, rows = understood(
        "hours,biomass (ug C/mL),role,dilution,DO mg/L\n0,12.5,sample,1:10,8\n1,abc,sample,1,7\n2,3,witch,1,7\n3,3,blank,0.5,7\n"
        "x,3,sample,1,7\n,3,sample,1,7\n5,<3,killed,1,400\n6,,,,\n",
        **{"dilution:dilution": "to be multiplied"},
    )
    assert [(fault.row, fault.column) for fault in rows.faults] == [
        (3, "biomass (ug C/mL)"),
        (4, "role"),
        (5, "dilution"),
        (6, "hours"),
        (7, "hours"),
        (8, "DO mg/L"),
    ]
    assert all(fault.reason and fault.remedy for fault in rows.faults)
    assert [(row.row, row.value, row.role, row.dilution, row.below_detection) for row in rows.results] == [
        (2, 12.5, "sample", 10.0, False),
        (8, 3.0, "killed control", 1.0, True),
    ]
    assert rows.empty == 1
    assert rows.probes[0].values == [8.0, 7.0, 7.0, 7.0]  # the probe's cells of rows with a bad test are good


def test_thousands_are_told_from_decimals_by_the_rest_of_the_file() -> None:
    _, english = understood('hours,cells (cells/mL)\n0,"1,234"\n1,"1,234,567.5"\n2,12.25\n')
    assert [row.value for row in english.results] == [1234.0, 1234567.5, 12.25]
    _, german = understood("hours;cells (cells/mL)\n0;1.234\n1;1.234.567,5\n2;12,25\n3;8,5\n")
    assert [row.value for row in german.results] == [1234.0, 1234567.5, 12.25, 8.5]


def test_a_spreadsheet_is_read_by_value_and_a_formula_is_not_run(tmp_path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "notes"
    sheet = book.create_sheet("readings")
    for row in (["hours", "biomass (ug C/mL)", "notes"], [0, 12.5, "a"], [6.5, 40, "=cmd|' /C calc'!A0"], [12, "<3", None]):
        sheet.append(row)
    path = tmp_path / "x.xlsx"
    book.save(path)
    _, rows = understood(path.read_bytes(), "x.xlsx", formulas="read them as empty")
    got = [(row.elapsed_h, row.value, row.below_detection) for row in rows.results]
    assert got == [(0, 12.5, False), (6.5, 40, False), (12, 3, True)]


def test_spreadsheet_dates_keep_their_time(tmp_path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["timestamp", "DO mg/L"])
    book.active.append([datetime(2026, 5, 1, 8, 30), 8.25])
    path = tmp_path / "x.xlsx"
    book.save(path)
    _, rows = understood(path.read_bytes(), "x.xlsx", zone="+02:00")
    assert rows.probes[0].clocks == [datetime(2026, 5, 1, 6, 30, tzinfo=UTC)]


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        (b"", "x.csv", "no table"),
        (b"hours,value\n", "x.csv", "no table"),
        (b"1,2\n3,4\n", "x.csv", "no row of column names"),
        (b"\x00\x01\x02" * 50, "x.csv", "no text"),
        (b"PK\x03\x04 broken", "x.xlsx", "damaged"),
        (b"not a spreadsheet", "x.xlsx", "cannot be read as a spreadsheet"),
    ],
)
def test_what_is_no_table_is_refused_with_what_to_do(content: bytes, name: str, said: str) -> None:
    with pytest.raises(ImportFault, match=said) as caught:
        read_table(content, name)
    assert caught.value.remedy


def test_a_spreadsheet_that_would_fill_the_memory_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 80_000_000)
    with pytest.raises(ImportFault, match="would unpack"):
        read_table(out.getvalue(), "x.xlsx")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_letters_of_older_programs_are_read(encoding: str) -> None:
    reading = read_table("hours,Temp [\u00b0C]\n0,20\n".encode(encoding), "x.csv")
    assert reading.columns[1].field == "temperature" and reading.ready


@pytest.mark.parametrize(("name", "hours"), [("+02:00", 2), ("UTC-5", -5), ("utc", 0), ("-03:30", -3.5)])
def test_zones_by_offset(name: str, hours: float) -> None:
    offset = zone_of(name).utcoffset(datetime(2026, 1, 1))
    assert offset is not None and offset.total_seconds() == hours * 3600.0


@pytest.mark.parametrize("name", ["Mars/Olympus", "+25:00", "../etc/passwd", ""])
def test_a_zone_that_does_not_exist_is_refused(name: str) -> None:
    with pytest.raises(ImportFault):
        zone_of(name)


def test_a_column_or_meaning_or_answer_that_is_not_known_is_refused() -> None:
    content = b"hours,value\n0,1\n"
    for changes in ({"nowhere": "value"}, {"value": "magic"}):
        with pytest.raises(ImportFault):
            read_table(content, "x.csv", columns=changes)
    with pytest.raises(ImportFault, match="does not answer"):
        read_table(b"time,cells/mL\n0,1\n", "x.csv", {"unit:time": "moons"})


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=400).map(str.encode))
def test_any_bytes_give_a_table_or_a_fault_with_a_remedy(content: bytes) -> None:
    try:
        reading = read_table(content, "x.csv")
    except AerobeError as fault:
        assert fault.problem and fault.remedy
    else:
        assert all(question.asks for question in reading.questions)


CELLS = st.sampled_from(
    ["", "0", "6", "1,305", "0.5", "<3", "ND", "ERR", "mean", "kelp", "killed", "A", "B", "2026-05-01 08:00", "03/04/2026", "h"]
)
NAMES = st.sampled_from(
    ["hours", "time", "tank", "treatment", "cells/mL", "OD600", "DO mg/L", "date", "n", "SD", "DO", "value", "unit", "", "A1"]
)


@settings(max_examples=150, deadline=None)
@given(st.lists(NAMES, min_size=1, max_size=6), st.lists(st.lists(CELLS, max_size=7), max_size=12), st.sampled_from(",;\t"))
def test_any_table_of_plausible_cells_gives_finite_results_or_questions(
    names: list[str], rows: list[list[str]], mark: str
) -> None:
    content = "\n".join(mark.join(row) for row in [names, *rows]).encode()
    try:
        reading = read_table(content, "x.csv")
    except AerobeError as fault:
        assert fault.problem and fault.remedy
        return
    if reading.rows is not None:
        assert all(math.isfinite(row.value) for row in reading.rows.results)
        assert all(math.isfinite(value) for probe in reading.rows.probes for value in probe.values)
        kept = len(reading.rows.results) + sum(len(probe.values) for probe in reading.rows.probes)
        assert kept <= sum(len(row) for row in rows)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 500), st.floats(0, 1e6)), min_size=1, max_size=30, unique_by=lambda pair: pair[0]),
    st.booleans(),
)
def test_numbers_written_with_point_or_comma_come_back_the_same(rows: list[tuple[float, float]], comma: bool) -> None:
    lines = [f"{hour!r};{value!r}" for hour, value in rows]
    text = "hours;biomass (ug C/mL)\n" + "\n".join(line.replace(".", ",") if comma else line for line in lines)
    _, read = understood(text, decimal="comma" if comma else "point")
    assert [(row.elapsed_h, row.value) for row in read.results] == rows

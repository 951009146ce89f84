"""Sheets of a spreadsheet: values only, hidden ones marked, files packed to do harm refused before they are unpacked."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, datetime, time, timedelta
from typing import Any, cast

from aerobe.errors import ImportFault
from aerobe.isolation import run_apart
from aerobe.tables._sheet_size import require_small
from aerobe.tables._workbook_marks import Looks, looks_of

MAX_UNPACKED_BYTES = 1_000_000_000
MOST_PACKED = 400  # times smaller than what it unpacks to
SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".ods", ".xlsb")


def is_spreadsheet(content: bytes, name: str) -> bool:
    """Whether a file is a spreadsheet by its bytes or its name."""
    return content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0") or name.lower().endswith(SPREADSHEETS)


# A cell with a formula and no value behind it: written by a program that never worked it out.
_NO_RESULT = re.compile(rb"<f\b[^>]*?(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v>\s*</v>)?\s*</c>")


Sheet = tuple[str, list[list[str]], bool, Looks]


def sheets_of(content: bytes, name: str) -> tuple[list[Sheet], int]:
    """Name, cells as text, whether it is hidden, and its looks, for each sheet; and how many formulas have no result stored.

    A formula is never run: its last result is the value.

    Raises
    ------
    ImportFault
        If it cannot be read, or would unpack to more than a table holds.
    """
    _refuse_bomb(content, name)
    # The reader is compiled code that ends the whole process when a file asks for too much: it gets one of its own.
    told = run_apart(f"{__name__}:plain_sheets", content, what=name, arguments={"name": name})
    sheets, unsolved, looks = cast(tuple[list[tuple[str, list[list[str]], bool]], int, dict[str, list[Any]]], told)
    return [(sheet, grid, bool(hidden), _looks(looks.get(sheet))) for sheet, grid, hidden in sheets], unsolved


def _looks(told: list[Any] | None) -> Looks:
    if told is None:
        return Looks()
    rows, columns, struck, remarks = told
    return Looks(tuple(rows), tuple(columns), tuple((row, column) for row, column in struck), int(remarks))


def _unsolved(content: bytes) -> int:
    if content[:4] != b"PK\x03\x04":
        return 0
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = [item for item in packed.namelist() if re.fullmatch(r"xl/worksheets/sheet\d+\.xml", item)]
        return sum(len(_NO_RESULT.findall(packed.read(part))) for part in parts)


def plain_sheets(
    content: bytes, *, name: str
) -> tuple[list[tuple[str, list[list[str]], bool]], int, dict[str, tuple[object, ...]]]:
    """What `sheets_of` gives. To be run apart."""
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    require_small(content, name)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets = [
            (
                sheet.name,
                [[_cell(cell) for cell in row] for row in book.get_sheet_by_name(sheet.name).to_python(skip_empty_area=False)],
                sheet.visible != SheetVisibleEnum.Visible,
            )
            for sheet in book.sheets_metadata
            if sheet.typ == SheetTypeEnum.WorkSheet
        ]
        seen = looks_of(content)
        for sheet, grid, _ in sheets:
            _as_percent(grid, seen.get(sheet, Looks()))
        looks: dict[str, tuple[object, ...]] = {}
        for sheet, found in seen.items():
            looks[sheet] = found.rows, found.columns, found.struck, found.remarks
        return sheets, _unsolved(content), looks
    except (ImportFault, MemoryError):
        raise
    except Exception as fault:  # the reader raises many kinds, all of them about the file
        raise ImportFault(f"{name} cannot be read as a spreadsheet: {fault}.", "Save it again as XLSX, or as CSV.") from None


def _as_percent(grid: list[list[str]], looks: Looks) -> None:
    """Shares that the spreadsheet shows as percent, as it shows them: 0.98 stands there as 98 %."""
    for row, column in looks.percent:
        if row < len(grid) and column < len(grid[row]):
            try:
                grid[row][column] = f"{100.0 * float(grid[row][column]):.12g}%"
            except ValueError:
                continue


def _refuse_bomb(content: bytes, name: str) -> None:
    if content[:4] != b"PK\x03\x04":
        return
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError):
        raise ImportFault(f"{name} is damaged.", "Save the spreadsheet again.") from None
    if size > MAX_UNPACKED_BYTES or size > MOST_PACKED * max(len(content), 1):
        raise ImportFault(f"{name} would unpack to {size / 1e6:.0f} MB.", "Save only the sheet with the readings.")


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        return f"{value.total_seconds() / 3600.0!r} h"
    return str(value)

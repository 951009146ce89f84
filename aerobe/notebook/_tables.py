"""A file that someone else made, as a plain table of text: CSV, TSV or a spreadsheet. Nothing is interpreted yet."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import cast

from aerobe.errors import ImportFault
from aerobe.isolation import run_apart
from aerobe.notebook._sheet_size import require_small

MAX_BYTES = 200_000_000
MAX_UNPACKED_BYTES = 1_000_000_000
MAX_ROWS = 2_000_000
MAX_COLUMNS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Header and rows as text. `numbers` are the rows' numbers in the file, counted from 1, for messages."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    decimal_comma: bool = False  # the file separates columns by semicolon or tab and writes 8,2


def read_table(content: bytes, name: str, *, sheet: str = "") -> Table:
    """The table in a file's bytes; a preamble of a logger (serial number, place) before the header is skipped.

    Parameters
    ----------
    content
        The whole file.
    name
        Its name; the ending tells text from spreadsheet.
    sheet
        Which sheet of a spreadsheet; the first one with rows if left out.

    Raises
    ------
    ImportFault
        If it is too large, empty, packed to do harm, or no table.
    """
    if len(content) > MAX_BYTES:
        raise ImportFault(f"{name} has {len(content) / 1e6:.0f} MB.", f"Split it into files below {MAX_BYTES / 1e6:.0f} MB.")
    if content[:4] == b"PK\x03\x04" or name.lower().endswith((".xlsx", ".xls", ".ods", ".xlsb")):
        grid, decimal_comma = _spreadsheet(content, name, sheet), False
    else:
        grid, decimal_comma = _text(content, name)
    return _with_header(grid, name, decimal_comma)


def _with_header(grid: list[list[str]], name: str, decimal_comma: bool) -> Table:
    filled = [(number, row) for number, row in enumerate(grid, start=1) if any(cell.strip() for cell in row)]
    if len(filled) < 2:
        raise ImportFault(f"{name} holds no table.", "It needs one row of column names and at least one row of values.")
    if len(filled) > MAX_ROWS:
        raise ImportFault(f"{name} has over {MAX_ROWS} rows.", "Split it into several files.")
    head = _find_header([row for _, row in filled])
    names = filled[head][1]
    if len(names) > MAX_COLUMNS:
        raise ImportFault(f"{name} has {len(names)} columns.", "Is the separator right? Save it as CSV with commas.")
    width = len(names)
    rows = tuple(tuple(cell.strip() for cell in [*row, *[""] * width][:width]) for _, row in filled[head + 1 :])
    numbers = tuple(number for number, _ in filled[head + 1 :])
    return Table(name=name, header=_distinct(names), rows=rows, numbers=numbers, decimal_comma=decimal_comma)


def _find_header(rows: list[list[str]]) -> int:
    """The header is the first row as wide as most rows whose cells are words: above it loggers write who they are."""
    widths = [sum(1 for cell in row if cell.strip()) for row in rows[:200]]
    usual = max(set(widths), key=lambda width: (widths.count(width), width))
    for index, row in enumerate(rows[:60]):
        words = [cell for cell in row if cell.strip() and not _numeric(cell)]
        if widths[index] >= max(2, usual - 1) and len(words) == widths[index]:
            return index
    if usual == 1:
        return 0
    raise ImportFault("The table has no row of column names.", "Put names above the values, for example: hours, oxygen mg/L.")


def _numeric(cell: str) -> bool:
    text = cell.strip().replace(",", ".")
    try:
        float(text)
    except ValueError:
        return text[:1].isdigit() and ":" in text  # a clock time belongs to the values
    return True


def _distinct(names: list[str]) -> tuple[str, ...]:
    seen: dict[str, int] = {}
    found = []
    for index, raw in enumerate(names):
        name = raw.strip().lstrip("\ufeff") or f"column {index + 1}"
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(found)


def _text(content: bytes, name: str) -> tuple[list[list[str]], bool]:
    text = _decode(content, name)
    separator = _separator(text)
    try:
        grid = list(csv.reader(io.StringIO(text), delimiter=separator))
    except csv.Error as fault:
        raise ImportFault(f"{name} is no table of text: {fault}.", "Save it as CSV or as a spreadsheet and try again.") from None
    return grid, separator in ";\t" and _writes_commas(grid)


def _decode(content: bytes, name: str) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    if b"\x00" in content[:4096]:
        raise ImportFault(f"{name} is no text.", "Save the table as CSV, TSV or XLSX.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")  # what older spreadsheets and loggers write


def _separator(text: str) -> str:
    lines = [line for line in text.splitlines() if line.strip()][:200]
    best, best_score = ",", 0
    for mark in ("\t", ";", ",", "|"):
        counts = [line.count(mark) for line in lines]
        usual = max(set(counts), key=lambda count: (counts.count(count) * (count > 0), count)) if counts else 0
        score = counts.count(usual) if usual else 0
        # A decimal comma also stands in every row; a semicolon or tab that does so is the separator.
        if score > best_score * (1.0 if mark != "," else 1.2):
            best, best_score = mark, score
    return best


def _writes_commas(grid: list[list[str]]) -> bool:
    cells = [cell.strip() for row in grid[:500] for cell in row]
    commas = sum(1 for cell in cells if cell.count(",") == 1 and cell.replace(",", "").lstrip("+-").isdigit())
    points = sum(1 for cell in cells if cell.count(".") == 1 and cell.replace(".", "").lstrip("+-").isdigit())
    return commas > points


def _spreadsheet(content: bytes, name: str, sheet: str) -> list[list[str]]:
    _refuse_bomb(content, name)
    # The reader is compiled code that ends the whole process when a file asks for too much: it gets one of its own.
    grid = run_apart(f"{__name__}:grid_of_spreadsheet", content, what=name, arguments={"name": name, "sheet": sheet})
    return cast(list[list[str]], grid)


def grid_of_spreadsheet(content: bytes, *, name: str, sheet: str) -> list[list[str]]:
    """Cells as text of the first sheet that holds a table, or of the one named. To be run apart."""
    from python_calamine import CalamineWorkbook

    require_small(content, name)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = [sheet] if sheet else book.sheet_names
        for one in names:
            # Values only: a formula is never run, its last result is what the file shows.
            grid = [[_cell(cell) for cell in row] for row in book.get_sheet_by_name(one).to_python(skip_empty_area=False)]
            if sum(1 for row in grid if any(row)) > 1:
                return grid
    except (ImportFault, MemoryError):
        raise
    except Exception as fault:  # the reader raises many kinds, all of them about the file
        raise ImportFault(f"{name} cannot be read as a spreadsheet: {fault}.", "Save it again as XLSX, or as CSV.") from None
    raise ImportFault(f"{name} has no sheet with a table.", "Put names in one row and values below.")


def _refuse_bomb(content: bytes, name: str) -> None:
    if content[:4] != b"PK\x03\x04":
        return
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError):
        raise ImportFault(f"{name} is damaged.", "Save the spreadsheet again.") from None
    if size > MAX_UNPACKED_BYTES or size > 400 * max(len(content), 1):
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

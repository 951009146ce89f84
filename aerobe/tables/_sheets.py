"""From a file to the tables in it: sheets of a spreadsheet, hidden ones last; or text, by its letters and marks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from aerobe.errors import ImportFault
from aerobe.tables._block import Block
from aerobe.tables._blocks import blocks_of
from aerobe.tables._text import MARKS, Inferred, decode, grid_of, pairs_grid, separator
from aerobe.tables._workbook import is_spreadsheet, sheets_of
from aerobe.tables._workbook_marks import Looks

UNSOLVED = "formulas have no results in the file"


HIDDEN, STRUCK = "are hidden in the spreadsheet", "are struck out in the spreadsheet"


def tables_of(content: bytes, name: str, without: Collection[str] = ()) -> tuple[list[Block], Inferred, Inferred, list[str]]:
    """All tables of a file, its letters, the mark between columns, and sentences on what is not read.

    `without` names what is to be read as empty of a spreadsheet: `HIDDEN` rows and columns, `STRUCK` cells.

    Raises
    ------
    ImportFault
        If it holds no table.
    """
    ignored: list[str] = []
    if is_spreadsheet(content, name):
        blocks: list[Block] = []
        hidden: list[Block] = []
        fault: ImportFault | None = None
        sheets, unsolved = sheets_of(content, name)
        if unsolved:
            ignored.append(f"{unsolved} {UNSOLVED}; they are read as empty.")
        for sheet, grid, is_hidden, looks in sheets:
            if not is_hidden:
                ignored += _as_it_looks(grid, sheet, looks, without)
            try:
                found = blocks_of(grid, sheet, name)
            except ImportFault as caught:
                fault = fault or caught
                ignored.append(f"Sheet '{sheet}' holds no table that can be read.")
                continue
            if is_hidden and found:
                ignored.append(f"Sheet '{sheet}' is hidden; it is not read.")
                hidden += found
            elif not found and any(any(row) for row in grid):
                ignored.append(f"Sheet '{sheet}' holds no table; it is not read.")
            else:
                blocks += found
        if not blocks and not hidden:
            raise fault or ImportFault(f"{name} has no sheet with a table.", "Put names in one row and values below.")
        whole = Inferred(what="spreadsheet", score=1.0, because="by its first bytes or its name")
        return blocks or hidden, whole, Inferred(what="cells", score=1.0, because="a spreadsheet"), ignored
    text, letters = decode(content, name)
    mark = separator(text)
    pairs = pairs_grid(text)
    blocks = blocks_of(grid_of(text, mark.what, name) if pairs is None else pairs, "", name)
    if not blocks:
        raise ImportFault(f"{name} holds no table.", "It needs one row of column names and at least one row of values.")
    return blocks, letters, replace(mark, what=MARKS.get(mark.what, mark.what)), ignored


def _as_it_looks(grid: list[list[str]], sheet: str, looks: Looks, without: Collection[str]) -> list[str]:
    """What the looks of a sheet say of its cells, as sentences; cells that are to be left out are emptied."""
    said = []
    rows = [at for at in looks.rows if at < len(grid) and any(grid[at])]
    columns = [at for at in looks.columns if any(at < len(row) and row[at] for row in grid)]
    struck = [(row, at) for row, at in looks.struck if row < len(grid) and at < len(grid[row]) and grid[row][at]]
    if rows or columns:
        named = [f"row {at + 1}" for at in rows[:6]] + [f"column {_letters(at)}" for at in columns[:6]]
        more = " ..." if len(rows) > 6 or len(columns) > 6 else ""
        said.append(f"Sheet '{sheet}': {', '.join(named)}{more} {HIDDEN}.")
    if struck:
        cells = ", ".join(f"{_letters(at)}{row + 1}" for row, at in struck[:8])
        said.append(f"Sheet '{sheet}': {cells}{' ...' if len(struck) > 8 else ''} {STRUCK}.")
    if looks.remarks:
        said.append(f"Sheet '{sheet}': {looks.remarks} remarks pinned to cells are not read.")
    for at in rows if HIDDEN in without else ():
        grid[at] = [""] * len(grid[at])
    for row in grid if HIDDEN in without else ():
        for at in columns:
            if at < len(row):
                row[at] = ""
    for at, place in struck if STRUCK in without else ():
        grid[at][place] = ""
    return said


def _letters(column: int) -> str:
    name, rest = "", column + 1
    while rest:
        rest, place = divmod(rest - 1, 26)
        name = chr(65 + place) + name
    return name

"""From a file to the tables in it: sheets of a spreadsheet, hidden ones last; or text, by its letters and marks."""

from __future__ import annotations

from dataclasses import replace

from aerobe.errors import ImportFault
from aerobe.tables._block import Block
from aerobe.tables._blocks import blocks_of
from aerobe.tables._text import MARKS, Found, decode, grid_of, pairs_grid, separator
from aerobe.tables._workbook import is_spreadsheet, sheets_of

UNSOLVED = "formulas have no results in the file"


def tables_of(content: bytes, name: str) -> tuple[list[Block], Found, Found, list[str]]:
    """All tables of a file, its letters, the mark between columns, and sentences on what is not read.

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
        for sheet, grid, is_hidden in sheets:
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
        whole = Found(what="spreadsheet", score=1.0, because="by its first bytes or its name")
        return blocks or hidden, whole, Found(what="cells", score=1.0, because="a spreadsheet"), ignored
    text, letters = decode(content, name)
    mark = separator(text)
    pairs = pairs_grid(text)
    blocks = blocks_of(grid_of(text, mark.what, name) if pairs is None else pairs, "", name)
    if not blocks:
        raise ImportFault(f"{name} holds no table.", "It needs one row of column names and at least one row of values.")
    return blocks, letters, replace(mark, what=MARKS.get(mark.what, mark.what)), ignored

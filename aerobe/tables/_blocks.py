"""Where in a sheet the tables stand: lines above them, one or two rows of names, the rows, section lines, remarks, plates."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

from aerobe.errors import ImportFault
from aerobe.tables._block import Block, Numbered
from aerobe.tables._cells import read_cell
from aerobe.tables._clock import looks_clocked, looks_dated
from aerobe.tables._plate_grid import plates_of
from aerobe.tables._units import split_header, unit_of
from aerobe.tables._words import meanings_of

MAX_COLUMNS = 500
SEARCHED = 80  # rows in which the first row of names is looked for
SECTION = "section line"


def blocks_of(grid: list[list[str]], sheet: str, name: str) -> list[Block]:
    """All tables of a sheet, in order.

    Raises
    ------
    ImportFault
        If rows of values stand without names, or there are more columns than a table has.
    """
    filled: Numbered = [(number, [cell.strip().lstrip("\ufeff") for cell in row]) for number, row in enumerate(grid, start=1)]
    filled = [(number, row) for number, row in filled if any(row)]
    if len(filled) < 2:
        return []
    if max(len(row) for _, row in filled) > MAX_COLUMNS:
        raise ImportFault(f"{name} has more than {MAX_COLUMNS} columns.", "Is the separator right? Save it as CSV with commas.")
    plates = plates_of(filled, sheet)
    if plates:
        return plates
    found: list[Block] = []
    place = 0
    while place < len(filled):
        head = _find_header(filled, place, first=not found)
        if head is None:
            break
        block, place = _cut(filled, place, head, sheet)
        if block.rows:
            found.append(block)
    if not found:
        raise ImportFault("The table has no row of column names.", "Put names above the values, for example: hours, oxygen mg/L.")
    return _joined(found)


def is_valued(cell: str) -> bool:
    """Whether a cell belongs to rows of values: a number, a bound, a date, a clock."""
    return bool(cell) and (read_cell(cell).kind in ("number", "code", "broken") or looks_dated(cell) or looks_clocked(cell))


def _filled(row: list[str]) -> int:
    return sum(1 for cell in row if cell)


def _is_words(row: list[str]) -> bool:
    return not any(is_valued(cell) and not _is_name(cell) for cell in row if cell)


def _is_name(cell: str) -> bool:
    """Whether a cell that could be a value names a column: a unit, `LOD`, `6 h`."""
    return unit_of(cell) is not None or _hour_name(cell) or bool(meanings_of(split_header(cell)[0]) or _LIMIT.fullmatch(cell))


_LIMIT = re.compile(r"\d{2} ?% .*[A-Za-z].*")  # `95% LCL`


def _hour_name(cell: str) -> bool:
    return bool(
        re.fullmatch(
            r"(t ?=? ?|hour ?|h|day ?|d|tag ?|std ?)\d+(\.\d+)?|\d+([.,]\d+)? ?(h|hr|hrs|hours?|d|days?|min|std)", cell.lower()
        )
    )


def _find_header(rows: Numbered, start: int, *, first: bool) -> int | None:
    """The row of names: words, nearly as many as the rows below have cells, with rows of values soon under them."""
    best, best_score = None, 0.35
    for place in range(start, min(len(rows), start + SEARCHED) if first else len(rows)):
        row = rows[place][1]
        if _filled(row) < 1 or not (_is_words(row) or _is_hour_header(rows, place)):
            continue
        below = [cells for _, cells in rows[place + 1 : place + 12]]
        data = next((at for at, cells in enumerate(below) if any(map(is_valued, cells)) and not _is_units(cells)), None)
        if data is None or data > 3:
            continue
        width = max(_filled(cells) for cells in below[data : data + 6])
        if _filled(row) < 2 and width > 1:
            continue
        known = sum(1 for cell in row if cell and meanings_of(split_header(cell)[0])) / max(_filled(row), 1)
        score = min(_filled(row) / max(width, 1), 1.0) * (1.0 - 0.15 * data) + 0.6 * known - 0.3 * _is_units(row)
        if score > best_score + 1e-9:
            best, best_score = place, score
        if not first and best is not None:
            break
    return best


def _is_units(row: list[str]) -> bool:
    cells = [cell for cell in row if cell]
    units = sum(1 for cell in cells if unit_of(cell) is not None or re.fullmatch(r"[(\[].*[)\]]", cell))
    return (
        bool(cells)
        and units >= max(1, 0.6 * len(cells))
        and not any(read_cell(cell).kind == "number" and cell.isdigit() for cell in cells)
    )


def _is_hour_header(rows: Numbered, place: int) -> bool:
    """Hours as names of columns: a word or nothing, then rising numbers, over rows that begin with a word."""
    row = rows[place][1]
    if len(row) < 4 or is_valued(row[0]):
        return False
    numbers = [read_cell(cell) for cell in row[1:] if cell]
    rising = [cell.value for cell in numbers if cell.kind == "number"]
    if len(rising) < 3 or any(late <= early for early, late in itertools.pairwise(rising)):
        return False
    words = sum(1 for cell in row[1:] if cell and read_cell(cell).kind != "number")
    below = [cells for _, cells in rows[place + 1 : place + 6]]
    return words <= 3 and bool(below) and all(not is_valued(cells[0]) or meanings_of(row[0]) for cells in below)


def _cut(rows: Numbered, start: int, head: int, sheet: str) -> tuple[Block, int]:
    """The table whose names stand in row `head`, and where the next one may begin."""
    names, first_data, noted, top = _names(rows, start, head)
    width = max([len(names), *(len(row) for _, row in rows[first_data:])])
    names += [""] * (width - len(names))
    kept: Numbered = []
    sections: list[str] = []
    section, remarks, end = "", [], first_data
    wide = sum(1 for name in names if name) > 1
    while end < len(rows):
        number, row = rows[end]
        if row[: len(names)] == rows[head][1][: len(names)] and _filled(row) > 1:
            noted.append(f"Row {number} repeats the names of the columns; it is left out.")
        elif wide and _filled(row) == 1 and not is_valued("".join(row)):
            section = "".join(row)
            remarks.append((number, section))
        elif _filled(row) > 1 and _is_words(row) and _starts_table(rows, end):
            break
        else:
            kept.append((number, row + [""] * (width - len(row))))
            sections.append(section)
        end += 1
    used = set(sections) - {""}
    if used:
        over = rows[top - 1][1] if top > start else []
        first = "".join(over) if _filled(over) == 1 else ""  # the line over the names is the first of its kind
        sections = [label or first for label in sections]
        names = [*names, SECTION]
        kept = [(number, [*row, label]) for (number, row), label in zip(kept, sections, strict=True)]
        remarks = [(number, text) for number, text in remarks if text not in used]
    empty = [place for place, name in enumerate(names) if not name and not any(row[place] for _, row in kept)]
    names = [name for place, name in enumerate(names) if place not in empty]
    cells = tuple(tuple(cell for place, cell in enumerate(row) if place not in empty) for _, row in kept)
    block = Block(
        sheet=sheet,
        header=_distinct(names),
        rows=cells,
        numbers=tuple(number for number, _ in kept),
        above=tuple(" ".join(filter(None, row)) for _, row in rows[start:top]),
        below=tuple(f"row {number}: {text}" for number, text in remarks),
        noted=tuple(noted),
    )
    return block, end


def _names(rows: Numbered, start: int, head: int) -> tuple[list[str], int, list[str], int]:
    """Names out of one or two rows, where the values begin, what was done, and the first row that was used."""
    names, noted, first_data, top = list(rows[head][1]), [], head + 1, head
    if first_data < len(rows) and _is_units(rows[first_data][1]) and not all(map(is_valued, filter(None, rows[first_data][1]))):
        units = rows[first_data][1]
        names += [""] * (len(units) - len(names))
        names = [
            f"{name} [{unit.strip('[]()')}]" if unit else name
            for name, unit in zip(names, units + [""] * len(names), strict=False)
        ]
        noted.append(f"Units stand in row {rows[first_data][0]}.")
        first_data += 1
    if head > start and rows[head - 1][0] == rows[head][0] - 1:
        above = rows[head - 1][1]
        doubled = len([name for name in names if name]) > len({name for name in names if name})
        merged = _merged_down(above, names)
        if (doubled or merged) and _filled(above) >= 2 and _is_words(above):
            names, top = _grouped(above, names) if doubled else _joined_names(above, names), head - 1
            noted.append(f"Names stand in two rows, {rows[head - 1][0]} and {rows[head][0]}.")
    return names, first_data, noted, top


GROUP_MARK = " | "


def _merged_down(above: list[str], names: list[str]) -> bool:
    """Names that reach over both rows beside groups that reach over several columns, as merged cells do."""
    pairs = list(itertools.zip_longest(above, names, fillvalue=""))
    return any(upper and not name for upper, name in pairs) and any(name and not upper for upper, name in pairs)


def _joined_names(above: list[str], names: list[str]) -> list[str]:
    group, found = "", []
    for upper, name in itertools.zip_longest(above, names, fillvalue=""):
        group = upper or group
        found.append(f"{group} {name}".strip() if name else upper)
    return found


def _grouped(above: list[str], names: list[str]) -> list[str]:
    group, found = "", []
    counts = {name: names.count(name) for name in names}
    above = above + [""] * (len(names) - len(above))
    for upper, name in zip(above, names, strict=False):
        group = upper or group
        found.append(f"{group}{GROUP_MARK}{name}" if group and name and counts[name] > 1 else name or group)
    return found


def _starts_table(rows: Numbered, place: int) -> bool:
    row = rows[place][1]
    if place + 1 >= len(rows) or not any(map(is_valued, rows[place + 1][1])):
        return False
    known = sum(1 for cell in row if cell and meanings_of(split_header(cell)[0]))
    apart = rows[place][0] > rows[place - 1][0] + 1
    return known >= max(2, (0.5 if apart else 1.0) * _filled(row))


def _joined(blocks: list[Block]) -> list[Block]:
    """Tables with the same names are one; a further column says from which of them each row comes."""
    found: list[Block] = []
    first = {frozenset(block.header): block.header for block in reversed(blocks)}
    blocks = [_reordered(block, first[frozenset(block.header)]) for block in blocks]
    for header in dict.fromkeys(block.header for block in blocks):
        same = [block for block in blocks if block.header == header]
        found.append(
            same[0] if len(same) == 1 else stacked(same, "table", [_label(block, at) for at, block in enumerate(same, 1)])
        )
    return found


def _reordered(block: Block, header: tuple[str, ...]) -> Block:
    """The same columns in another order, as a logger writes them after a restart."""
    if block.header == header:
        return block
    places = [block.header.index(name) for name in header]
    return replace(block, header=header, rows=tuple(tuple(row[place] for place in places) for row in block.rows))


def _label(block: Block, at: int) -> str:
    return block.above[-1] if block.above else f"table {at}"


def stacked(blocks: list[Block], column: str, labels: list[str]) -> Block:
    """Tables with the same names as one, with a further column of labels."""
    return replace(
        blocks[0],
        header=(*blocks[0].header, column),
        rows=tuple((*row, label) for block, label in zip(blocks, labels, strict=True) for row in block.rows),
        numbers=tuple(number for block in blocks for number in block.numbers),
        above=tuple(line for block in blocks for line in block.above),
        below=tuple(line for block in blocks for line in block.below),
        noted=(
            *(line for block in blocks for line in block.noted),
            f"{len(blocks)} tables with the same names: {', '.join(labels)}.",
        ),
    )


def _distinct(names: list[str]) -> tuple[str, ...]:
    seen: dict[str, int] = {}
    found = []
    for index, raw in enumerate(names):
        name = raw.strip() or f"column {index + 1}"
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(found)

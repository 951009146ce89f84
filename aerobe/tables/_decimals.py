"""Which mark is the decimal one in each column, asked where nothing tells."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from aerobe.errors import ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._cells import Marks, read_cell
from aerobe.tables._clock import looks_clocked, looks_dated
from aerobe.tables._columns import Column, marks_by_column
from aerobe.units import COUNT

COMMA, POINT = "comma", "point"


_LARGEST = {"pH": 14.0, "oxygen": 60.0, "temperature": 110.0, "OD": 20.0, "absorbance": 20.0, "elapsed": 3000.0}


def cells_of(block: Block, place: int, most: int = 20000) -> list[str]:
    return [row[place] for row in block.rows[:most] if row[place]]


def with_decimals(block: Block, columns: tuple[Column, ...], questions: Questions) -> tuple[Column, ...]:
    marks = marks_by_column(block)
    numeric = [place for place, column in enumerate(columns) if not _dated(block, place)]
    whole = sum((marks[place] for place in numeric), Marks())
    said = questions.replies.get("decimal", "")
    if said not in ("", COMMA, POINT):
        raise ImportFault(f"'{said}' is no decimal mark.", f"Answer decimal with {COMMA} or {POINT}.")
    found = []
    for place, column in enumerate(columns):
        mark = marks[place]
        decimal = {COMMA: ",", POINT: "."}.get(said) or mark.decimal
        counted = column.unit in COUNT.accepts and column.factor == 1.0 and not column.log10
        grouped = counted and _all_grouped(cells_of(block, place))
        either = mark.either_comma + (mark.either_point if whole.commas or grouped else 0)
        if not decimal and place in numeric:
            decimal = (
                _asked_decimal(block, place, column, mark, whole, questions)
                if either and column.field != "ignore"
                else whole.decimal or "."
            )
        found.append(replace(column, decimal=decimal or "."))
    return tuple(found)


def _all_grouped(cells: list[str]) -> bool:
    """Whether every number of a column of counts is written as 1.050 is: whole thousands, or three decimals each time."""
    return len(cells) > 1 and all(re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", cell) for cell in cells)


def _dated(block: Block, place: int) -> bool:
    cells = cells_of(block, place, 50)
    return bool(cells) and sum(looks_dated(cell) or looks_clocked(cell) for cell in cells) > 0.7 * len(cells)


def _asked_decimal(block: Block, place: int, column: Column, mark: Marks, whole: Marks, questions: Questions) -> str:
    """Numbers such as 1,305 in a column where nothing else tells what the comma is."""
    cells = cells_of(block, place)
    unclear = [
        (number, row[place])
        for number, row in zip(block.numbers, block.rows, strict=True)
        if re.fullmatch(r"[<>~=\s]*[+-]?[1-9]\d{0,2}[.,]\d{3}", row[place])
    ]
    largest = {
        sign: max((cell.value for text in cells if (cell := read_cell(text, sign)).kind == "number"), default=0.0)
        for sign in ",."
    }
    limit = _LARGEST.get(column.unit, _LARGEST.get(column.field, np.inf))
    sign = "," if mark.either_comma else "."
    other = "." if sign == "," else ","
    thousands, decimals = largest[other], largest[sign]
    # 1,305 is read as thousands by `other` as decimal mark, and as a little over one by `sign`.
    if thousands > limit >= decimals:
        default, why = sign, f"read as thousands it would be {thousands:g} {column.unit or column.field}, which is far too much"
    elif whole.decimal == sign:
        default, why = sign, "other columns of the file write it so"
    elif whole.decimal == other and limit == np.inf and column.field == "value":
        default, why = other, f"other columns write decimals with a {POINT if other == '.' else COMMA}"
    else:
        default, why = "", "nothing else in the file tells"
    word = {",": COMMA, ".": POINT}
    said = questions.ask(
        f"decimal:{column.header}",
        f"Is '{unclear[0][1] if unclear else cells[0]}' in '{column.header}' a thousand and more, or a little over one? "
        "Which mark is the decimal one?",
        because=f"{why[:1].upper()}{why[1:]}.",
        options=(COMMA, POINT),
        default=word.get(default, ""),
        rows=tuple(number for number, _ in unclear),
    )
    return {COMMA: ",", POINT: "."}.get(said, ".")

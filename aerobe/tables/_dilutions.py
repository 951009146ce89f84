"""A column of dilutions beside results: are the results those of the diluted sample, or multiplied already?"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._cells import read_cell
from aerobe.tables._columns import Column
from aerobe.tables._results import BadCell
from aerobe.tables._row_parts import dilution_of
from aerobe.tables._words import folded_name

DONE, TO_DO = "multiplied already", "to be multiplied"
_RAW = re.compile(r"(colon(y|ies)|colony count|events?|raw count|counts?|kolonien|colonies comptees|squares)( .*)?")


def with_dilutions(block: Block, columns: tuple[Column, ...], questions: Questions) -> tuple[Column, ...]:
    """The columns, the dilutions left out where results are multiplied by them already.

    A plate's colonies must be multiplied; `CFU/mL` beside them has been, as a rule. Taken wrongly, results are off by as much as
    the dilution: where the numbers themselves do not tell, it is asked.
    """
    place = next((at for at, column in enumerate(columns) if column.field == "dilution"), None)
    results = [at for at, column in enumerate(columns) if column.field == "value" and "/" in column.unit]
    if place is None or not results or len({row[place] for row in block.rows if row[place]} - {"1"}) == 0:
        return columns
    raws = [
        at
        for at, column in enumerate(columns)
        if at not in results
        and column.field in ("value", "ignore")
        and not column.unit
        and _RAW.fullmatch(folded_name(column.header))
    ]
    told = next((raw for raw in raws if all(_is_product(block, columns, raw, place, at) for at in results)), None)
    names = ", ".join(f"'{columns[at].header}'" for at in results)
    why = (
        f"They are '{columns[told].header}' times '{columns[place].header}' times one number."
        if told is not None
        else "Results for a volume beside a column of dilutions may be either; taken wrongly they are off by that factor."
    )
    said = questions.ask(
        f"dilution:{columns[place].header}",
        f"Are {names} {DONE} by '{columns[place].header}'?",
        because=why,
        options=(DONE, TO_DO),
        default=DONE if told is not None else "",
    )
    if said != DONE:
        return columns
    gone = {place: "the results are multiplied by it already"} | ({told: f"the count behind {names}"} if told is not None else {})
    return tuple(replace(column, field="ignore", because=gone[at]) if at in gone else column for at, column in enumerate(columns))


def _is_product(block: Block, columns: tuple[Column, ...], raw: int, place: int, result: int) -> bool:
    ratios = []
    for row in block.rows:
        count, value = (read_cell(row[at], columns[at].decimal) for at in (raw, result))
        try:
            dilution = dilution_of(row[place], columns[place]) if row[place] else 0.0
        except BadCell:
            continue
        if count.kind == value.kind == "number" and count.value > 0.0 and value.value > 0.0 and dilution:
            ratios.append((value.value / count.value, value.value / count.value / dilution))
    if len(ratios) < 2:
        return False
    plain, multiplied = np.log(np.array(ratios)).T
    return bool(np.ptp(multiplied) < 0.05 < np.ptp(plain))

"""Tables that lie wide made long: hours as columns, tanks as columns, wells as columns, groups over columns."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace

from aerobe.tables._across import QUANTITIES, UNCLEAR, Split, likely_names, split_name
from aerobe.tables._block import Block
from aerobe.tables._blocks import GROUP_MARK
from aerobe.tables._cells import read_cell
from aerobe.tables._units import DIMENSIONLESS, split_header, unit_of
from aerobe.tables._words import folded_name
from aerobe.units import COUNT

WELL = re.compile(r"[A-P](0?[1-9]|1\d|2[0-4])")
HOUR, LABEL, VALUE = "hour of the column", "name of the column", "cell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wide:
    """How a table lies: long, hours across, names across, wells across or groups across; with why, and what names may mean."""

    form: str
    because: str
    score: float
    names: tuple[str, ...] = ()  # of the columns that were turned
    names_are: str = ""  # brews, replicates, quantities: the likeliest meaning of those names
    unit: str = ""  # unit of the values, as the names carry it
    quantity: str = ""  # what the names say was measured


def lengthened(block: Block, names_are: str = "") -> tuple[Block, Wide]:
    """The table with one value of a kind a row, and how it lay before.

    Parameters
    ----------
    block
        As it stands in the file.
    names_are
        What names across mean if somebody said: brews, replicates or quantities.
    """
    for way in (_groups_across, _hours_across, _wells_across):
        found = way(block)
        if found is not None:
            return found
    wide = _names_across(block)
    if wide is None:
        return block, Wide(form="long", because="each column has a meaning of its own", score=0.9)
    shape, splits = wide
    meaning = names_are or shape.names_are
    if meaning == "quantities":
        return block, replace(shape, form="long", names_are="quantities")
    return _turned(block, splits), shape


def _numeric(block: Block, place: int) -> bool:
    cells = [row[place] for row in block.rows[:400] if row[place]]
    read = [read_cell(cell) for cell in cells]
    good = sum(
        1 for cell in read if cell.kind in ("number", "code", "broken", "missing") and (not cell.unit or unit_of(cell.unit))
    )
    return bool(cells) and good >= 0.7 * len(cells)


def hour_of(name: str) -> tuple[float, str] | None:
    """The hour that a column's name means and its unit; the unit is empty where the name has none."""
    text = name.strip().lower().replace(",", ".")
    match = re.fullmatch(
        r"(t|time|hour|h|day|d|tag|std|stunde)?\s*=?\s*_?(\d+(?:\.\d+)?)\s*_?"
        r"(h|hr|hrs|hours?|std|d|days?|min|minutes?)?(?: \(\d\))?",
        text,
    )
    if match is None or not (match[1] or match[3] or text == match[2]):
        return None
    unit = match[3] or {"hour": "h", "h": "h", "std": "h", "stunde": "h", "day": "d", "d": "d", "tag": "d"}.get(
        match[1] or "", ""
    )
    known = unit_of(unit) if unit else None
    return float(match[2]), known.name if known else ""


def _hours_across(block: Block) -> tuple[Block, Wide] | None:
    hours = [(place, found) for place, name in enumerate(block.header) if (found := hour_of(name)) and _numeric(block, place)]
    if len(hours) < 3 or len({found for _, found in hours}) < len(hours):
        return None
    times = [found[0] for _, found in hours]
    if any(late <= early for early, late in itertools.pairwise(times)):
        return None
    unit = next((found[1] for _, found in hours if found[1]), "")
    fixed = [place for place in range(len(block.header)) if place not in {place for place, _ in hours}]
    rows, numbers = [], []
    for number, row in zip(block.numbers, block.rows, strict=True):
        for place, (hour, _) in hours:
            rows.append((*(row[at] for at in fixed), repr(hour), row[place]))
            numbers.append(number)
    name = f"{HOUR} [{unit}]" if unit else HOUR
    turned = replace(block, header=(*(block.header[at] for at in fixed), name, VALUE), rows=tuple(rows), numbers=tuple(numbers))
    return turned, Wide(
        form="hours across",
        because=f"the columns {block.header[hours[0][0]]} to {block.header[hours[-1][0]]} are rising hours",
        score=0.9,
        names=tuple(block.header[place] for place, _ in hours),
    )


def _pair(name: str) -> tuple[str, str]:
    group, _, inner = name.partition(GROUP_MARK)
    return group, inner


def _wells_across(block: Block) -> tuple[Block, Wide] | None:
    wells = [place for place, name in enumerate(block.header) if WELL.fullmatch(name) and _numeric(block, place)]
    if len(wells) < 6:
        return None
    turned = _melted(
        block, [Split(place=at, quantity="value", label=block.header[at], unit="", spread=False) for at in wells], "well"
    )
    names = tuple(block.header[at] for at in wells)
    return turned, Wide(
        form="wells across", because=f"{len(wells)} columns are named as wells of a plate", score=0.95, names=names
    )


def _groups_across(block: Block) -> tuple[Block, Wide] | None:
    """Two rows of names, such as `Tank A` over `DO` and `Temp`, and `Tank B` over the same."""
    pairs = [(place, *_pair(name)) for place, name in enumerate(block.header) if GROUP_MARK in name]
    groups = list(dict.fromkeys(group for _, group, _ in pairs))
    inner = list(dict.fromkeys(re.sub(r" \(\d+\)$", "", name) for *_, name in pairs))
    if len(groups) < 2:
        return None
    fixed = [place for place, name in enumerate(block.header) if GROUP_MARK not in name]
    by_name = {(group, re.sub(r" \(\d+\)$", "", name)): place for place, group, name in pairs}
    rows, numbers = [], []
    for number, row in zip(block.numbers, block.rows, strict=True):
        for group in groups:
            cells = [row[by_name[group, name]] if (group, name) in by_name else "" for name in inner]
            if any(cells):
                rows.append((*(row[at] for at in fixed), group, *cells))
                numbers.append(number)
    header = (*(block.header[at] for at in fixed), LABEL, *inner)
    turned = replace(block, header=header, rows=tuple(rows), numbers=tuple(numbers))
    return turned, Wide(
        form="groups across",
        because=f"the upper row of names groups the columns: {', '.join(groups[:6])}",
        score=0.85,
        names=tuple(groups),
        names_are="brews",
    )


def _names_across(block: Block) -> tuple[Wide, list[Split]] | None:
    splits = [split for place, name in enumerate(block.header) if _numeric(block, place) and (split := split_name(place, name))]
    families: dict[tuple[str, str], list[Split]] = {}
    for split in splits:
        families.setdefault((split.quantity, split.unit), []).append(split)
    values = [one for one in splits if not one.spread]
    by_quantity = {
        quantity: [one for one in values if one.quantity == quantity]
        for quantity in dict.fromkeys(one.quantity for one in values)
    }
    turned = [
        family
        for family in by_quantity.values()
        if len({one.label for one in family}) >= 2 and all(one.label for one in family) and len({one.unit for one in family}) == 1
    ]
    if not turned:
        return None
    labels = list(dict.fromkeys(one.label for family in turned for one in family))
    chosen = [one for one in splits if one.label in labels and any(one.quantity == family[0].quantity for family in turned)]
    are, score, why = likely_names(labels)
    first = turned[0][0]
    if score == UNCLEAR and not _of_microbes(first.unit):
        score = 0.5  # `nitrate (mg/L)` and `sugar (mg/L)` would be two brews
    quantity = (
        ""
        if first.quantity == "value" and not any("value" in folded_name(block.header[one.place]) for one in turned[0])
        else first.quantity
    )
    shape = Wide(
        form="names across",
        because=f"{len(labels)} columns hold the same quantity; {why}",
        score=score,
        names=tuple(labels),
        names_are=are,
        unit=first.unit,
        quantity=quantity,
    )
    return shape, chosen


def _of_microbes(unit: str) -> bool:
    found = unit_of(unit) if unit else None
    return not unit or (found is not None and (found.name in COUNT.accepts or found.name in DIMENSIONLESS or " C/" in found.name))


def _turned(block: Block, splits: list[Split]) -> Block:
    return _melted(block, splits, LABEL)


def _melted(block: Block, splits: list[Split], column: str) -> Block:
    taken = {split.place for split in splits}
    fixed = [place for place in range(len(block.header)) if place not in taken]
    quantities = list(dict.fromkeys((split.quantity, split.spread) for split in splits))
    where = {(split.label, split.quantity, split.spread): split for split in splits}
    labels = list(dict.fromkeys(split.label for split in splits))
    titles = {split.label: _title(block.header[split.place], split) for split in reversed(splits) if not split.spread}
    names = [
        _column_name(quantity, spread, next(one for one in splits if one.quantity == quantity).unit)
        for quantity, spread in quantities
    ]
    rows, numbers = [], []
    for number, row in zip(block.numbers, block.rows, strict=True):
        for label in labels:
            cells = [row[found.place] if (found := where.get((label, *key))) else "" for key in quantities]
            rows.append((*(row[at] for at in fixed), titles.get(label, label), *cells))
            numbers.append(number)
    header = (*(block.header[at] for at in fixed), column, *names)
    return replace(block, header=header, rows=tuple(rows), numbers=tuple(numbers))


def _title(header: str, split: Split) -> str:
    """A label as the file writes it, not as it was folded for comparing."""
    text = split_header(header)[0]
    for _, pattern in QUANTITIES:
        text = re.sub(rf"(?i)(^|[\s_]+)({pattern})(?=$|[\s_]+)", " ", text) if split.quantity != "value" else text
    text = " ".join(text.replace("_", " ").split())
    return text if folded_name(text) == split.label else split.label


def _column_name(quantity: str, spread: bool, unit: str) -> str:
    name = VALUE if quantity == "value" else quantity
    return (f"{name} sd" if spread else name) + (f" [{unit}]" if unit else "")

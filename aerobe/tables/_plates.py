"""Plates of wells: what stands in each well, from a second plate of words or from the person."""

from __future__ import annotations

import re
from dataclasses import replace

from aerobe.errors import ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._cells import read_cell
from aerobe.tables._clock import duration_h
from aerobe.tables._wide import hour_of

OWN = "each well is a brew"
_SPAN = re.compile(r"([A-P])(\d{1,2})(?:\s*(?:-|:|\.\.)\s*([A-P])?(\d{1,2}))?", re.IGNORECASE)


def plate_block(block: Block, questions: Questions) -> Block:
    """A table of wells with the names of their teas and, where the lines above plates tell it, the hour."""
    if "well" not in block.header or (block.form != "plate" and len(block.header) < 2):
        return block
    well = block.header.index("well")
    if block.form == "plate":
        block = _with_hours(_with_quantity(block))
        if len({row[block.header.index("plate label")] for row in block.rows}) == 1:
            block = _without_column(block, "plate label")
        layout = _layout_plate(block)
        if layout:
            labels, rows = layout
            return _labelled(rows, labels, well)
    elif any(name.lower() in ("brew", "sample", "treatment", "label") for name in block.header):
        return block
    wells = list(dict.fromkeys(row[well] for row in block.rows))
    said = questions.ask(
        "layout",
        f"What stands in the {len(wells)} wells ({wells[0]} to {wells[-1]})?",
        because=f"Write for example A1-A3=kelp; B1-B3=plain; H12=blank. Wells that are not named are left out. Or write: {OWN}.",
    )
    if not said or said == OWN:
        return block
    return _labelled(block, layout_from(said), well)


def layout_from(text: str) -> dict[str, str]:
    """Name by well, from `A1-A3=kelp; B1=plain`.

    Raises
    ------
    ImportFault
        If a part cannot be read.
    """
    found: dict[str, str] = {}
    for part in filter(None, (piece.strip() for piece in re.split(r"[;\n]", text))):
        where, equals, name = part.partition("=")
        for span in where.split(","):
            match = _SPAN.fullmatch(span.strip())
            if match is None or not equals or not name.strip():
                raise ImportFault(f"'{part[:60]}' does not say what stands in which wells.", "Write A1-A3=kelp; B1-B3=plain.")
            first, last = ord(match[1].upper()), ord((match[3] or match[1]).upper())
            for letter in range(first, last + 1):
                for number in range(int(match[2]), int(match[4] or match[2]) + 1):
                    found[f"{chr(letter)}{number}"] = name.strip()
    return found


def _labelled(block: Block, labels: dict[str, str], well: int) -> Block:
    kept = [(number, row) for number, row in zip(block.numbers, block.rows, strict=True) if labels.get(row[well])]
    gone = len(block.rows) - len(kept)
    return replace(
        block,
        header=(*block.header, "treatment"),
        rows=tuple((*row, labels[row[well]]) for _, row in kept),
        numbers=tuple(number for number, _ in kept),
        noted=(*block.noted, *((f"{gone} wells without a name are left out.",) if gone else ())),
    )


def _layout_plate(block: Block) -> tuple[dict[str, str], Block] | None:
    """A plate of words beside plates of numbers says what stands where."""
    if "plate label" not in block.header:
        return None
    plate = block.header.index("plate label")
    by_plate: dict[str, list[tuple[int, tuple[str, ...]]]] = {}
    for number, row in zip(block.numbers, block.rows, strict=True):
        by_plate.setdefault(row[plate], []).append((number, row))
    worded = [
        name for name, rows in by_plate.items() if sum(read_cell(row[1]).kind == "number" for _, row in rows) < 0.3 * len(rows)
    ]
    if len(worded) != 1 or len(by_plate) < 2:
        return None
    labels = {row[0]: row[1] for _, row in by_plate[worded[0]]}
    kept = [pair for name, rows in by_plate.items() if name != worded[0] for pair in rows]
    return labels, replace(block, rows=tuple(row for _, row in kept), numbers=tuple(number for number, _ in kept))


def _with_hours(block: Block) -> Block:
    """The hour out of the line above each plate, where every plate of numbers has one."""
    plate = block.header.index("plate label")
    hours = {name: _hour_in(name) for name in dict.fromkeys(row[plate] for row in block.rows)}
    if not hours or sum(hour is None for hour in hours.values()) > 1 or all(hour is None for hour in hours.values()):
        return block
    rows = tuple((*row, hours[row[plate]] or "") for row in block.rows)
    return replace(block, header=(*block.header, "elapsed [h]"), rows=rows)


def _hour_in(text: str) -> str | None:
    clocks = re.findall(r"(?<![\d:-])\d{1,3}:[0-5]\d(?::[0-5]\d)?(?![\d:])", text)
    if clocks:  # `Read 2 (6:00:00)`
        return f"{duration_h(clocks[-1])!r} h"
    match = re.search(r"(\d+(?:[.,]\d+)?)\s*(h|hr|hrs|hours?|min|d|days?|std|stunden)\b|\bt\s*=?\s*(\d+)\b", text.lower())
    if match is None:
        return None
    found = hour_of(f"{match[1]} {match[2]}") if match[1] else hour_of(f"t{match[3]}")
    return None if found is None else f"{found[0]!r} {found[1] or 'h'}"


def _without_column(block: Block, name: str) -> Block:
    place = block.header.index(name)
    rows = tuple((*row[:place], *row[place + 1 :]) for row in block.rows)
    return replace(block, header=(*block.header[:place], *block.header[place + 1 :]), rows=rows)


def _with_quantity(block: Block) -> Block:
    said = " ".join(block.above)
    if re.search(r"\b(od ?\d*|absorbance|optical density|\d{3} ?nm)\b", said, re.IGNORECASE):
        return replace(block, header=tuple("value [OD]" if name == "value" else name for name in block.header))
    return block

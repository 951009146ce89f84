"""Codes, numbers and words that stand for no reading, for a limit, or for a bad row."""

from __future__ import annotations

from collections import Counter

from aerobe.errors import ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._cells import SENTINELS, read_cell
from aerobe.tables._columns import Column, is_channel
from aerobe.tables._way import ABOVE_WORDS, BAD_WORDS, BELOW_WORDS, LEAVE_OUT, PLAIN_WORDS


def limits_of(block: Block, columns: tuple[Column, ...], questions: Questions) -> dict[tuple[str, str], float | None]:
    """The number behind codes such as ND and TNTC, where no column and no cell has it."""
    found: dict[tuple[str, str], float | None] = {}
    with_limit = [place for place, column in enumerate(columns) if column.field == "limit"]
    for place, column in enumerate(columns):
        if column.field != "value":
            continue
        codes: dict[str, list[tuple[int, str]]] = {}
        for number, row in zip(block.numbers, block.rows, strict=True):
            cell = read_cell(row[place], column.decimal)
            if cell.kind == "code" and not any(read_cell(row[at]).kind == "number" for at in with_limit):
                codes.setdefault(cell.bound, []).append((number, row[place]))
        for bound, rows in codes.items():
            side = "below" if bound == "<" else "above"
            said = questions.ask(
                f"limit {side}:{column.header}",
                f"'{rows[0][1]}' in '{column.header}': {side} which limit?",
                because=f"{len(rows)} cells give no number. Write the limit in the column's unit, or: {LEAVE_OUT}.",
                rows=tuple(number for number, _ in rows),
            )
            found[column.header, bound] = None if said in ("", LEAVE_OUT) else _limit(said)
    return found


def _limit(said: str) -> float:
    cell = read_cell(said)
    if cell.kind != "number":
        raise ImportFault(f"'{said[:60]}' is no limit.", f"Write a number in the column's unit, or: {LEAVE_OUT}.")
    return cell.value


def sentinels_of(block: Block, columns: tuple[Column, ...], questions: Questions) -> frozenset[tuple[str, float]]:
    """Numbers such as -9999 that stand for no reading: known ones, far off all others."""
    found = set()
    for place, column in enumerate(columns):
        if column.field not in ("value", "elapsed") and not is_channel(column.field):
            continue
        cells = [
            (number, cell.value)
            for number, row in zip(block.numbers, block.rows, strict=True)
            if (cell := read_cell(row[place], column.decimal)).kind == "number"
        ]
        odd = SENTINELS | OF_PROBES if is_channel(column.field) else SENTINELS
        odd = odd - {0.0} if column.field == "salinity" else odd  # fresh water
        counts = Counter(value for _, value in cells if value in odd)
        rest = [value for _, value in cells if value not in odd]
        for value, times in counts.items():
            alone = not rest or stands_apart(value, rest)
            if not alone or (not rest and times < 2):
                continue
            said = questions.ask(
                f"no reading:{column.header}:{value:g}",
                f"Does {value:g} in '{column.header}' stand for no reading?",
                because="Instruments write such numbers where they have none, and it lies far off all others.",
                options=("yes", "no"),
                default="" if value == 0.0 else "yes",  # nought may be a true reading
                rows=tuple(number for number, other in cells if other == value),
            )
            if said == "yes":
                found.add((column.header, value))
    return frozenset(found)


# What chips and counters of probes give where nothing is connected: all bits set, power-on values, nought.
OF_PROBES = frozenset({0.0, 85.0, -127.0, 655.35, 6553.5, 65.535, 327.67, -327.68, 3276.7, -3276.8, 32767.0})


def stands_apart(value: float, rest: list[float]) -> bool:
    """Whether a number lies far off all others: on the other side of nought, many times larger, or beyond their whole reach."""
    if (value < 0 <= min(rest)) or abs(value) > 3.0 * max(map(abs, rest)):
        return True
    return min(abs(value - other) for other in rest) > max(max(rest) - min(rest), 0.3 * max(map(abs, rest)))


def flags_of(block: Block, columns: tuple[Column, ...], questions: Questions) -> frozenset[str]:
    """Words of a flag that speak against a row: left out or kept, as the person says."""
    leave = set()
    for place, column in enumerate(columns):
        if column.field != "qualifier":
            continue
        words: dict[str, list[int]] = {}
        for number, row in zip(block.numbers, block.rows, strict=True):
            word = row[place].strip().lower()
            if word and word not in BELOW_WORDS | ABOVE_WORDS | PLAIN_WORDS and BAD_WORDS.search(word):
                words.setdefault(word, []).append(number)
        for word, numbers in words.items():
            said = questions.ask(
                f"flag:{word}",
                f"Rows marked '{word}' in '{column.header}': keep them?",
                options=("keep", LEAVE_OUT),
                rows=tuple(numbers),
            )
            leave |= {word} if said == LEAVE_OUT else set()
    return frozenset(leave)

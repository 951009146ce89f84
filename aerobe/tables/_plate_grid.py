"""Plates of wells in a grid of cells: numbers across, letters down."""

from __future__ import annotations

from aerobe.tables._block import Block, Numbered


def plates_of(rows: Numbered, sheet: str) -> list[Block]:
    """Plates of wells: columns 1 to 12 (6, 24) over rows A to H (D, P), each as a table of wells."""
    found: list[Block] = []
    place, last = 0, 0
    while place < len(rows):
        cells = rows[place][1]
        at = next((index for index, cell in enumerate(cells[:4]) if cell == "1" and _counts_up(cells[index:])), None)
        letters = [] if at is None or at == 0 else _letters(rows[place + 1 :], at - 1)
        if at is None or len(letters) < 4:
            place += 1
            continue
        wide = _counts_up(cells[at:])
        wells, numbers = [], []
        for letter, (number, row) in zip(letters, rows[place + 1 :], strict=False):
            for column in range(wide):
                cell = row[at + column] if at + column < len(row) else ""
                if cell:
                    wells.append((f"{letter}{column + 1}", cell))
                    numbers.append(number)
        above = tuple(" ".join(filter(None, row)) for _, row in rows[last:place])
        found.append(
            Block(sheet=sheet, header=("well", "value"), rows=tuple(wells), numbers=tuple(numbers), above=above, form="plate")
        )
        place += 1 + len(letters)
        last = place
    return [block for block in found if block.rows]


def _counts_up(cells: list[str]) -> int:
    """How many cells count 1, 2, 3 ...; 0 if no plate has so many columns."""
    count = 0
    while count < len(cells) and cells[count] == str(count + 1):
        count += 1
    return count if count in (6, 8, 12, 24) else 0


def _letters(rows: Numbered, place: int) -> list[str]:
    letters: list[str] = []
    for _, row in rows:
        if place >= len(row) or row[place].upper() != chr(65 + len(letters)):
            break
        letters.append(row[place].upper())
    return letters

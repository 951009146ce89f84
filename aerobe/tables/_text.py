"""From bytes to rows of cells: which letters, which mark between columns, each with how sure that is."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from aerobe.errors import ImportFault

MARKS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "spaces"}
LOOKED_AT = 300  # lines that settle the mark between columns


_PAIR = re.compile(r"([A-Za-z][\w .]{0,30}?)\s*=\s*([-+<>]?[\d.,]+(?:[eE][+-]?\d+)?|[A-Za-z#/-]{1,12})\s*([^\s=,;]*)(?=[\s,;]|$)")
_STAMP = re.compile(r"\[?(\d{4}-\d{2}-\d{2}[T ]\S+|\d{1,2}[./-]\d{1,2}[./-]\d{2,4} \S+(?: [AaPp][Mm])?)\]?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Inferred:
    """Something inferred: what, how well it fits (0 to 1), and why."""

    what: str
    score: float
    because: str


def decode(content: bytes, name: str) -> tuple[str, Inferred]:
    """The text of a file, and which letters it was read by.

    Raises
    ------
    ImportFault
        If it is no text.
    """
    for mark, letters in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if content.startswith(mark):
            return _plain(content.decode(letters, errors="replace")), Inferred(
                what=letters, score=1.0, because="the file says so"
            )
    head = content[:4096]
    if b"\x00" in head:
        # Two bytes a letter and no mark: every other byte of plain text is then zero.
        for place, letters in ((1, "utf-16-le"), (0, "utf-16-be")):
            zeros = head[place::2].count(0)
            if zeros > 0.8 * len(head[place::2]) and head[1 - place :: 2].count(0) == 0:
                text = content.decode(letters, errors="replace")
                return _plain(text), Inferred(what=letters, score=0.9, because="every other byte is zero")
        raise ImportFault(f"{name} is no text.", "Save the table as CSV, TSV or XLSX.")
    try:
        return _plain(content.decode("utf-8")), Inferred(what="utf-8", score=1.0, because="every byte fits")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
        odd = text.count("\ufffd") + sum(text.count(sign) for sign in "\u0192\u2020\u2021\u02c6\u2030")
        return _plain(text), Inferred(
            what="cp1252", score=0.9 if not odd else 0.6, because="it is no UTF-8; older programs write so"
        )


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\x00", "")


def separator(text: str) -> Inferred:
    """The mark between columns: the one by which most lines have the same number of well-formed cells."""
    said = re.match(r"sep=(.)\n", text, re.IGNORECASE)
    if said:
        return Inferred(what=said[1], score=1.0, because="the first line says so")
    lines = [line for line in text[:400_000].split("\n") if line.strip()][:LOOKED_AT]
    scored = {mark: _evenness(lines, mark) for mark in MARKS}
    best = max(scored, key=lambda mark: scored[mark])
    if scored[best] <= 0.0:
        return Inferred(what=",", score=0.5, because="one column")
    return Inferred(what=best, score=round(scored[best], 2), because=f"{MARKS[best]} splits the lines most evenly")


def _evenness(lines: list[str], mark: str) -> float:
    try:
        rows = [_split(line, mark) for line in lines]
    except csv.Error:
        return 0.0
    widths = Counter(len(row) for row in rows)
    if not widths:
        return 0.0
    usual, times = max(widths.items(), key=lambda pair: (pair[1] * (pair[0] > 1), pair[0]))
    if usual < 2:
        return 0.0
    cells = [cell for row in rows if len(row) == usual for cell in row]
    clean = sum(1 for cell in cells if not _cut_wrong(cell, mark)) / max(len(cells), 1)
    ranks = {"\t": 1.0, ";": 1.0, "|": 0.9, ",": 0.85, " ": 0.4}
    wordy = 1.0 if mark != " " else sum(1 for cell in cells if re.fullmatch(r"[-+\d.,:eE<>/]+", cell)) / max(len(cells), 1)
    return times / len(rows) * clean * ranks[mark] * wordy


def _cut_wrong(cell: str, mark: str) -> bool:
    """Whether a cell seems to hold several: another mark in it that is no punctuation and no decimal comma."""
    text = cell.strip()
    if any(other in text for other in {"\t", ";", "|"} - {mark}) and not re.search(r"[;|] ", text):
        return True
    return (
        mark != "," and "," in text and not re.fullmatch(r"[<>=~\s]*[+-]?[\d ]*,\d+(e[+-]?\d+)?\D*|.*, .*", text, re.IGNORECASE)
    )


def _split(line: str, mark: str) -> list[str]:
    return line.split() if mark == " " else next(csv.reader([line], delimiter=mark), [])


def pairs_grid(text: str) -> list[list[str]] | None:
    """Lines such as `2026-06-01T08:00Z DO=8.1mg/L T=20.1C` as a table; None where most lines are no such.

    Each name gets a column, its unit in brackets; a name with two units gets two. Other lines stay, as remarks.
    """
    lines = text.split("\n")
    looked = [line for line in lines[:LOOKED_AT] if line.strip() and not line.startswith("#")]
    if len(looked) < 2 or sum(len(_PAIR.findall(line)) > 0 and bool(_STAMP.match(line.strip())) for line in looked) < 0.6 * len(
        looked
    ):
        return None
    names: dict[str, int] = {}
    rows: list[tuple[str, dict[str, str]] | str] = []
    for line in lines:
        stamp, found = _STAMP.match(line.strip()), _PAIR.findall(line)
        if not stamp or not found:
            rows.append(line.strip())
            continue
        cells = {f"{name.strip()} [{unit}]" if unit else name.strip(): value for name, value, unit in found}
        names |= {name: len(names) + at for at, name in enumerate(name for name in cells if name not in names)}
        rows.append((stamp[1], cells))
    header = ["timestamp", *names]
    table = [[row] if isinstance(row, str) else [row[0], *(row[1].get(name, "") for name in names)] for row in rows]
    first = next(place for place, row in enumerate(rows) if not isinstance(row, str))
    return [*table[:first], header, *table[first:]]


def grid_of(text: str, mark: str, name: str) -> list[list[str]]:
    """All rows as cells.

    Raises
    ------
    ImportFault
        If quotes never close, or a cell is endless.
    """
    if re.match(r"sep=.\n", text, re.IGNORECASE):
        text = "\n" + text.partition("\n")[2]
    if mark == " ":
        return [line.split() for line in text.split("\n")]
    try:
        return list(csv.reader(io.StringIO(text), delimiter=mark))
    except csv.Error as fault:
        raise ImportFault(f"{name} is no table of text: {fault}.", "Save it as CSV or as a spreadsheet and try again.") from None

"""What a spreadsheet says by its looks: rows and columns that are hidden, cells that are struck out, remarks pinned to cells."""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from dataclasses import dataclass
from html import unescape

MOST_BYTES = 40_000_000  # of a sheet that is looked through for its looks
_ROW = re.compile(rb"<row\b([^>]*)>")
_HIDDEN = re.compile(rb'\b(?:hidden="(?:1|true)"|zeroHeight="1")')
_COLUMN = re.compile(rb"<col\b([^>]*)/?>")
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(?=<(?:v|is|f)\b))")
_FONT = re.compile(rb"<font\b[^>]*?(?:/>|>(.*?)</font>)", re.DOTALL)
_STRIKE = re.compile(rb'<strike(?!\s+val="(?:0|false)")')


@dataclass(frozen=True, slots=True)
class Looks:
    """Places counted from nought: hidden rows and columns, struck cells and shares shown as percent, by row and column; and how
    many cells have remarks."""

    rows: tuple[int, ...] = ()
    columns: tuple[int, ...] = ()
    struck: tuple[tuple[int, int], ...] = ()
    remarks: int = 0
    percent: tuple[tuple[int, int], ...] = ()


def looks_of(content: bytes) -> dict[str, Looks]:
    """The looks of each sheet of an XLSX, by name; empty for other kinds of files."""
    if content[:4] != b"PK\x03\x04":
        return {}
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = {item.filename: item.file_size for item in packed.infolist()}
        if "xl/workbook.xml" not in parts:
            return {}
        targets = _targets(packed, "xl/workbook.xml", parts)
        struck, percent = _styles(packed, parts)
        found = {}
        for attributes in re.findall(r"<sheet\b([^>]*)>", packed.read("xl/workbook.xml").decode("utf-8", "replace")):
            name, key = _attribute(attributes, "name"), _attribute(attributes, "r:id")
            part = targets.get(key, "")
            if parts.get(part, MOST_BYTES) < MOST_BYTES:
                found[unescape(name)] = _looks(packed, part, parts, struck, percent)
        return found


def _looks(packed: zipfile.ZipFile, part: str, parts: dict[str, int], struck: frozenset[int], percent: frozenset[int]) -> Looks:
    text = packed.read(part)
    rows = tuple(_number(tag, b"r") - 1 for tag in _ROW.findall(text) if _HIDDEN.search(tag) and _number(tag, b"r"))
    columns: list[int] = []
    for tag in _COLUMN.findall(text):
        if _HIDDEN.search(tag):
            columns += range(_number(tag, b"min") - 1, min(_number(tag, b"max"), 16384))
    marked = [(_number(tag, b"s"), _place(tag)) for tag in _CELL.findall(text)] if struck or percent else []
    remarks = 0
    for target in _targets(packed, part, parts).values():
        if re.search(r"/comments?\d*\.xml$", target) and target in parts:
            remarks += len(re.findall(rb"<comment\b", packed.read(target)))
    crossed, shares = (tuple(place for style, place in marked if place and style in styles) for styles in (struck, percent))
    return Looks(rows, tuple(columns), crossed, remarks, shares)


def _styles(packed: zipfile.ZipFile, parts: dict[str, int]) -> tuple[frozenset[int], frozenset[int]]:
    """The styles of cells that are struck out, and of shares that are shown as percent."""
    if parts.get("xl/styles.xml", MOST_BYTES) >= MOST_BYTES:
        return frozenset(), frozenset()
    text = packed.read("xl/styles.xml")
    fonts = re.search(rb"<fonts\b.*?</fonts>", text, re.DOTALL)
    styles = re.search(rb"<cellXfs\b.*?</cellXfs>", text, re.DOTALL)
    if styles is None:
        return frozenset(), frozenset()
    crossed = {at for at, inner in enumerate(_FONT.findall(fonts[0])) if _STRIKE.search(inner)} if fonts else set()
    shares = {9, 10} | {
        _number(tag, b"numFmtId") for tag in re.findall(rb"<numFmt\b([^>]*)", text) if re.search(rb'formatCode="[^"]*%', tag)
    }
    tags = list(enumerate(re.findall(rb"<xf\b([^>]*)", styles[0])))
    return (
        frozenset(at for at, tag in tags if _number(tag, b"fontId") in crossed),
        frozenset(at for at, tag in tags if _number(tag, b"numFmtId") in shares),
    )


def _targets(packed: zipfile.ZipFile, part: str, parts: dict[str, int]) -> dict[str, str]:
    folder, file = posixpath.split(part)
    beside = f"{folder}/_rels/{file}.rels"
    if beside not in parts:
        return {}
    found = {}
    for tag in re.findall(r"<Relationship\b([^>]*)", packed.read(beside).decode("utf-8", "replace")):
        target = _attribute(tag, "Target")
        found[_attribute(tag, "Id")] = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
    return found


def _attribute(tag: str, name: str) -> str:
    match = re.search(rf'(?<![\w:]){re.escape(name)}="([^"]*)"', tag)
    return match[1] if match else ""


def _number(tag: bytes, name: bytes) -> int:
    match = re.search(rb"(?<![\w:])" + name + rb'="(\d+)"', tag)
    return int(match[1]) if match else 0


def _place(tag: bytes) -> tuple[int, int] | None:
    match = re.search(rb'(?<![\w:])r="([A-Z]{1,3})(\d+)"', tag)
    if match is None:
        return None
    column = 0
    for letter in match[1].decode():
        column = 26 * column + ord(letter) - 64
    return int(match[2]) - 1, column - 1

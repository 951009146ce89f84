"""Cells of tables that leave the program: no spreadsheet may run a text that somebody typed as a formula."""

from __future__ import annotations

import re
import unicodedata

_BEGINS = ("=", "+", "-", "@", "\t", "\r", "'")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")


def runs_as_formula(text: str) -> bool:
    """Whether some spreadsheet would run a text: also behind spaces or line ends, or full-width signs."""
    if text.startswith(_BEGINS):
        return True
    seen = unicodedata.normalize("NFKC", text).lstrip()
    while seen and (unicodedata.category(seen[0]) in ("Cc", "Cf", "Zs", "Zl", "Zp")):
        seen = seen[1:]
    return seen.startswith(_BEGINS)


def text_as_cell(text: str) -> str:
    """A text as a cell; an apostrophe before it keeps it from being run, and tells whoever reads it again to take it off."""
    return "'" + text if runs_as_formula(text) else text


def as_cell(value: object) -> object:
    """What a table shows as a cell; numbers, also written ones, stay as they are."""
    return text_as_cell(value) if isinstance(value, str) and not _NUMBER.fullmatch(value) else value

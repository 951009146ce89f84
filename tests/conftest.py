"""What all tests share."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

TRUTH = Path(__file__).parent / "truth"
DATA = Path(__file__).parent / "data"


def truth(name: str) -> list[SimpleNamespace]:
    """The rows of a table of published numbers; numeric cells become floats."""
    with (TRUTH / name).open(newline="", encoding="utf-8") as stream:
        return [SimpleNamespace(**{key: _cell(cell) for key, cell in row.items()}) for row in csv.DictReader(stream)]


def _cell(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text

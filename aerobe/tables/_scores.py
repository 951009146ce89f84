"""How well names, units and cells of a column fit each meaning."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass

from aerobe.tables._block import Block
from aerobe.tables._blocks import SECTION
from aerobe.tables._cells import read_cell
from aerobe.tables._clock import looks_clocked, looks_dated
from aerobe.tables._units import Unit, unit_of
from aerobe.tables._wide import HOUR, LABEL, VALUE, WELL, hour_of
from aerobe.tables._words import meanings_of, names_mean, says_otherwise

LABELS = ("experiment", "block", "brew", "arm", "dose", "bottle")


BARE_PERCENT = ("%", "percent")
MADE = (SECTION, "table", "sheet", "plate label", LABEL, "well")  # columns made while reading


@dataclass(frozen=True, slots=True)
class Content:
    filled: int
    numbers: float  # share of cells that are numbers, bounds or codes
    dated: float
    clocked: float
    hours: float  # share of cells such as `6 h` or `T6`
    distinct: int
    whole: bool
    rising: float  # share of steps that do not fall
    low: float
    high: float


def content_of(block: Block, place: int) -> Content:
    cells = [row[place] for row in block.rows[:1000] if row[place]]
    plain = [cell for cell in cells if not names_mean(cell)]
    cells = plain if any(read_cell(cell).kind == "number" for cell in plain) else cells
    read = [read_cell(cell) for cell in cells]
    values = [cell.value for cell in read if cell.kind == "number"]
    total = max(len(cells), 1)
    steps = list(itertools.pairwise(values))
    return Content(
        filled=len(cells),
        numbers=sum(1 for cell in read if cell.kind in ("number", "code", "broken", "missing") and not _wordy(cell.unit)) / total,
        dated=sum(map(looks_dated, cells)) / total,
        clocked=sum(map(looks_clocked, cells)) / total,
        hours=sum(1 for cell in cells if hour_of(cell) is not None and not re.fullmatch(r"[\d.]+", cell)) / total,
        distinct=len(set(cells)),
        whole=all(value == int(value) for value in values if abs(value) < 1e15),
        rising=sum(1 for early, late in steps if late >= early) / max(len(steps), 1),
        low=min(values, default=0.0),
        high=max(values, default=0.0),
    )


def _wordy(unit: str) -> bool:
    return bool(unit) and unit_of(unit) is None


def scores_of(name: str, parts: tuple[str, str, Unit | None], content: Content) -> dict[str, tuple[float, str]]:
    """Every meaning that name, unit and cells allow, with its score and why."""
    if name in MADE:
        return _made(name)
    words, _, unit = parts
    found: dict[str, tuple[float, str]] = {}
    named = dict(meanings_of(words))
    for field, score in meanings_of(name).items():
        named[field] = max(score, named.get(field, 0.0))
    if unit is not None and unit.kinds and "elapsed" not in unit.kinds:
        named = {field: score for field, score in named.items() if field not in ("elapsed", "time")}  # `T [C]` is no time
    if unit is not None and unit.kinds:
        named.pop("n", None)  # `NO3-N (mg/L)` is no number of replicates
    if name.startswith(HOUR):
        named = {"elapsed": 1.0}
    if name == VALUE or name.startswith(f"{VALUE} "):
        named = {"sd": 1.0} if " sd" in name else {"value": 1.0}
    for field, score in named.items():
        fit, seen = _fit(field, content, unit)
        found[field] = score * fit, f"its name says {_plain(field)}; {seen}"
    if "time" in found and content.numbers > 0.8 and content.clocked < 0.5:
        found["elapsed"] = max(found.get("elapsed", (0.0, "")), (0.85, "its name says time and its cells are numbers"))
    if "date" in found and content.dated >= 0.8 and content.distinct > 1:
        found["date"] = (1.0, "its cells are dates")
    if unit is not None and content.numbers > 0.5:
        for field in unit.kinds:
            if field == "value" and "oxygen" in unit.kinds:
                continue  # mg/L alone may be oxygen or biomass
            if unit.name in BARE_PERCENT and field not in named:
                continue  # a share of anything: living cells, moisture, battery
            if field in ("dose", "salinity") and field not in named and (unit.name == "mg/L" or field == "salinity"):
                continue  # what a water holds of anything
            if field in ("oxygen", "temperature") and field not in named and says_otherwise(words, field):
                continue
            bonus = 0.6 if not named else 0.15
            before = found.get(field, (0.0, ""))
            if field in named or not named or field == "value":
                found[field] = min(before[0] + bonus, 1.0), before[1] or f"its unit {unit.name} is one of {_plain(field)}"
    if not found and content.dated > 0.8:
        found["clock"] = 0.8, "its cells are dates and times"
    if not found and content.hours > 0.8:
        found["elapsed"] = 0.7, "its cells are hours"
    if not named and content.distinct and WELL.fullmatch(name):
        found["value"] = 0.6, "named as a well"
    return found


def _made(name: str) -> dict[str, tuple[float, str]]:
    if name == LABEL:
        return {"brew": (0.9, "the names of the columns that were turned")}
    if name == "well":
        return {"bottle": (0.8, "wells of a plate")}
    return {"ignore": (0.4, "made while reading: it says from which part of the file a row comes")}


def _plain(field: str) -> str:
    return {"elapsed": "time since the start", "arm": "treatment", "value": "a result", "sd": "a standard deviation"}.get(
        field, field
    )


def _fit(field: str, content: Content, unit: Unit | None) -> tuple[float, str]:
    """How well cells fit a meaning (0 to 1), and what was seen."""
    if not content.filled:
        return 0.5, "it is empty"
    if field == "elapsed":
        good = max(content.numbers, content.hours, content.clocked)
        return (1.0 if good > 0.8 else 0.3) if content.dated < 0.5 else 0.1, f"numbers from {content.low:g} to {content.high:g}"
    if field == "clock":
        return (
            1.0 if content.dated > 0.7 else 0.3
        ), "its cells are dates and times" if content.dated > 0.7 else "its cells are no dates"
    if field in ("date", "time"):
        good = content.dated if field == "date" else max(content.clocked, content.dated)
        return (1.0 if good > 0.7 else 0.35), f"{content.distinct} different cells"
    if field in ("value", "oxygen", "temperature", "pH", "conductivity", "salinity", "sd", "se", "cv", "lower", "upper", "limit"):
        return (
            1.0 if content.numbers > 0.6 else 0.4 if content.numbers > 0.3 else 0.1
        ), f"numbers from {content.low:g} to {content.high:g}"
    if field == "n":
        return (
            1.0 if content.numbers > 0.8 and content.whole and content.low >= 0 else 0.1
        ), "whole numbers" if content.whole else "no whole numbers"
    if field == "replicate":
        return (1.0 if content.distinct <= max(12, 0.2 * content.filled) else 0.5), f"{content.distinct} different cells"
    if field == "dose":
        return (1.0 if content.distinct <= max(12, 0.3 * content.filled) else 0.3), f"{content.distinct} different doses"
    if field in ("role", "variable", "method", "organism", "unit"):
        return (0.2 if content.numbers > 0.9 else 1.0), f"{content.distinct} different words"
    if field in LABELS:
        return (1.0 if content.distinct <= max(40, 0.6 * content.filled) else 0.6), f"{content.distinct} different names"
    return 1.0, f"{content.distinct} different cells"

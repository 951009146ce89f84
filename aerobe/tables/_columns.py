"""What each column of a table means: scored from its name, its unit and its cells, with the reason."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace

from aerobe.errors import ImportFault
from aerobe.tables._block import Block
from aerobe.tables._cells import Marks, marks_of
from aerobe.tables._scores import LABELS, Content, content_of, scores_of
from aerobe.tables._units import CHANNEL_KINDS, split_header, unit_of
from aerobe.tables._words import folded_name, names_mean
from aerobe.units import OXYGEN_PERCENT

FIELDS = (
    "elapsed",
    "clock",
    "date",
    "time",
    "experiment",
    "block",
    "brew",
    "arm",
    "dose",
    "bottle",
    "role",
    "method",
    "organism",
    "variable",
    "assay",
    "value",
    "unit",
    "sd",
    "se",
    "cv",
    "lower",
    "upper",
    "n",
    "limit",
    "qualifier",
    "dilution",
    "replicate",
    "sample",
    "operator",
    "kit lot",
    "notes",
    "oxygen",
    "temperature",
    "pH",
    "conductivity",
    "salinity",
    "brew temperature",
    "ignore",
)
ONCE = frozenset(FIELDS) - {
    "value",
    "sd",
    "se",
    "cv",
    "lower",
    "upper",
    "n",
    "notes",
    "ignore",
    "arm",
    "brew",
    "bottle",
    "experiment",
    "block",
    "dose",
    "oxygen",
    "temperature",
    "pH",
    "conductivity",
    "salinity",
}
WORKED_OUT = "its name says that it was worked out"
SURE = 0.55  # a column whose best meaning scores lower is shown as left out
_MEANING = re.compile(r"([A-Za-z]+(?: [A-Za-z]+)*)\s*(?:\[(.*)\])?")
LONGEST_MEANING = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name in the file, what it means with how sure that is and why, its unit, and its first cells."""

    header: str
    field: str = "ignore"
    unit: str = ""  # as the house writes it, or as the file does where it is not known
    factor: float = 1.0  # before the unit: 1e6 for `10^6 cells/mL`
    log10: bool = False
    score: float = 0.0
    because: str = ""
    decimal: str = "."
    shown: tuple[str, ...] = ()


def columns_of(block: Block) -> list[Column]:
    """The likeliest meaning of every column of a table."""
    contents = [content_of(block, place) for place in range(len(block.header))]
    units = [split_header(re.sub(r" \(\d+\)$", "", name)) for name in block.header]
    options = [scores_of(name, units[place], contents[place]) for place, name in enumerate(block.header)]
    chosen = _assign(options)
    columns = []
    for place, name in enumerate(block.header):
        field, score, why = chosen[place]
        unit = units[place][2]
        column = Column(
            header=name,
            field=field,
            unit=unit.name if unit else units[place][1],
            factor=unit.factor if unit else 1.0,
            log10=bool(unit and unit.log10),
            score=round(score, 2),
            because=why,
            shown=tuple(row[place] for row in block.rows[:3]),
        )
        columns.append(_plain_result(_with_unit_of_words(column, units[place][0])))
    return without_moving_doses(block, _settled(columns, contents))


def without_sums(block: Block, columns: tuple[Column, ...]) -> Block:
    """The table without rows that only sum others up: `Mean` or `SD` where a time stands otherwise."""
    places = [place for place, column in enumerate(columns) if column.field in ("elapsed", "clock", "date", "time", "value")]
    gone = {
        at
        for at, row in enumerate(block.rows)
        if any(row[place] and not row[place][0].isdigit() and names_mean(row[place]) for place in places)
    }
    if not gone:
        return block
    numbers = ", ".join(str(block.numbers[at]) for at in sorted(gone)[:6])
    kept = [at for at in range(len(block.rows)) if at not in gone]
    return replace(
        block,
        rows=tuple(block.rows[at] for at in kept),
        numbers=tuple(block.numbers[at] for at in kept),
        noted=(*block.noted, f"Rows that only sum others up (mean, SD, total) are left out: row {numbers}."),
    )


def said_column(column: Column, meaning: str) -> Column:
    """A column with the meaning that a person gives it: `field` or `field [unit]`.

    Raises
    ------
    ImportFault
        If there is no such meaning.
    """
    match = _MEANING.fullmatch(meaning.strip()) if len(meaning) < LONGEST_MEANING else None
    if match is None or match[1] not in FIELDS:
        raise ImportFault(
            f"'{meaning[:80]}' is no meaning of a column.", f"Use one of: {', '.join(FIELDS)}, with a [unit] if needed."
        )
    said = (match[2] or "").strip()
    unit = unit_of(said) if said else None
    return replace(
        column,
        field=match[1],
        unit=unit.name if unit else said or column.unit,
        factor=unit.factor if unit else 1.0 if said else column.factor,
        log10=unit.log10 if unit else column.log10 if not said else False,
        score=1.0,
        because="as you say",
    )


def marks_by_column(block: Block) -> list[Marks]:
    """How the numbers of each column are written."""
    return [marks_of(row[place] for row in block.rows[:20000]) for place in range(len(block.header))]


def _assign(options: list[dict[str, tuple[float, str]]]) -> list[tuple[str, float, str]]:
    """Give each column its best meaning; a meaning that only one column can have goes to the best of them."""
    pairs = sorted(
        ((score, -place, field, why) for place, scores in enumerate(options) for field, (score, why) in scores.items()),
        reverse=True,
    )
    chosen: dict[int, tuple[str, float, str]] = {}
    taken: set[str] = set()
    for score, minus, field, why in pairs:
        place = -minus
        if place in chosen or (score < SURE and field != "ignore") or (field in ONCE and field in taken):
            continue
        chosen[place] = field, score, why
        taken.add(field)
    unknown = ("ignore", 0.0, "nothing in its name or cells says what it means")
    return [chosen.get(place, unknown) for place in range(len(options))]


def _with_unit_of_words(column: Column, words: str) -> Column:
    """A unit that the words themselves carry: `Stunden nach Start`, `pH`, `OD600`."""
    if column.unit:
        return column
    folded = folded_name(words or column.header)
    if column.field == "pH":
        return replace(column, unit="pH")
    if column.field == "elapsed":
        unit = next(
            (unit for word in folded.split() if len(word) > 1 and (unit := unit_of(word)) and "elapsed" in unit.kinds), None
        )
        last = folded.split()[-1] if folded else ""
        unit = unit or (unit_of(last) if len(last) == 1 and last in "hsd" else None)
        return replace(column, unit=unit.name) if unit else column
    if column.field == "value" and re.search(r"\b(od ?\d{0,3}|optical density|abs(orban(ce|z))?|a ?600)\b", folded):
        return replace(column, unit="OD")
    return column


_WORKED = re.compile(
    r"(ln|log ?e|natural log\w*|log ?2|sqrt|square root|wurzel|delta|d od|change|difference|diff|fold|ratio|relative|rel|"
    r"normali[sz]ed|norm|index|growth rate|mu|slope|rate|cumulative|cum|percent|pct|share|recovery)( .*)?|"
    r".* (ln|log2|change|ratio|normali[sz]ed|rate)"
)


def _plain_result(column: Column) -> Column:
    """A column whose name says that something was worked out of results is no result: `ln cells/mL`, `change of OD`."""
    if column.field != "value" or _WORKED.fullmatch(folded_name(column.header)) is None:
        return column
    return replace(column, field="ignore", because=f"{WORKED_OUT}, no plain result")


def without_moving_doses(block: Block, columns: list[Column]) -> list[Column]:
    """The columns; what is named like a dose but moves within a brew from hour to hour was measured, not dosed."""
    names = [place for place, column in enumerate(columns) if column.field in ("brew", "arm", "bottle", "block", "experiment")]
    times = [place for place, column in enumerate(columns) if column.field in ("elapsed", "clock", "date", "time")]
    found = list(columns)
    for place, column in enumerate(columns):
        if column.field != "dose" or not times:
            continue
        doses: dict[tuple[str, ...], set[str]] = {}
        at_once: dict[tuple[str, ...], set[str]] = {}
        for row in block.rows:
            name = tuple(row[at] for at in names)
            doses.setdefault(name, set()).add(row[place])
            at_once.setdefault((*name, *(row[at] for at in times)), set()).add(row[place])
        moves = any(len(said) > 1 for said in doses.values())
        if moves and all(len(said) == 1 for said in at_once.values()) and len(at_once) > len(doses):
            found[place] = replace(column, field="ignore", because="it moves from hour to hour within a brew, so it is no dose")
    return found


def _settled(columns: list[Column], contents: list[Content]) -> list[Column]:
    """Meanings that depend on the other columns."""
    fields = Counter(column.field for column in columns)
    found = []
    for column, content in zip(columns, contents, strict=True):
        if column.field == "date" and not fields["time"] and not fields["elapsed"]:
            column = replace(column, field="clock")
        elif column.field == "date" and (fields["elapsed"] or fields["clock"]):
            column = replace(column, field="ignore", because="the time stands in another column")
        elif column.field == "time" and content.dated > 0.7:  # whole dates under `time`
            field = "ignore" if fields["clock"] or fields["elapsed"] else "clock"
            column = replace(column, field=field, because="its cells are dates and times")
            fields["clock"] += 1
        elif column.field == "time" and not fields["date"]:
            column = replace(column, field="elapsed" if content.clocked and not fields["elapsed"] else "ignore")
        elif column.field == "clock" and fields["elapsed"]:
            column = replace(column, field="ignore", because="the time stands in another column, as time since the start")
        found.append(column)
    return _one_oxygen(_named_by_sample(found, contents))


def _named_by_sample(columns: list[Column], contents: list[Content]) -> list[Column]:
    """Where no column names brews, names of samples that come again at other times do."""
    if any(column.field in LABELS for column in columns):
        return columns
    return [
        replace(column, field="brew", because="no other column names the brew, and its names come again")
        if column.field == "sample" and 2 <= content.distinct <= 0.6 * content.filled
        else column
        for column, content in zip(columns, contents, strict=True)
    ]


def _one_oxygen(columns: list[Column]) -> list[Column]:
    """The same oxygen in two units, as loggers write it, is one log: mg/L is kept, percent is left out."""
    oxygen = [column for column in columns if column.field == "oxygen"]
    known = [column for column in oxygen if column.unit and not _is_percent(column.unit) and unit_of(column.unit)]
    if not known or len(known) == len(oxygen):
        return columns
    return [
        replace(column, field="ignore", because=f"the same oxygen stands in '{known[0].header}'")
        if column.field == "oxygen" and _is_percent(column.unit)
        else column
        for column in columns
    ]


def _is_percent(unit: str) -> bool:
    return unit in OXYGEN_PERCENT.accepts


def is_channel(field: str) -> bool:
    """Whether a field is a log of a probe."""
    return field in CHANNEL_KINDS

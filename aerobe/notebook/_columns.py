"""What the columns of a foreign table mean: guessed from their names, shown to the person, and confirmed or mended."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from aerobe.errors import ImportFault, NotAQuantity
from aerobe.notebook._tables import Table
from aerobe.units import CONDUCTIVITY, ELAPSED, OXYGEN, OXYGEN_PERCENT, PH, TEMPERATURE, Kind

FIELDS = (
    "elapsed",
    "clock",
    "date",
    "time",
    "brew",
    "arm",
    "bottle",
    "block",
    "role",
    "method",
    "organism",
    "variable",
    "assay",
    "value",
    "unit",
    "sd",
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
    "ignore",
)
CHANNEL_KINDS: dict[str, tuple[Kind, ...]] = {
    "oxygen": (OXYGEN, OXYGEN_PERCENT),
    "temperature": (TEMPERATURE,),
    "pH": (PH,),
    "conductivity": (CONDUCTIVITY,),
}

# Names as people and loggers write them; the first pattern that fits the folded name wins, so the narrow ones stand first.
_NAMES: tuple[tuple[str, str], ...] = (
    (r"(time|elapsed|t|hours?|age|brewing time|zeit)( since.*)? ?(h|hr|hrs|hours|min|minutes|s|sec|seconds|d|days)", "elapsed"),
    (r"elapsed.*|hours?|hours? .*|hrs?|h|minutes?|days?|stunden|brew(ing)? time|age", "elapsed"),
    (r"(date ?time|time ?stamp|date (and )?time|(sampled|taken|logged) at|zeitpunkt|datum uhrzeit|clock( time)?).*", "clock"),
    (r"(date|datum|day|tag)", "date"),
    (r"(time|uhrzeit|time of day)", "time"),
    (r"(time ?point|index|no|nr|row|record|id)", "ignore"),
    (r"(block|round|week|(weekly|daily) (batch|run)|brewing (day|round))", "block"),
    (r"(brew|brew id|brew key|batch|batch id|tank|vessel)", "brew"),
    (r"(arm|treatment|recipe|group|variant|aeration)", "arm"),
    (r"(bottle|replicate bottle|replicate brew|brew replicate|vessel replicate)", "bottle"),
    (r"(replicate|rep|tech(nical)? rep(licate)?|wiederholung)", "replicate"),
    (r"(role|type|kind|sample type|control)", "role"),
    (r"(method|instrument|technique)", "method"),
    (r"(organisms?|microbes?|taxon|guild|microbial group)", "organism"),
    (r"(variable|parameter|quantity|measurement|measure)", "variable"),
    (r"(assay|test|kit)", "assay"),
    (r"(kit lot|lot|lot number|charge)", "kit lot"),
    (r"(unit|units|einheit)", "unit"),
    (r"(sd|std|stdev|standard deviation|s d|std dev|value sd)", "sd"),
    (r"(dilution|dilution factor|dil|verduennung)", "dilution"),
    (r"(sample|sample id|sample key|probe nr)", "sample"),
    (r"(operator|person|by|read by|who|analyst)", "operator"),
    (r"(notes?|comments?|remarks?|bemerkung(en)?)", "notes"),
    (r"(do|do2|o2|odo|ldo|oxygen|dissolved oxygen|sauerstoff)( .*)?", "oxygen"),
    (r"(temp|temperature|water temp(erature)?|temperatur|t water)( .*)?", "temperature"),
    (r"ph( .*)?", "pH"),
    (r"(ec|conductivity|cond|sp cond|specific conductance|leitfaehigkeit)( .*)?", "conductivity"),
    (r"(value|result|reading|signal|count|counts|biomass|bacteria|fungi|cfu|mpn|cells|messwert|wert)( .*)?", "value"),
)
_SINGLE = {
    "elapsed",
    "clock",
    "date",
    "time",
    "brew",
    "arm",
    "bottle",
    "block",
    "role",
    "method",
    "organism",
    "variable",
    "assay",
    "value",
    "unit",
    "sd",
    "dilution",
    "replicate",
    "sample",
}


LONGEST_MEANING = 200
_MEANING = re.compile(r"([A-Za-z]+(?: [A-Za-z]+)*)\s*(?:\[(.*)\])?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name in the file, what it means, and its unit if the name carries one."""

    header: str
    field: str = "ignore"
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapping:
    """How a table is to be read. `questions` must be settled by the person before anything is kept."""

    columns: tuple[Column, ...]
    decimal_comma: bool = False
    day_first: bool | None = None  # 03/04: the third of April, or March the fourth; None where no such date occurs
    zone: str = ""  # of clock times without offset: an IANA name or an offset such as +02:00
    at_h: float | None = None  # of every row that brings no time of its own [h]
    questions: tuple[str, ...] = ()

    def field(self, name: str) -> int | None:
        """The position of the column with this meaning."""
        return next((place for place, column in enumerate(self.columns) if column.field == name), None)

    def channels(self) -> list[tuple[int, Column]]:
        """The columns that are logs of a probe."""
        return [(place, column) for place, column in enumerate(self.columns) if column.field in CHANNEL_KINDS]


def guess_mapping(table: Table) -> Mapping:
    """What the columns most likely mean, and what only the person can say."""
    columns: list[Column] = []
    taken: set[str] = set()
    for header in table.header:
        column = _guess(header)
        if column.field in taken and column.field in _SINGLE:
            column = replace(column, field="ignore")
        taken.add(column.field)
        columns.append(column)
    if "elapsed" not in taken and "clock" not in taken and "time" in taken and "date" not in taken:
        columns = [_time_alone(column, table, place) for place, column in enumerate(columns)]
    if "elapsed" not in taken and "clock" not in taken and "date" in taken and "time" not in taken:
        columns = [replace(column, field="clock") if column.field == "date" else column for column in columns]
    return _with_questions(table, Mapping(columns=tuple(columns), decimal_comma=table.decimal_comma, day_first=_day_first(table)))


def mend_mapping(
    table: Table,
    mapping: Mapping,
    changes: dict[str, str],
    *,
    zone: str = "",
    day_first: bool | None = None,
    decimal_comma: bool | None = None,
    at_h: float | None = None,
) -> Mapping:
    """The mapping with a person's changes: column name to `field` or `field [unit]`.

    `at_h` is when rows without a time of their own were sampled. [h]

    Raises
    ------
    ImportFault
        If a column or a field is not known.
    """
    columns = {column.header: column for column in mapping.columns}
    for header, meaning in changes.items():
        match = _MEANING.fullmatch(meaning.strip()) if len(meaning) < LONGEST_MEANING else None
        if header not in columns:
            raise ImportFault(f"The table has no column '{header}'.", f"Its columns are: {', '.join(columns)}.")
        if match is None or match[1] not in FIELDS:
            remedy = f"Use one of: {', '.join(FIELDS)}, with a [unit] if needed."
            raise ImportFault(f"'{meaning}' is no meaning of a column.", remedy)
        columns[header] = Column(header=header, field=match[1], unit=(match[2] or "").strip() or columns[header].unit)
    mended = replace(
        mapping,
        columns=tuple(columns.values()),
        zone=zone or mapping.zone,
        questions=(),
        at_h=at_h,
        day_first=mapping.day_first if day_first is None else day_first,
        decimal_comma=mapping.decimal_comma if decimal_comma is None else decimal_comma,
    )
    return _with_questions(table, mended)


def channel_kind(field: str, unit: str) -> Kind | None:
    """The kind of quantity of a channel in this unit, or None if the unit does not fit the channel."""
    for kind in CHANNEL_KINDS[field]:
        try:
            kind.convert(7.0, unit)
        except NotAQuantity:
            continue
        return kind
    return None


def _guess(header: str) -> Column:
    name, unit = _split_unit(header)
    folded = re.sub(r"[^a-z0-9]+", " ", name.lower().replace("ü", "ue").replace("ä", "ae")).strip()
    for pattern, field in _NAMES:
        if not re.fullmatch(pattern, folded):
            continue
        if field == "elapsed" and not unit:
            unit = _trailing_time_unit(folded)
        if field in CHANNEL_KINDS and not unit:
            unit = _trailing_unit(name, field)
        if field in CHANNEL_KINDS and re.search(r"change|rate|demand|uptake|saturation level", folded):
            return Column(header=header, field="ignore", unit=unit)
        return Column(header=header, field=field, unit=unit)
    return Column(header=header, unit=unit)


def _split_unit(header: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*?)[\s_]*[(\[]\s*([^)\]]*?)\s*[)\]]\s*", header)
    return (match[1], match[2]) if match else (header, "")


def _trailing_time_unit(folded: str) -> str:
    last = folded.split(" ")[-1]
    return last if last in ELAPSED.accepts else "h" if last in ("stunden", "hour") else ""


def _trailing_unit(name: str, field: str) -> str:
    """`DO mg/L` and `Temp_C` carry their unit without brackets."""
    words = re.split(r"[\s_,]+", name.strip())
    for count in (2, 1):
        tail = " ".join(words[-count:])
        if len(words) > count and channel_kind(field, tail) is not None:
            return tail
    return "pH" if field == "pH" else ""


def _time_alone(column: Column, table: Table, place: int) -> Column:
    """A column `time` without a date: numbers are time since the start, anything else is a full clock time."""
    if column.field != "time":
        return column
    cells = [row[place] for row in table.rows[:100] if row[place]]
    numeric = all(re.fullmatch(r"[+-]?[\d.,]+", cell) for cell in cells)
    return replace(column, field="elapsed" if numeric else "clock")


def _day_first(table: Table) -> bool | None:
    """From dates such as 25/11/2026 the order of day and month, where some row settles it."""
    pairs = [
        (int(match[1]), int(match[2]))
        for row in table.rows[:5000]
        for cell in row
        if (match := re.match(r"(\d{1,2})[/.-](\d{1,2})[/.-]\d{2,4}\b", cell))
    ]
    if any(first > 12 for first, _ in pairs):
        return True
    if any(second > 12 for _, second in pairs):
        return False
    return None


def _with_questions(table: Table, mapping: Mapping) -> Mapping:
    asked = []
    fields = {column.field for column in mapping.columns}
    if mapping.at_h is None and not fields & {"elapsed", "clock", "date"}:
        asked.append("No column tells the time. Name one: elapsed [h] or clock; or say one time for all rows.")
    if not fields & {"value", *CHANNEL_KINDS}:
        asked.append("No column holds results. Name one: value, oxygen, temperature, pH or conductivity.")
    for column in mapping.columns:
        if column.field == "elapsed" and column.unit not in ELAPSED.accepts:
            asked.append(f"'{column.header}' has no unit of time. Say which: elapsed [h], elapsed [min] ...")
        if column.field in CHANNEL_KINDS and channel_kind(column.field, column.unit) is None:
            units = ", ".join(unit for kind in CHANNEL_KINDS[column.field] for unit in kind.accepts if unit)
            asked.append(f"'{column.header}' has no unit of {column.field}. Say which: {column.field} [unit], one of {units}.")
    if _has_clock_without_order(table, mapping):
        asked.append("Dates such as 03/04/2026 can be read two ways. Say whether the day stands first.")
    if not mapping.zone and _has_clock_without_offset(table, mapping):
        asked.append("Clock times have no time zone. Say which, for example Europe/Berlin or +02:00.")
    return replace(mapping, questions=tuple(asked))


def _clock_cells(table: Table, mapping: Mapping) -> list[str]:
    places = [place for place, column in enumerate(mapping.columns) if column.field in ("clock", "date")]
    return [row[place] for row in table.rows[:200] for place in places if row[place]]


def _has_clock_without_order(table: Table, mapping: Mapping) -> bool:
    # A point between day and month is written day first wherever it is written.
    dated = re.compile(r"\d{1,2}[/-]\d{1,2}[/-]\d{2,4}\b")
    return mapping.day_first is None and any(dated.match(cell) for cell in _clock_cells(table, mapping))


def _has_clock_without_offset(table: Table, mapping: Mapping) -> bool:
    return any(not re.search(r"(Z|[+-]\d{2}:?\d{2})$", cell) for cell in _clock_cells(table, mapping))

"""Rows of a foreign table, read one by one: the good ones are kept, each bad one is named with column, reason and remedy."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from aerobe.errors import AerobeError, ImportFault
from aerobe.notebook._columns import CHANNEL_KINDS, FIELDS, Column, Mapping, channel_kind
from aerobe.notebook._tables import Table
from aerobe.records import ROLES
from aerobe.units import ELAPSED, OXYGEN_PERCENT, Kind, parse_number

_CHANNEL_WORDS = {
    "oxygen": "oxygen",
    "dissolved oxygen": "oxygen",
    "do": "oxygen",
    "temperature": "temperature",
    "water temperature": "temperature",
    "temp": "temperature",
    "ph": "pH",
    "conductivity": "conductivity",
    "ec": "conductivity",
}
_ROLE_WORDS = {
    "": "sample",
    "tea": "sample",
    "unknown": "sample",
    "negative": "blank",
    "water": "blank",
    "reagent blank": "blank",
    "filtered": "filtered blank",
    "filtrate": "filtered blank",
    "killed": "killed control",
    "autoclaved": "killed control",
    "heat killed": "killed control",
    "spiked": "spike",
    "std": "standard",
    "calibrator": "standard",
}

# Counts are often printed as logarithms, with their unit as `log10 CFU/mL` or `log10(CFU/mL)`.
_LOG10 = re.compile(r"log_?10[\s(]+(.*?)\)?", re.IGNORECASE)
_LARGEST_POWER = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFault:
    """A cell that cannot be taken in: where it stands, why, and what to do."""

    row: int
    column: str
    typed: str
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RowRead:
    """One result of one row, before it is known to which brew and assay of the notebook it belongs."""

    row: int
    elapsed_h: float | None  # [h]; None where the row has a clock time
    clock: datetime | None
    brew: str = ""  # labels as the file writes them
    arm: str = ""
    bottle: str = ""
    block: str = ""
    method: str = ""
    variable: str = ""
    assay: str = ""
    role: str = "sample"
    value: float = 0.0
    unit: str = ""
    typed_as: str = ""
    sd: float | None = None
    dilution: float = 1.0
    replicate: int = 1
    sample: str = ""
    operator: str = ""
    kit_lot: str = ""
    notes: str = ""
    below_detection: bool = False
    above_range: bool = False


@dataclass(frozen=True, slots=True)
class ProbeColumn:
    """What one probe told in one brew, in house units; a bare list, since loggers write hundreds of thousands of rows."""

    brew: str
    arm: str
    bottle: str
    block: str
    channel: str
    unit: str
    elapsed_h: list[float | None]
    clocks: list[datetime | None]
    values: list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsRead:
    """What a table gave: results, probe logs, faults, and how many cells were simply empty."""

    results: tuple[RowRead, ...]
    probes: tuple[ProbeColumn, ...]
    faults: tuple[RowFault, ...]
    empty: int


_ZONE = re.compile(r"[A-Za-z0-9_+-]{1,40}(/[A-Za-z0-9_+-]{1,40}){0,2}")


class _Bad(Exception):
    def __init__(self, column: str, typed: str, reason: str, remedy: str) -> None:
        self.column, self.typed, self.reason, self.remedy = column, typed, reason, remedy


def read_rows(table: Table, mapping: Mapping) -> RowsRead:
    """Read every row by a confirmed mapping. A bad row never stops the others.

    Raises
    ------
    ImportFault
        If the mapping still has open questions.
    """
    if mapping.questions:
        raise ImportFault("Before this table can be read: " + " ".join(mapping.questions), "Answer and try again.")
    reader = _Reader(table, mapping)
    results: list[RowRead] = []
    faults: list[RowFault] = []
    for number, row in zip(table.numbers, table.rows, strict=True):
        try:
            results += reader.results(number, row)
        except _Bad as bad:
            faults.append(RowFault(row=number, column=bad.column, typed=bad.typed, reason=bad.reason, remedy=bad.remedy))
    faults = sorted(faults + reader.faults, key=lambda fault: fault.row)
    return RowsRead(results=tuple(results), probes=tuple(reader.probes.values()), faults=tuple(faults), empty=reader.empty)


def zone_of(name: str) -> tzinfo:
    """A time zone from its IANA name or an offset such as +02:00.

    Raises
    ------
    ImportFault
        If there is no such zone.
    """
    match = re.fullmatch(r"(?:UTC|GMT)?\s*([+-])(\d{1,2}):?(\d{2})?", name.strip())
    if match:
        offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
        if offset <= timedelta(hours=14):
            return timezone(offset if match[1] == "+" else -offset)
    if name.strip().upper() in ("UTC", "GMT", "Z"):
        return UTC
    try:
        # The name becomes a file's: what is no name of a zone is not looked for.
        return ZoneInfo(name.strip() if _ZONE.fullmatch(name.strip()) else "")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ImportFault(f"There is no time zone '{name}'.", "Write for example Europe/Berlin, or +02:00.") from None


class _Reader:
    def __init__(self, table: Table, mapping: Mapping) -> None:
        self.mapping = mapping
        self.header = table.header
        self.zone = zone_of(mapping.zone) if mapping.zone else None
        self.places = {name: mapping.field(name) for name in FIELDS}
        self.channels = [
            (place, column, channel_kind(column.field, column.unit) or CHANNEL_KINDS[column.field][0])
            for place, column in mapping.channels()
        ]
        self.faults: list[RowFault] = []
        self.probes: dict[tuple[str, str, str, str, str, str], ProbeColumn] = {}
        self.pattern = ""  # of the clock times, once one has fitted
        self.empty = 0

    def results(self, number: int, row: tuple[str, ...]) -> Iterator[RowRead]:
        if not self._text(row, "value") and not any(row[place] for place, *_ in self.channels):
            self.empty += 1
            return
        elapsed_h, clock = self._when(row)
        for place, column, kind in self.channels:
            self._channel(number, row, row[place], column, kind, elapsed_h, clock)
        if self.places["value"] is None:
            return
        common = RowRead(
            row=number,
            elapsed_h=elapsed_h,
            clock=clock,
            brew=self._text(row, "brew"),
            arm=self._text(row, "arm"),
            bottle=self._text(row, "bottle"),
            block=self._text(row, "block"),
            method=self._text(row, "method"),
            variable=" ".join(filter(None, (self._text(row, "organism"), self._text(row, "variable")))),
            assay=self._text(row, "assay"),
            sample=self._text(row, "sample"),
            operator=self._text(row, "operator"),
            kit_lot=self._text(row, "kit lot"),
            notes=self._text(row, "notes"),
        )
        if self._is_probe_row(number, row, common):
            return
        yield from self._value(row, common)

    def _value(self, row: tuple[str, ...], common: RowRead) -> Iterator[RowRead]:
        from dataclasses import replace

        typed = self._text(row, "value")
        if not typed:
            self.empty += 1
            return
        replicate = self._number(row, "replicate", 1.0)
        if replicate != int(replicate):
            raise _Bad(self._header("replicate"), f"{replicate:g}", "A replicate is counted in whole numbers.", "Write 1, 2, 3.")
        dilution = self._dilution(row)
        place = self.places["value"]
        unit = self._text(row, "unit") or (self.mapping.columns[place].unit if place is not None else "")
        value, said = self._parse(typed.lstrip("<>≤≥= "), "value"), typed
        sd: float | None = self._number(row, "sd", None)
        power = _LOG10.fullmatch(unit)
        if power is not None:
            noted = [common.notes, f"sd {sd:g} {unit}" if sd is not None else ""]  # a scatter of logarithms is no sd of counts
            common = replace(common, notes="; ".join(filter(None, noted)))
            value, sd, said, unit = self._from_log10(value, typed), None, f"{typed} log10", power[1].strip()
        yield replace(
            common,
            role=self._role(row),
            value=value,
            unit=unit,
            typed_as=said,
            sd=sd,
            dilution=dilution,
            replicate=int(replicate),
            below_detection=typed[0] in "<≤",
            above_range=typed[0] in ">≥",
        )

    def _from_log10(self, power: float, typed: str) -> float:
        if not abs(power) <= _LARGEST_POWER:
            raise _Bad(self._header("value"), typed, f"10 to the power of {power:g} is no count.", "Check number and unit.")
        return float(10.0**power)

    def _is_probe_row(self, number: int, row: tuple[str, ...], common: RowRead) -> bool:
        """In a table with one value a row, `dissolved oxygen` in `mg/L` is a probe's word and no test of microbes."""
        channel = _CHANNEL_WORDS.get(re.sub(r"[\s_-]+", " ", common.variable.lower()).strip())
        place = self.places["value"]
        if channel is None or place is None:
            return False
        unit = self._text(row, "unit") or self.mapping.columns[place].unit
        kind = channel_kind(channel, unit)
        if kind is None:
            return False
        column = Column(header=self.header[place], field=channel, unit=unit)
        self._channel(number, row, row[place], column, kind, common.elapsed_h, common.clock)
        return True

    def _channel(
        self,
        number: int,
        row: tuple[str, ...],
        cell: str,
        column: Column,
        kind: Kind,
        elapsed_h: float | None,
        clock: datetime | None,
    ) -> None:
        if not cell:
            self.empty += 1
            return
        try:
            number_typed = self._parse(cell, column.field, column.header)
            value = kind.convert(number_typed, column.unit, typed=f"{cell} {column.unit}".strip())
        except (AerobeError, _Bad) as fault:
            # One bad probe cell leaves the row's other probes alone.
            reason = fault.reason if isinstance(fault, _Bad) else fault.problem
            self.faults.append(RowFault(row=number, column=column.header, typed=cell, reason=reason, remedy=fault.remedy))
            return
        house = "% saturation" if kind is OXYGEN_PERCENT else kind.house
        brew, arm, bottle, block = (self._text(row, name) for name in ("brew", "arm", "bottle", "block"))
        label = brew, arm, bottle, block, column.field, house
        probe = self.probes.get(label)
        if probe is None:
            probe = self.probes[label] = ProbeColumn(*label, [], [], [])
        probe.elapsed_h.append(elapsed_h)
        probe.clocks.append(clock)
        probe.values.append(value)

    def _when(self, row: tuple[str, ...]) -> tuple[float | None, datetime | None]:
        place = self.places["elapsed"]
        if place is not None and row[place]:
            cell = row[place]
            try:
                if re.search(r"[A-Za-z]", re.sub(r"[eE][+-]?\d+$", "", cell)):
                    return ELAPSED.read(cell), None  # a spreadsheet's duration carries its own unit
                return ELAPSED.convert(self._parse(cell, "elapsed"), self.mapping.columns[place].unit, typed=cell), None
            except AerobeError as fault:
                raise _Bad(self.header[place], cell, fault.problem, fault.remedy) from None
        clock = self._text(row, "clock") or f"{self._text(row, 'date')} {self._text(row, 'time')}".strip()
        if not clock and self.mapping.at_h is not None:
            return self.mapping.at_h, None
        if not clock:
            column = next((name for name in ("elapsed", "clock", "date") if self.places[name] is not None), "")
            raise _Bad(self._header(column), "", "The row has no time.", "Fill in when the sample was taken.")
        return None, self._clock(clock)

    def _clock(self, text: str) -> datetime:
        header = self._header("clock") or self._header("date")
        moment = _strptime(text, self.pattern) if self.pattern else None
        if moment is None:
            for pattern in ("", *_clock_patterns(self.mapping.day_first is not False)):
                moment = _strptime(text, pattern)
                if moment is not None:
                    self.pattern = pattern  # the next row is most likely written the same way
                    break
        if moment is None:
            raise _Bad(header, text, f"'{text}' is no date and time.", "Write 2026-05-01 08:30 or 01/05/2026 08:30.")
        if moment.tzinfo is None:
            if self.zone is None:
                raise _Bad(header, text, "The clock time has no time zone.", "Say which zone the clock showed.")
            moment = moment.replace(tzinfo=self.zone)
        return moment.astimezone(UTC)  # differences across a change of clocks are then true ones

    def _role(self, row: tuple[str, ...]) -> str:
        word = re.sub(r"[\s_-]+", " ", self._text(row, "role").lower()).strip()
        role = _ROLE_WORDS.get(word, word)
        if role not in ROLES:
            raise _Bad(self._header("role"), word, f"'{word}' is no role of a reading.", f"Use one of: {', '.join(ROLES)}.")
        return role

    def _dilution(self, row: tuple[str, ...]) -> float:
        cell = self._text(row, "dilution")
        ratio = re.fullmatch(r"1\s*(?::|/|in)\s*([\d.,]+)", cell)
        value = self._parse(ratio[1], "dilution") if ratio else self._number(row, "dilution", 1.0)
        if value < 1.0:
            raise _Bad(
                self._header("dilution"),
                cell,
                f"A dilution of {value:g} would concentrate the sample.",
                "Write final volume over sample volume: 10, or 1:10.",
            )
        return value

    def _number(self, row: tuple[str, ...], field: str, default: float | None) -> float:
        cell = self._text(row, field)
        return default if not cell else self._parse(cell, field)  # type: ignore[return-value]

    def _parse(self, cell: str, field: str, header: str = "") -> float:
        text = cell.strip()
        if not self.mapping.decimal_comma and re.fullmatch(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d+)?", text):
            text = text.replace(",", "")
        elif self.mapping.decimal_comma and re.fullmatch(r"[+-]?[1-9]\d{0,2}(\.\d{3})+(,\d+)?", text):
            text = text.replace(".", "")
        try:
            return parse_number(text)
        except AerobeError as fault:
            raise _Bad(header or self._header(field), cell, fault.problem, fault.remedy) from None

    def _text(self, row: tuple[str, ...], field: str) -> str:
        place = self.places[field]
        return row[place] if place is not None else ""

    def _header(self, field: str) -> str:
        place = self.places[field]
        return self.header[place] if place is not None else ""


@cache
def _clock_patterns(day_first: bool) -> tuple[str, ...]:
    order = "%d{0}%m{0}" if day_first else "%m{0}%d{0}"
    clocks = ("", " %H:%M", " %H:%M:%S", " %H:%M:%S.%f", " %I:%M %p", " %I:%M:%S %p")
    return tuple(order.format(mark) + year + clock for mark in "/.-" for year in ("%Y", "%y") for clock in clocks)


def _strptime(text: str, pattern: str) -> datetime | None:
    """A date and time in this pattern; the empty pattern stands for ISO 8601."""
    try:
        return datetime.strptime(text, pattern) if pattern else datetime.fromisoformat(text)
    except ValueError:
        return None

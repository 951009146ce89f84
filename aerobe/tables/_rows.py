"""Rows of a table, read one by one: good ones are kept, each bad one is named with column, reason and remedy."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from aerobe.errors import AerobeError
from aerobe.records import ROLES
from aerobe.tables._block import Block
from aerobe.tables._cells import Cell, read_cell
from aerobe.tables._clock import Clock, zone_of
from aerobe.tables._columns import Column, is_channel
from aerobe.tables._results import BadCell, Labels, ProbeColumn, RowFault, RowRead, RowsRead
from aerobe.tables._row_parts import bound_of, dilution_of, dose_of, elapsed_of, errors_of, spread_columns, unit_for
from aerobe.tables._scores import LABELS
from aerobe.tables._units import channel_kind, split_header, unit_of
from aerobe.tables._way import ABOVE_WORDS, BELOW_WORDS, CHANNEL_WORDS, PLAIN_WORDS, ROLE_WORDS, Way
from aerobe.tables._words import folded_name, names_mean, sums_up
from aerobe.units import OXYGEN_PERCENT, Kind

_GENERIC = re.compile(
    r"(cell|value|result|reading|signal|messwert|wert|ergebnis|valeur|resultat|resultado|valor|column \d+|mean|average|avg)( .*)?"
)
_LARGEST_POWER = 18.0


def read_rows(block: Block, way: Way) -> RowsRead:
    """Read every row. A bad row never stops the others."""
    reader = _Reader(block, way)
    results: list[RowRead] = []
    for place, (number, row) in enumerate(zip(block.numbers, block.rows, strict=True)):
        reader.place, reader.number = place, number
        try:
            results += reader.results(number, row)
        except BadCell as bad:
            reader.fault(number, bad)
    faults = tuple(sorted(reader.faults, key=lambda fault: fault.row))
    said = tuple(f"{count} {what}." for what, count in reader.left_out.items())
    return RowsRead(
        results=tuple(results),
        probes=tuple(reader.probes.values()),
        faults=faults,
        empty=reader.empty,
        left_out=said,
        temperatures={},
        skipped=tuple(reader.skipped),
    )


class _Reader:
    def __init__(self, block: Block, way: Way) -> None:
        self.way, self.columns = way, way.columns
        self.clock = Clock(zone_of(way.zone) if way.zone else None, way.day_first)
        self.places: dict[str, list[int]] = {}
        for place, column in enumerate(way.columns):
            self.places.setdefault(column.field, []).append(place)
        self.values = self.places.get("value", [])
        self.channels = [place for place, column in enumerate(way.columns) if is_channel(column.field)]
        self.spreads = {place: spread_columns(self.columns, place) for place in self.values}
        self.faults: list[RowFault] = []
        self.probes: dict[tuple[Labels, str, str], ProbeColumn] = {}
        self.left_out: dict[str, int] = {}
        self.empty = self.place = self.number = 0
        self.skipped: list[int] = []  # rows whose time the zone never had
        self.replicates: dict[str, int] = {}

    def fault(self, row: int, bad: BadCell) -> None:
        self.faults.append(RowFault(row=row, column=bad.column, typed=bad.typed, reason=bad.reason, remedy=bad.remedy))

    def results(self, number: int, row: tuple[str, ...]) -> Iterator[RowRead]:
        if not any(row[place] for place in (*self.values, *self.channels)):
            self.empty += 1
            return
        if self._flagged(row):
            self._leave("rows whose flag says that they are bad")
            return
        elapsed_h, clock = self._when(row)
        labels = self._labels(row)
        for place in self.channels:
            self._channel(number, row[place], self.columns[place], self.columns[place].unit, labels, elapsed_h, clock)
        if not self.values:
            return
        common = RowRead(
            row=number,
            place=self.place,
            elapsed_h=elapsed_h,
            clock=clock,
            labels=labels,
            method=self._text(row, "method"),
            variable=" ".join(filter(None, (self._text(row, "organism"), self._text(row, "variable")))),
            assay=self._text(row, "assay"),
            role=self._role(row),
            is_mean=any(
                names_mean(text) for text in (labels.bottle, labels.brew, self._text(row, "replicate"), self._text(row, "sample"))
            )
            or (not (labels.bottle or labels.brew) and sums_up(labels.arm)),
            dilution=self._dilution(row),
            replicate=self._replicate(row),
            sample=self._text(row, "sample"),
            operator=self._text(row, "operator"),
            kit_lot=self._text(row, "kit lot"),
            notes="; ".join(filter(None, (row[place] for place in self.places.get("notes", ())))),
        )
        for place in self.values:
            if self._is_probe_row(number, row, place, common):
                continue
            try:
                yield from self._value(row, place, common)
            except BadCell as bad:
                self.fault(number, bad)  # the row's other values are good

    def _value(self, row: tuple[str, ...], place: int, common: RowRead) -> Iterator[RowRead]:
        column, typed = self.columns[place], row[place]
        cell = read_cell(typed, column.decimal)
        limit_cell = read_cell(self._text(row, "limit"), column.decimal)
        if cell.kind == "missing":
            self.empty += 1
            return
        if cell.kind == "broken":
            self._leave(f"cells of '{column.header}' hold an instrument's error word")
            return
        if cell.kind == "number" and (column.header, cell.value) in self.way.sentinels:
            self._leave(f"cells of '{column.header}' hold {cell.value:g}, which stands for no reading")
            return
        if cell.kind == "code":
            limit = limit_cell.value if limit_cell.kind == "number" else self.way.limits.get((column.header, cell.bound))
            if limit is None:
                self._leave(f"cells of '{column.header}' say only '{typed}', without a limit")
                return
            cell = replace(cell, kind="number", value=limit)
        if cell.kind != "number":
            raise BadCell(
                column.header, typed, f"'{typed[:60]}' is no number.", "Write digits with at most one decimal point or comma."
            )
        yield self._made(row, place, cell, common, typed)

    def _made(self, row: tuple[str, ...], place: int, cell: Cell, common: RowRead, typed: str) -> RowRead:
        column = self.columns[place]
        unit, factor, log10 = unit_for(self._text(row, "unit"), column, cell)
        sd, error, n = errors_of(row, self.columns, self.spreads[place], cell, column.header)
        value, said, notes = cell.value, typed, common.notes
        if log10:
            if not abs(value) <= _LARGEST_POWER:
                raise BadCell(column.header, typed, f"10 to the power of {value:g} is no count.", "Check number and unit.")
            value, said = float(10.0**value), f"{typed} log10"
            # A scatter of logarithms is a relative one of counts: d(10^x) = ln(10) 10^x dx.
            sd, error = (None if one is None else one * 2.302585092994046 * value for one in (sd, error))
        else:
            value, sd, error = value * factor, _times(sd, factor), _times(error, factor)
        bound = cell.bound or bound_of(self._text(row, "qualifier"))
        qualifier = self._text(row, "qualifier")
        if cell.mark or (
            qualifier and folded_name(qualifier) not in BELOW_WORDS | ABOVE_WORDS | PLAIN_WORDS and qualifier not in "<>="
        ):
            notes = "; ".join(filter(None, (notes, cell.mark, qualifier)))
        measured = "" if common.variable else self._measured(column)
        return replace(
            common,
            value=value,
            unit=unit,
            typed_as=said,
            measured=measured,
            sd=sd,
            uncertainty=error,
            n=n,
            notes=notes,
            below_detection=bound == "<",
            above_range=bound == ">",
        )

    def _measured(self, column: Column) -> str:
        header = re.sub(r" \(\d+\)$", "", column.header)  # the second of one name measures the same
        words = re.sub(r"\blog ?_?10\b", "", split_header(header)[0], flags=re.IGNORECASE).strip()
        return "" if not words or (_GENERIC.fullmatch(folded_name(words)) and len(self.values) == 1) else words.replace("_", " ")

    def _is_probe_row(self, number: int, row: tuple[str, ...], place: int, common: RowRead) -> bool:
        """In a table with one value a row, `dissolved oxygen` in `mg/L` is a probe's word and no test of microbes."""
        channel = CHANNEL_WORDS.get(re.sub(r"[\s_-]+", " ", common.variable.lower()).strip())
        if channel is None:
            return False
        unit = self._text(row, "unit") or self.columns[place].unit
        known = unit_of(unit)
        name = known.name if known else unit
        if channel_kind(channel, name) is None:
            return False
        column = replace(self.columns[place], field=channel)
        self._channel(number, row[place], column, name, common.labels, common.elapsed_h, common.clock)
        return True

    def _channel(
        self, number: int, typed: str, column: Column, unit: str, labels: Labels, elapsed_h: float | None, clock: datetime | None
    ) -> None:
        cell = read_cell(typed, column.decimal)
        if cell.kind == "missing":
            self.empty += 1
            return
        if cell.kind in ("broken", "code") or ((column.header, cell.value) in self.way.sentinels and cell.kind == "number"):
            self._leave(f"cells of '{column.header}' hold no reading ('{typed}')")
            return
        known = unit_of(cell.unit) if cell.unit else None
        unit = known.name if known else "%" if column.header in self.way.mixed and cell.value > 25.0 else unit
        kind = channel_kind(column.field, unit)
        try:
            if cell.kind != "number" or kind is None:
                raise BadCell(
                    column.header, typed, f"'{typed[:60]}' is no number.", "Write digits, and the unit in the name of the column."
                )
            value = kind.convert(cell.value * (1.0 if known else column.factor), unit, typed=f"{typed} {unit}".strip())
        except (AerobeError, BadCell) as fault:
            # One bad probe cell leaves the row's other probes alone.
            reason = fault.reason if isinstance(fault, BadCell) else fault.problem
            self.faults.append(RowFault(row=number, column=column.header, typed=typed, reason=reason, remedy=fault.remedy))
            return
        self._log(number, column.field, kind, labels, elapsed_h, clock, value)

    def _log(
        self, number: int, channel: str, kind: Kind, labels: Labels, elapsed_h: float | None, clock: datetime | None, value: float
    ) -> None:
        house = "% saturation" if kind is OXYGEN_PERCENT else kind.house
        key = labels, channel, house
        probe = self.probes.get(key)
        if probe is None:
            probe = self.probes[key] = ProbeColumn(
                labels=labels, channel=channel, unit=house, rows=[], places=[], elapsed_h=[], clocks=[], values=[]
            )
        probe.rows.append(number)
        probe.places.append(self.place)
        probe.elapsed_h.append(elapsed_h)
        probe.clocks.append(clock)
        probe.values.append(value)

    def _when(self, row: tuple[str, ...]) -> tuple[float | None, datetime | None]:
        for place in self.places.get("elapsed", ()):
            if row[place]:
                return elapsed_of(row[place], self.columns[place]), None
        clock = self._text(row, "clock") or f"{self._text(row, 'date')} {self._text(row, 'time')}".strip()
        if not clock:
            if self.way.at_h is not None:
                return self.way.at_h, None
            field = next((name for name in ("elapsed", "clock", "date", "time") if name in self.places), "")
            raise BadCell(self._header(field), "", "The row has no time.", "Fill in when the sample was taken.")
        if self.way.date and not self.places.get("date"):
            clock = f"{self.way.date} {clock}"
        moment = self.clock.read(clock)
        if moment is not None and self.clock.skipped:
            self.skipped.append(self.number)
        if moment is not None and self.clock.later:
            self._leave("times of the hour that came twice are read as its second time, by their order")
        if moment is None:
            header = self._header("clock") or self._header("date") or self._header("time")
            raise BadCell(
                header,
                clock,
                f"'{clock[:60]}' is no date and time.",
                "Write 2026-05-01 08:30 or 01/05/2026 08:30, and say the zone.",
            )
        return None, moment

    def _labels(self, row: tuple[str, ...]) -> Labels:
        parts = {
            field: " ".join(dict.fromkeys(row[place] for place in self.places.get(field, ()) if row[place])) for field in LABELS
        }
        if parts["dose"]:
            parts["dose"] = " ".join(dose_of(row[place], self.columns[place]) for place in self.places["dose"] if row[place])
        return Labels(**parts)

    def _flagged(self, row: tuple[str, ...]) -> bool:
        return bool(self.way.leave_flags) and self._text(row, "qualifier").strip().lower() in self.way.leave_flags

    def _role(self, row: tuple[str, ...]) -> str:
        word = re.sub(r"[\s_-]+", " ", self._text(row, "role").lower()).strip()
        role = ROLE_WORDS.get(word, word)
        if role not in ROLES:
            raise BadCell(
                self._header("role"), word, f"'{word[:60]}' is no role of a reading.", f"Use one of: {', '.join(ROLES)}."
            )
        return role

    def _dilution(self, row: tuple[str, ...]) -> float:
        places = self.places.get("dilution")
        return dilution_of(row[places[0]], self.columns[places[0]]) if places and row[places[0]] else 1.0

    def _replicate(self, row: tuple[str, ...]) -> int:
        typed = self._text(row, "replicate")
        if not typed or names_mean(typed):
            return 1
        cell = read_cell(typed)
        if cell.kind == "number" and cell.value == int(cell.value) and 1 <= cell.value < 1e6 and not cell.unit:
            return int(cell.value)
        if cell.kind == "number" and not cell.unit:
            raise BadCell(self._header("replicate"), typed, "A replicate is counted in whole numbers.", "Write 1, 2, 3.")
        return self.replicates.setdefault(typed, len(self.replicates) + 1)  # a, b, c are 1, 2, 3 in order of their first row

    def _leave(self, what: str) -> None:
        self.left_out[what] = self.left_out.get(what, 0) + 1

    def _text(self, row: tuple[str, ...], field: str) -> str:
        places = self.places.get(field)
        return row[places[0]] if places else ""

    def _header(self, field: str) -> str:
        places = self.places.get(field)
        return self.columns[places[0]].header if places else ""


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor

"""Taking in a table that someone else made: preview first, then keep all that is good in one transaction."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping as Dict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from aerobe.errors import ImportFault
from aerobe.notebook import (
    Mapping,
    Notebook,
    Pen,
    ProbeColumn,
    RowFault,
    RowRead,
    RowsRead,
    Table,
    guess_mapping,
    mend_mapping,
    read_rows,
    read_table,
)
from aerobe.oxygen import saturation_mg_per_l
from aerobe.records import Assay, Brew, Reading, SensorLog, Vessel
from aerobe.usecases.exchange._intake_trial import (
    TrialMade,
    assays_of,
    brew_label,
    fold_label,
    is_mean,
    is_part,
    known_brews,
    make_trial,
    trial_key,
    wholes_of,
)
from aerobe.usecases.exchange._origin import READ_FROM_TABLE, note_origin


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What a person says about a table before it is taken in; all of it may be left out.

    `columns` maps a column's name to its meaning: `{"DO": "oxygen [mg/L]"}`. `brew` and `assay` name, by key, where rows
    belong that do not say so themselves. `started_at` is when the air went on, for brews the table begins.
    """

    columns: Dict[str, str]
    brew: str = ""
    assay: str = ""
    trial: str = ""
    zone: str = ""
    day_first: bool | None = None
    decimal_comma: bool | None = None
    started_at: datetime | None = None
    sheet: str = ""
    at_h: float | None = None  # when rows without a time were sampled [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What would be kept, so that the person can say yes: nothing has been written yet."""

    table: Table
    mapping: Mapping
    rows: RowsRead | None  # None while the mapping has questions
    brews: tuple[str, ...] = ()  # labels found
    assays: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether the table can be taken in as it stands."""
        return self.rows is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What became of a table."""

    trial: str
    brews: tuple[str, ...]
    assays: tuple[str, ...]
    readings: int
    duplicates: int
    log_points: int
    kept_beside: int  # means of arms and parts of totals: kept with the trial, not as readings of a brew
    empty: int
    faults: tuple[RowFault, ...]
    notes: tuple[str, ...]


def preview_table(content: bytes, name: str, wishes: Wishes | None = None) -> Preview:
    """Read a table and say what its columns mean and what would be kept. Nothing is written.

    Parameters
    ----------
    content, name
        The file's bytes and its name: CSV, TSV or a spreadsheet.
    wishes
        What the person has settled so far.
    """
    wishes = wishes or Wishes(columns={})
    table = read_table(content, name, sheet=wishes.sheet)
    mapping = mend_mapping(
        table,
        guess_mapping(table),
        dict(wishes.columns),
        zone=wishes.zone,
        day_first=wishes.day_first,
        decimal_comma=wishes.decimal_comma,
        at_h=wishes.at_h,
    )
    if mapping.questions:
        return Preview(table=table, mapping=mapping, rows=None)
    rows = read_rows(table, mapping)
    labelled: list[RowRead | ProbeColumn] = [*rows.results, *rows.probes]
    brews = dict.fromkeys(brew_label(item) for item in labelled)
    assays = dict.fromkeys(item.assay or " ".join(filter(None, (item.method, item.variable))) for item in rows.results)
    return Preview(table=table, mapping=mapping, rows=rows, brews=tuple(filter(None, brews)), assays=tuple(filter(None, assays)))


def take_in(
    notebook: Notebook, content: bytes, name: str, wishes: Wishes | None = None, *, now: datetime, who: str = ""
) -> TakenIn:
    """Keep everything good in a table, in one transaction; bad rows are reported and what is there already is not doubled.

    Rows with treatments and bottles that the notebook does not know become a trial: an arm each treatment, a brew each bottle.

    Raises
    ------
    ImportFault
        If a question about the columns is open, or rows name no brew or assay.
    """
    wishes = wishes or Wishes(columns={})
    preview = preview_table(content, name, wishes)
    if preview.rows is None:
        raise ImportFault("Before this table can be taken in: " + " ".join(preview.mapping.questions), "Answer and try again.")
    rows = preview.rows
    digest = hashlib.sha256(content).hexdigest()
    with notebook.writing() as pen:
        taken = _Keeper(notebook, pen, rows, wishes, now=now, who=who, file=_bare(name), sha256=digest).keep()
        found = f"{taken.readings} readings, {taken.log_points} log points, {len(taken.faults)} faults"
        pen.note(at=now, who=who, did="import", noun="file", key=digest[:16], why=f"{_bare(name)}: {found}")
    return taken


class _Keeper:
    """One table on its way into the notebook."""

    def __init__(
        self, notebook: Notebook, pen: Pen, rows: RowsRead, wishes: Wishes, *, now: datetime, who: str, file: str, sha256: str
    ) -> None:
        self.notebook, self.pen, self.rows, self.wishes = notebook, pen, rows, wishes
        self.now, self.who, self.file, self.sha256, self.digest = now, who, file, sha256, sha256[:16]
        self.trial_key = trial_key(wishes.trial or file)
        self.brews = known_brews(notebook, self.trial_key)
        self.wholes = wholes_of(rows.results)
        self.assays = {assay.key: assay for assay in notebook.find(Assay)}
        self.faults = list(rows.faults)
        self.notes: list[str] = []
        self.trial: TrialMade | None = None
        self.filled: set[str] = set()  # brews that got a reading or a log point
        self.water: dict[str, tuple[list[float], list[float]]] = {}  # temperatures that the table brings, by brew

    def keep(self) -> TakenIn:
        whole = [row for row in self.rows.results if not is_mean(row) and not is_part(row, self.wholes)]
        beside = [row for row in self.rows.results if is_mean(row) or is_part(row, self.wholes)]
        self._begin_trial([*whole, *self.rows.probes], beside)
        measuring = [row for row in self.rows.results if not is_part(row, self.wholes)]
        made = assays_of(measuring, self.assays, default=self.wishes.assay)
        for assay in made.new:
            self.pen.add(assay, at=self.now, who=self.who, why=made.why.get(assay.key, ""))
            self.assays[assay.key] = assay
        self.notes += made.notes
        beside += [row for row in whole if made.key_of(row) is None]
        kept, doubled = self._readings([(row, key) for row in whole if (key := made.key_of(row)) is not None])
        # Temperature first: percent of saturation is turned into mg/L with it.
        points = sum(self._probe(probe) for probe in sorted(self.rows.probes, key=lambda probe: probe.channel != "temperature"))
        if not kept and not doubled and not points and not beside and not self.rows.probes:
            raise ImportFault("Not one row of the table could be kept.", _first_remedy(self.faults))
        self._origins()
        return TakenIn(
            trial=self.trial.trial if self.trial else "",
            brews=self.trial.brews if self.trial else (),
            assays=tuple(sorted({item.key for item in made.new})),
            readings=kept,
            duplicates=doubled,
            log_points=points,
            kept_beside=self._beside(beside),
            empty=self.rows.empty,
            faults=tuple(self.faults),
            notes=tuple(self.notes),
        )

    def _begin_trial(self, items: Sequence[RowRead | ProbeColumn], beside: list[RowRead]) -> None:
        unknown = [item for item in items if self._brew(item) is None and (item.arm or item.bottle or item.brew)]
        if unknown and not self.wishes.brew:
            earlier = [change for change in self.notebook.audit(key=self.digest) if change.did == "import"]
            if earlier:
                raise ImportFault(
                    f"The content of this file was taken in on {earlier[0].at:%Y-%m-%d} ({earlier[0].why}).",
                    "Nothing was added twice. If it is another experiment with the same numbers, change the file and say so.",
                )
            self.trial = make_trial(
                self.notebook,
                self.pen,
                unknown,
                [row.arm for row in beside],
                key=self.trial_key,
                name=self.wishes.trial or self.file,
                started_at=self.wishes.started_at,
                now=self.now,
                who=self.who,
            )
            self.brews.update(self.trial.by_label)
            self.notes += self.trial.notes

    def _brew(self, item: RowRead | ProbeColumn) -> Brew | None:
        label = brew_label(item)
        if label:
            return self.brews.get(fold_label(label))
        return self.brews.get(self.wishes.brew) if self.wishes.brew else None

    def _readings(self, rows: list[tuple[RowRead, str]]) -> tuple[int, int]:
        """Keep readings that are not there yet. Gives how many were kept and how many were there."""
        held: Counter[tuple[object, ...]] = Counter(_content(item) for item in self.notebook.readings(with_corrected=True))
        met: Counter[tuple[object, ...]] = Counter()
        kept = doubled = 0
        for row, assay in rows:
            try:
                reading = self._reading(row, self.assays[assay])
            except ImportFault as fault:
                self._fault(row, fault.problem, fault.remedy)
                continue
            content = _content(reading)
            met[content] += 1
            # Two plates of one dilution may honestly show the same count: the n-th twin in the file meets the n-th in the book.
            if met[content] <= held[content]:
                doubled += 1
                continue
            key = READ_FROM_TABLE + hashlib.sha256(repr((content, met[content])).encode()).hexdigest()[:20]
            self.pen.add(_with_key(reading, key), at=self.now, who=self.who)
            self.filled.add(reading.brew)
            kept += 1
        return kept, doubled

    def _reading(self, row: RowRead, assay: Assay) -> Reading:
        brew = self._brew(row)
        if brew is None:
            raise ImportFault("The row names no brew that the notebook knows.", "Say which brew the table belongs to.")
        unit = row.unit or assay.unit
        if unit != assay.unit and _fold(unit) != _fold(assay.unit):
            raise ImportFault(f"The row is in {unit}, the assay '{assay.key}' in {assay.unit}.", "Name another assay for it.")
        try:
            return Reading(
                key="pending",
                brew=brew.key,
                assay=assay.key,
                role=row.role,
                elapsed_h=self._elapsed(row.elapsed_h, row.clock, brew),
                signal=row.value,
                unit=assay.unit,
                typed_as=row.typed_as,
                dilution=row.dilution,
                replicate=row.replicate,
                below_detection=row.below_detection,
                above_range=row.above_range,
                operator=row.operator,
                kit_lot=row.kit_lot,
                entered_at=self.now,
                notes=_notes(row),
            )
        except ImportFault:
            raise
        except Exception as fault:
            raise ImportFault(getattr(fault, "problem", str(fault)), getattr(fault, "remedy", "Mend the row.")) from fault

    def _elapsed(self, elapsed_h: float | None, clock: datetime | None, brew: Brew) -> float:
        if elapsed_h is not None:
            return elapsed_h
        if clock is None:
            raise ImportFault("The row has no time.", "Fill in when the sample was taken.")
        return brew.hours_at(clock)

    def _probe(self, probe: ProbeColumn) -> int:
        brew = self._brew(probe)
        if brew is None:
            raise ImportFault("The logger file names no brew.", "Say which brew the probe stood in.")
        pairs = zip(probe.elapsed_h, probe.clocks, strict=True)
        times = [self._elapsed(elapsed_h, clock, brew) for elapsed_h, clock in pairs]
        values = probe.values
        if probe.channel == "temperature":
            self.water[brew.key] = (times, values)
        if probe.unit == "% saturation":
            values = self._from_percent(times, values, brew)
        log = SensorLog(brew=brew.key, channel=probe.channel, elapsed_h=tuple(times), values=tuple(values), probe="imported")
        points = self.pen.append_log(log, at=self.now, who=self.who).points
        if points:
            self.filled.add(brew.key)
        return points

    def _origins(self) -> None:
        """Say with each brew that got something which table it came from: a report must know what is not the person's own."""
        begun = {brew.key: brew for brew in self.trial.by_label.values()} if self.trial else {}
        for key in sorted(self.filled | set(begun)):
            new = begun.get(key)
            note_origin(
                self.notebook,
                self.pen,
                key,
                file=self.file,
                sha256=self.sha256,
                started_at=new.started_at if new else None,
                start=self.trial.start if self.trial and new else "",
                now=self.now,
                who=self.who,
            )

    def _from_percent(self, times: list[float], values: list[float], brew: Brew) -> list[float]:
        fresh = self.trial is not None and brew.key in self.trial.brews  # its vessel is not stated
        altitude = 0.0 if fresh else self.notebook.get(Vessel, brew.vessel).altitude_m
        water = self.water.get(brew.key)
        degrees = np.interp(times, *water) if water else np.full(len(times), brew.temperature_degc)
        self.notes.append(
            f"Oxygen in % of saturation was turned into mg/L at {altitude:g} m above the sea and "
            + ("the temperatures of the table." if water else f"the brew's {brew.temperature_degc:g} degC.")
        )
        full = saturation_mg_per_l(degrees, altitude_m=altitude)
        return (np.asarray(values) / 100.0 * full).tolist()

    def _beside(self, rows: list[RowRead]) -> int:
        if not rows:
            return 0
        lines = [
            {
                "row": row.row,
                "arm": row.arm,
                "bottle": row.bottle,
                "brew": brew.key if (brew := self._brew(row)) else "",
                "method": row.method,
                "variable": row.variable,
                "elapsed_h": row.elapsed_h,
                "value": row.value,
                "unit": row.unit,
                "sd": row.sd,
                "typed_as": row.typed_as,
            }
            for row in rows
        ]
        subject = self.wishes.brew or self.trial_key
        payload = {"file": self.file, "rows": lines}
        if any(item.payload == payload for item in self.notebook.kept("rows beside", subject)):
            return 0
        self.pen.keep("rows beside", subject, payload, at=self.now, who=self.who)
        self.notes.append(
            f"{len(rows)} rows are means of an arm, parts of a total or other quantities: kept with '{subject}', not as readings "
            "of a brew, since they are no independent measurements of one."
        )
        return len(rows)

    def _fault(self, row: RowRead, reason: str, remedy: str) -> None:
        self.faults.append(RowFault(row=row.row, column="", typed=row.typed_as, reason=reason, remedy=remedy))


def _bare(name: str) -> str:
    return name.replace("\\", "/").rsplit("/", 1)[-1]


def _content(reading: Reading) -> tuple[object, ...]:
    """What makes two entries the same reading, however they came in."""
    return (
        reading.brew,
        reading.assay,
        reading.role,
        round(reading.elapsed_h, 6),
        reading.signal,
        reading.dilution,
        reading.replicate,
        reading.below_detection,
        reading.above_range,
    )


def _notes(row: RowRead) -> str:
    said = [row.notes] if row.notes else []
    if row.sd is not None:
        said.append(f"sd {row.sd:g} {row.unit}".strip())
    if row.sample:
        said.append(f"sample {row.sample}")
    return "; ".join(said)


def _with_key(reading: Reading, key: str) -> Reading:
    from dataclasses import replace

    return replace(reading, key=key)


def _fold(unit: str) -> str:
    return unit.replace("\u00b5", "u").replace("\u03bc", "u").replace(" ", "").lower()


def _first_remedy(faults: list[RowFault]) -> str:
    if not faults:
        return "Look at the columns in the preview and name those that were not understood."
    first = faults[0]
    return f"Row {first.row}, column '{first.column}': {first.reason} {first.remedy}"

"""One table on its way into the notebook."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from aerobe.errors import AerobeError, ImportFault
from aerobe.oxygen import saturation_mg_per_l
from aerobe.records import Assay, Brew, Reading, SensorLog, Vessel
from aerobe.tables import ProbeColumn, RowFault, RowRead, RowsRead
from aerobe.units import same_unit
from aerobe.usecases.exchange._intake_assays import AssaysMade, assays_of
from aerobe.usecases.exchange._intake_trial import TrialMade, is_part, known_brews, make_trial, trial_key, wholes_of
from aerobe.usecases.exchange._origin import READ_FROM_TABLE, TakingIn, note_origin
from aerobe.usecases.exchange._rows_kept import content_of, hours_of, notes_of, plain_row
from aerobe.usecases.exchange._wishes import Wishes


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
    taken_for: tuple[str, ...] = ()  # what was taken where nobody answered
    ignored: tuple[str, ...] = ()  # what is not used


class Keeper:
    """Keeps rows with a pen: tests and a trial first where they are new, then readings, logs, and what is kept beside."""

    find: Callable[[RowRead | ProbeColumn], Brew | None]

    def __init__(
        self,
        table: TakingIn,
        rows: RowsRead,
        wishes: Wishes,
        answers: Mapping[str, str],
    ) -> None:
        self.table, self.rows, self.wishes, self.answers = table, rows, wishes, answers
        self.notebook, self.pen, self.now, self.who, self.digest = (
            table.notebook,
            table.pen,
            table.now,
            table.who,
            table.sha256[:16],
        )
        self.trial_key = trial_key(wishes.trial or table.file)
        self.brews = known_brews(table.notebook, self.trial_key)
        self.assays = {assay.key: assay for assay in table.notebook.find(Assay)}
        self.faults = list(rows.faults)
        self.notes: list[str] = []
        self.trial: TrialMade | None = None
        self.filled: set[str] = set()  # brews that got a reading or a log point
        # Temperatures and salinities that the table brings, by brew.
        self.water: dict[str, tuple[list[float], list[float]]] = {}
        self.salt: dict[str, tuple[list[float], list[float]]] = {}

    def keep(self) -> TakenIn:
        """Write everything; raises, so that nothing is written, if nothing could be kept."""
        wholes = wholes_of(self.rows.results)
        made = self._assays([row for row in self.rows.results if not is_part(row, wholes)])
        beside: list[RowRead] = []
        whole: list[RowRead] = []
        for row in self.rows.results:
            stray = (
                row.is_mean
                or is_part(row, wholes)
                or made.key_of(row) is None
                or (row.role != "sample" and not row.label and not self.wishes.brew)
            )
            (beside if stray else whole).append(row)
        self._begin_trial([*whole, *self.rows.probes], beside)
        kept, doubled = self._readings([(row, str(made.key_of(row))) for row in whole])
        # Temperature and salinity first: percent of saturation is turned into mg/L with them.
        probes = sorted(self.rows.probes, key=lambda probe: probe.channel not in ("temperature", "salinity"))
        points = sum(self._probe(probe) for probe in probes)
        held = doubled or any(probe.values for probe in probes if self.find(probe) is not None)
        if not kept and not points and not held:
            raise self._nothing_kept(made, beside)
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

    def _nothing_kept(self, made: AssaysMade, beside: list[RowRead]) -> ImportFault:
        """What stands in the way, named; the transaction is given up, and the file can be tried again."""
        if self.faults:
            first = self.faults[0]
            where = f"Row {first.row}" + (f", column '{first.column}'" if first.column else "")
            return ImportFault(
                f"Not one row of the table could be kept. {where}: {first.reason}",
                f"{first.remedy} Nothing was written; try again.",
            )
        if made.of_solids:
            units = ", ".join(dict.fromkeys(made.of_solids))
            return ImportFault(
                f"Not one row of the table could be kept: {units} counts what is in a gram of a solid, not in a tea.",
                "Germs found in a compost are noted with the compost (aerobe safety compost-test). Nothing was written.",
            )
        if made.unknown:
            units = ", ".join(dict.fromkeys(made.unknown))
            return ImportFault(
                f"Not one row of the table could be kept: no test of microbes has the unit {units}.",
                "Give the column a unit such as cells/mL, CFU/mL, ug C/mL or OD. Nothing was written; try again.",
            )
        means = sum(row.is_mean for row in beside)
        said = f"all {means} rows are means over brews or sums" if means and means == len(beside) else "no row was understood"
        return ImportFault(
            f"Not one row of the table could be kept: {said}.",
            "Take in the single brews, or say what the columns mean. Nothing was written; try again.",
        )

    def _assays(self, rows: list[RowRead]) -> AssaysMade:
        made = assays_of(rows, self.assays, default=self.wishes.assay)
        for assay in made.new:
            self.pen.add(assay, at=self.now, who=self.who, why=made.why.get(assay.key, ""))
            self.assays[assay.key] = assay
        self.notes += made.notes
        return made

    def _begin_trial(self, items: list[RowRead | ProbeColumn], beside: list[RowRead]) -> None:
        unknown = [
            item for item in items if item.label and self.find(item) is None and not self.answers.get(f"brew of {item.label}")
        ]
        if not unknown:
            return
        earlier = [change for change in self.notebook.audit(key=self.digest) if change.did == "import"]
        if earlier:
            raise ImportFault(
                f"The content of this file was taken in on {earlier[0].at:%Y-%m-%d} ({earlier[0].why}).",
                "Nothing was added twice. If it is another experiment with the same numbers, change the file and say so.",
            )
        self.trial = make_trial(
            self.table,
            unknown,
            [row.labels.treatment for row in beside if row.role == "sample" and not (row.is_mean and not row.labels.treatment)],
            key=self.trial_key,
            name=self.wishes.trial or self.table.file,
            started_at=self.wishes.started_at,
            temperatures=self.rows.temperatures,
            transfer=self.answers.get("transfer", ""),
        )
        self.brews.update(self.trial.by_label)
        self.notes += self.trial.notes

    def _readings(self, rows: list[tuple[RowRead, str]]) -> tuple[int, int]:
        """Keep readings that are not there yet. Gives how many were kept and how many were there."""
        held: Counter[tuple[object, ...]] = Counter(content_of(item) for item in self.notebook.readings(with_corrected=True))
        met: Counter[tuple[object, ...]] = Counter()
        kept = doubled = 0
        for row, assay in rows:
            try:
                reading = self._reading(row, self.assays[assay])
            except AerobeError as fault:
                self.faults.append(
                    RowFault(row=row.row, column="", typed=row.typed_as, reason=fault.problem, remedy=fault.remedy)
                )
                continue
            content = content_of(reading)
            met[content] += 1
            # Two plates of one dilution may honestly show the same count: the n-th twin in the file meets the n-th in the book.
            if met[content] <= held[content]:
                doubled += 1
                continue
            key = READ_FROM_TABLE + hashlib.sha256(repr((content, met[content])).encode()).hexdigest()[:20]
            self.pen.add(replace(reading, key=key), at=self.now, who=self.who)
            self.filled.add(reading.brew)
            kept += 1
        return kept, doubled

    def _reading(self, row: RowRead, assay: Assay) -> Reading:
        brew = self.find(row)
        if brew is None:
            raise ImportFault("The row names no brew that the notebook knows.", "Say which brew the table belongs to.")
        unit = row.unit or assay.unit
        if not same_unit(unit, assay.unit):
            raise ImportFault(f"The row is in {unit}, the assay '{assay.key}' in {assay.unit}.", "Name another assay for it.")
        return Reading(
            key="pending",
            brew=brew.key,
            assay=assay.key,
            role=row.role,
            elapsed_h=hours_of(row.elapsed_h, row.clock, brew),
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
            notes=notes_of(row),
        )

    def _probe(self, probe: ProbeColumn) -> int:
        brew = self.find(probe)
        if not probe.values:
            return 0
        if brew is None:
            raise ImportFault("The logger file names no brew.", "Say which brew the probe stood in.")
        pairs = zip(probe.elapsed_h, probe.clocks, strict=True)
        times = [hours_of(elapsed_h, clock, brew) for elapsed_h, clock in pairs]
        values = probe.values
        if probe.channel == "temperature":
            self.water[brew.key] = (times, values)
        if probe.channel == "salinity":
            self.salt[brew.key] = (times, values)
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
                self.table,
                key,
                started_at=new.started_at if new else None,
                start=self.trial.start if self.trial and new else "",
            )

    def _from_percent(self, times: list[float], values: list[float], brew: Brew) -> list[float]:
        fresh = self.trial is not None and brew.key in self.trial.brews  # its vessel is not stated
        altitude = 0.0 if fresh else self.notebook.get(Vessel, brew.vessel).altitude_m
        water, salt = self.water.get(brew.key), self.salt.get(brew.key)
        degrees = np.interp(times, *water) if water else np.full(len(times), brew.temperature_degc)
        self.notes.append(
            f"Oxygen in % of saturation was turned into mg/L at {altitude:g} m above the sea and "
            + ("the temperatures of the table" if water else f"the brew's {brew.temperature_degc:g} degC")
            + (", and its salinities." if salt else ".")
        )
        salts = np.interp(times, *salt) if salt else np.zeros(len(times))
        full = saturation_mg_per_l(degrees, altitude_m=altitude, salinity=salts)
        return (np.asarray(values) / 100.0 * full).tolist()

    def _beside(self, rows: list[RowRead]) -> int:
        if not rows:
            return 0
        lines = [plain_row(row, self.find(row)) for row in rows]
        subject = self.wishes.brew or self.trial_key
        payload = {"file": self.table.file, "rows": lines}
        if any(item.payload == payload for item in self.notebook.kept("rows beside", subject)):
            return 0
        self.pen.keep("rows beside", subject, payload, at=self.now, who=self.who)
        self.notes.append(
            f"{len(rows)} rows are means of an arm, parts of a total, controls of no one brew or other quantities: kept with "
            f"'{subject}', not as readings of a brew, since they are no independent measurements of one."
        )
        return len(rows)

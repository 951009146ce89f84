"""What the rows of a table give: results, probe logs, faults, and all that is left out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFault:
    """A cell that cannot be taken in: where it stands, why, and what to do."""

    row: int
    column: str
    typed: str
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """What a row says about which brew it belongs to, as the file writes it."""

    experiment: str = ""
    block: str = ""
    brew: str = ""
    arm: str = ""
    dose: str = ""
    bottle: str = ""

    @property
    def treatment(self) -> str:
        """Treatment with its dose."""
        return " ".join(filter(None, (self.arm, self.dose)))


@dataclass(frozen=True, slots=True, kw_only=True)
class RowRead:
    """One result of one row, before it is known to which brew and assay of the notebook it belongs."""

    row: int  # its number in the file
    place: int = 0  # its place in the table as read: numbers repeat over sheets
    elapsed_h: float | None  # [h]; None where the row has a clock time
    clock: datetime | None
    labels: Labels = Labels()
    label: str = ""  # the brew's name: as many of the labels as it takes to tell brews apart
    method: str = ""
    variable: str = ""
    measured: str = ""  # what the column's name says was measured, where no other column does
    assay: str = ""
    role: str = "sample"
    value: float = 0.0
    unit: str = ""
    typed_as: str = ""
    sd: float | None = None  # of one test, in the unit [as the value]
    uncertainty: float | None = None  # of the value as it stands: the standard error of a mean, else the sd [as the value]
    n: int = 1  # tests (or brews) that the value is the mean of
    is_mean: bool = False  # of several brews, or a row of sums: no measurement of one brew
    dilution: float = 1.0
    replicate: int = 1
    sample: str = ""
    operator: str = ""
    kit_lot: str = ""
    notes: str = ""
    below_detection: bool = False
    above_range: bool = False


@dataclass(slots=True, kw_only=True)
class ProbeColumn:
    """What one probe told in one brew, in house units; bare lists, since loggers write hundreds of thousands of rows."""

    labels: Labels
    channel: str
    unit: str
    label: str = ""
    rows: list[int]
    places: list[int]
    elapsed_h: list[float | None]
    clocks: list[datetime | None]
    values: list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsRead:
    """What a table gave: results, probe logs, faults, how many cells were simply empty, and what was left out by rule."""

    results: tuple[RowRead, ...]
    probes: tuple[ProbeColumn, ...]
    faults: tuple[RowFault, ...] = ()
    empty: int = 0
    left_out: tuple[str, ...] = ()
    skipped: tuple[int, ...] = ()  # rows whose clock time the zone never had
    temperatures: dict[str, float]  # brewing temperature by brew name, where a column only repeats it [degC]

    @property
    def brews(self) -> tuple[str, ...]:
        """Names of all brews, in order."""
        names = dict.fromkeys([row.label for row in self.results if not row.is_mean] + [probe.label for probe in self.probes])
        return tuple(name for name in names if name)


class BadCell(Exception):
    """A cell that stops its row."""

    def __init__(self, column: str, typed: str, reason: str, remedy: str) -> None:
        self.column, self.typed, self.reason, self.remedy = column, typed, reason, remedy

"""What a row becomes: its notes, what makes two the same, how it is kept beside."""

from __future__ import annotations

from datetime import datetime

from aerobe.errors import ImportFault
from aerobe.records import Brew, Reading
from aerobe.tables import RowRead


def plain_row(row: RowRead, brew: Brew | None) -> dict[str, object]:
    return {
        "row": row.row,
        "arm": row.labels.treatment,
        "bottle": row.labels.bottle,
        "brew": brew.key if brew else "",
        "role": row.role,
        "method": row.method,
        "variable": row.variable or row.measured,
        "elapsed_h": row.elapsed_h,
        "value": row.value,
        "unit": row.unit,
        "sd": row.sd,
        "n": row.n,
        "typed_as": row.typed_as,
    }


def hours_of(elapsed_h: float | None, clock: datetime | None, brew: Brew) -> float:
    if elapsed_h is not None:
        return elapsed_h
    if clock is None:
        raise ImportFault("The row has no time.", "Fill in when the sample was taken.")
    return brew.hours_at(clock)


def bare(name: str) -> str:
    """A file's name without its folder."""
    return name.replace("\\", "/").rsplit("/", 1)[-1]


def content_of(reading: Reading) -> tuple[object, ...]:
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


def notes_of(row: RowRead) -> str:
    said = [row.notes] if row.notes else []
    if row.sd is not None:
        said.append(f"sd {row.sd:.6g} {row.unit}".strip())
    elif row.uncertainty is not None:
        said.append(f"standard uncertainty {row.uncertainty:.6g} {row.unit}".strip())
    if row.n > 1:
        said.append(f"mean of {row.n}")
    if row.sample:
        said.append(f"sample {row.sample}")
    return "; ".join(said)

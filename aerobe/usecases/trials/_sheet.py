"""What a run sheet asks of one brew, and which of it is done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.records import PlannedBrew, Reading, RunSheet

HOURS_APART = 1.0  # samples within an hour of each other are compared [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStep:
    """One test that the run sheet asks of a brew."""

    role: str
    elapsed_h: float  # since its air went on [h]
    at: datetime | None  # on the clock, once the brew has begun or its start is planned
    done: bool


def planned_of(sheet: RunSheet | None, brew: str) -> PlannedBrew | None:
    """The line of a sheet that a brew was begun from."""
    return next((item for item in sheet.brews if item.brew == brew), None) if sheet is not None else None


def steps_of(planned: PlannedBrew | None, readings: Sequence[Reading], starts_at: datetime | None) -> tuple[SheetStep, ...]:
    """The tests that a line of the sheet asks for, each done once a reading of its role lies within an hour."""
    steps = []
    for sample in planned.samples if planned is not None else ():
        near = [item.role for item in readings if abs(item.elapsed_h - sample.elapsed_h) <= HOURS_APART]
        wanted = ["sample"] * sample.tests + list(sample.controls)
        for place, role in enumerate(wanted):
            steps.append(
                SheetStep(
                    role=role,
                    elapsed_h=sample.elapsed_h,
                    at=starts_at + timedelta(hours=sample.elapsed_h) if starts_at else None,
                    done=near.count(role) > wanted[:place].count(role),
                )
            )
    return tuple(steps)

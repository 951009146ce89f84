"""The scale of a test: what it finds of known additions, and how far kits and people differ."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from aerobe.assay._certificate import Precision
from aerobe.assay._matrix import Recovery, spike_recovery
from aerobe.assay._study import Study, StudyReading
from aerobe.errors import AerobeError

ASSUMED_GAIN_LOG_SD = 0.3  # twofold between the 12th and 88th percentile; used when nothing in the study tells the scale
R = TypeVar("R")


@dataclass(slots=True)
class Notes:
    """What could not be done, in the order met."""

    missing: list[str]

    def attempt(self, what: str, do: Callable[[], R]) -> R | None:
        """The result, or a note with the remedy."""
        try:
            return do()
        except AerobeError as fault:
            self.missing.append(f"{what}: {fault.problem} {fault.remedy}")
            return None


def plain_readings(readings: list[StudyReading]) -> list[StudyReading]:
    """Those inside the scale."""
    return [item for item in readings if not (item.below_detection or item.above_range)]


def find_recoveries(study: Study, level: float, notes: Notes) -> tuple[tuple[str, Recovery], ...]:
    found = []
    for what, added in dict.fromkeys((item.what, item.added) for item in study.of("spike")):
        after = [item.signal for item in plain_readings(study.of("spike")) if (item.what, item.added) == (what, added)]
        terms = {_terms(item) for item in study.of("spike") if (item.what, item.added) == (what, added)}
        before = [item.signal for item in plain_readings(study.of("sample")) if item.what == what and _terms(item) in terms]
        made = notes.attempt(
            f"Recovery in {what}",
            lambda before=before, after=after, added=added: spike_recovery(  # type: ignore[misc]
                before, after, added, level=level
            ),
        )
        if made is not None:
            found.append((what, made))
    water = [item.signal for item in plain_readings(study.of("water blank"))]
    for added in dict.fromkeys(item.added for item in study.of("standard") if item.added > 0):
        after = [item.signal for item in plain_readings(study.of("standard")) if item.added == added]
        made = notes.attempt(
            f"Recovery of the standard at {added:g}",
            lambda after=after, added=added: spike_recovery(water, after, added, level=level),  # type: ignore[misc]
        )
        if made is not None:
            found.append((f"standard at {added:g} in water", made))
    if not found:
        notes.missing.append(
            "Recovery: no addition of known content. Add a known amount of a counted culture or standard to a tea."
        )
    return tuple(found)


def _terms(item: StudyReading) -> tuple[object, ...]:
    """What must be equal for a spiked and an unspiked reading to differ by the addition only."""
    return item.dilution, item.day, item.operator, item.kit_lot


def gain_of(precision: Precision, recoveries: tuple[tuple[str, Recovery], ...]) -> tuple[float, str]:
    """Uncertainty of the scale shared by all readings of a kit."""
    between = math.hypot(precision.lot_log_sd, precision.operator_log_sd)
    usable = [item for _, item in recoveries if item.fraction > 0]
    if not usable:
        gain = math.hypot(ASSUMED_GAIN_LOG_SD, between)
        return gain, (
            f"Not tested; {100 * gain:.0f} % is assumed. "
            "Laboratories that measured the same soils by fumigation extraction "
            "differed by 12 to 24 %, without the conversion factors of a quick test."
        )
    logs = [math.log(item.fraction) for item in usable]
    mean = float(np.mean(logs))
    # A recovery off 1 is not corrected for: it is an error of the scale until somebody has explained it.
    parts = [item.sd / item.fraction for item in usable]
    gain = math.sqrt(
        mean**2
        + float(np.mean(np.square(parts))) / len(parts)
        + (float(np.var(logs, ddof=1)) if len(logs) > 1 else 0.0)
        + between**2
    )
    return gain, f"Additions were found to {100 * math.exp(mean):.0f} %; the scale is uncertain by {100 * gain:.0f} %."

"""The command for a series of re-aeration runs in one table. `_oxygen` takes it into its group."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, say, table
from aerobe.cli._oxygen_measure import WATER, Water
from aerobe.cli._pictures import save_picture
from aerobe.errors import ImportFault
from aerobe.units import ELAPSED, LENGTH, number

if TYPE_CHECKING:
    from aerobe.usecases.oxygen import RunSeries, SeriesRun


def series(
    file: Path,
    /,
    *,
    run: str = "",
    run_column: str = "",
    flow_column: str = "",
    water: Water = WATER,
    probe_t90: str = "0 s",
    picture: Path | None = None,
    json: JSON_ONLY = False,
) -> int:
    """Every re-aeration run of one table, each judged beside its neighbours in air flow. Exit code 4: none is sound.

    Parameters
    ----------
    file
        A table with one reading a row: run, air flow, time, oxygen.
    run
        Show this run alone.
    run_column
        The column that tells the runs apart, where it is not called run.
    flow_column
        The column of the air flow, where no single one has flow in its name.
    probe_t90
        Time in which the probe shows 90 % of a step, with unit.
    picture
        Also draw it, to this file (.svg or .png).
    """
    from aerobe.usecases.oxygen import measure_series

    try:
        content = file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
    found = measure_series(
        content,
        file.name,
        temperature_degc=water.warm(),
        altitude_m=LENGTH.read(water.altitude),
        probe_t90_s=3600.0 * ELAPSED.read(probe_t90),
        run_column=run_column,
        flow_column=flow_column,
    )
    one = found.run(run) if run else None
    lines = [*_of_all(found), found.says] if one is None else _of_one(one)
    if picture is not None:
        lines.append(save_picture(found.picture() if one is None else found.picture_of(run), picture))
    plain = {"runs": [_plain(item) for item in found.runs], "exponent": found.exponent, "says": found.says}
    say(plain if one is None else _plain(one), as_json=json, text=lines)
    return 0 if any(item.sound for item in found.runs) else NOT_SETTLED


def _plain(item: SeriesRun) -> dict[str, object]:
    """One run for programs; its readings stay in the table that they came from."""
    estimate = item.report.estimate if item.report is not None else None
    return {
        "run": item.run,
        "flow": item.flow,
        "sound": item.sound,
        "doubts": item.doubts,
        "reason": item.reason,
        "estimate": estimate,
        "textbook_per_h": item.textbook_per_h if math.isfinite(item.textbook_per_h) else None,
    }


def _of_all(found: RunSeries) -> list[str]:
    rows = []
    for item in found.runs:
        estimate = item.report.estimate if item.report is not None else None
        kla, interval, faults = "-", "-", []
        if estimate is not None:
            kla = number(estimate.kla_per_h)
            interval = f"{number(estimate.kla_low_per_h)} to {number(estimate.kla_high_per_h)}"
            faults = [fault.name for fault in estimate.faults]
        noticed = "; ".join(dict.fromkeys([*item.doubts, *faults]))
        judged = "sound" if item.sound else "in doubt"
        rows.append((item.run, f"{item.flow:g}", kla, interval, number(item.textbook_per_h), judged, noticed))
    return table(("run", found.flow_name, "kLa 1/h", "90 %", "textbook", "judged", "noticed"), rows)


def _of_one(item: SeriesRun) -> list[str]:
    if item.report is None:
        return [f"Run {item.run} gives no number: {item.reason}"]
    faults = [f"{fault.name}: {fault.problem} {fault.remedy}" for fault in item.report.estimate.faults]
    reasons = dict.fromkeys(judged.reason for judged in (item.by_fit, item.by_textbook) if judged is not None and judged.reason)
    return [item.report.says, *faults, *(f"In doubt: {reason}." for reason in reasons)]

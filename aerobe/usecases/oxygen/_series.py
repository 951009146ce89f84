"""A series of re-aeration runs in one table, as laboratories keep them: each run read, then judged beside its neighbours."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.charts import Picture, kla_by_flow, reaeration_run
from aerobe.errors import ImportFault, NotEnoughData, NotFound
from aerobe.oxygen import RunBeside, flow_exponent, judge_series, linear_window_kla, saturation_mg_per_l
from aerobe.tables import Block, ProbeColumn, read_table
from aerobe.units import number, parse_number
from aerobe.usecases.oxygen._run_table import RunLog
from aerobe.usecases.oxygen._runs import KlaReport, measure_kla


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesRun:
    """One run of a series: its own reading, and how it stands beside the others by two ways of reading a run."""

    run: str
    flow: float  # in the unit of the table
    report: KlaReport | None  # None where the run gives nothing at all
    reason: str  # why it gives nothing; empty where it gives something
    textbook_per_h: float  # slope of the log deficit between 2 and 6 mg/L; nan where there is none [1/h]
    by_fit: RunBeside | None
    by_textbook: RunBeside | None
    doubts: tuple[str, ...]  # what speaks against the run, in words; empty for a sound one

    @property
    def sound(self) -> bool:
        """Whether the run's number can be leaned on."""
        return not self.doubts


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSeries:
    """All runs by flow, and how transfer grows with flow over the sound ones."""

    runs: tuple[SeriesRun, ...]
    flow_name: str
    exponent: float  # kLa ~ flow ** exponent, over the sound runs [-]
    says: str

    def picture(self) -> Picture:
        """Transfer by flow with intervals; runs in doubt stand out."""
        shown = [item for item in self.runs if item.report is not None]
        estimates = [item.report.estimate for item in shown if item.report is not None]
        return kla_by_flow(
            [item.flow for item in shown], estimates, sound=[item.sound for item in shown], flow_name=self.flow_name
        )

    def picture_of(self, run: str) -> Picture:
        """One run with its fitted curve."""
        report = self.run(run).report
        if report is None:
            raise NotEnoughData(f"Run {run} gives no curve.", "Look at its readings in the table.")
        return reaeration_run(report.log.times_h.tolist(), report.log.oxygen_mg_per_l.tolist(), report.estimate)

    def run(self, name: str) -> SeriesRun:
        """The run of this name."""
        found = next((item for item in self.runs if item.run == name), None)
        if found is None:
            raise NotFound(f"The table has no run '{name}'.", f"It has: {', '.join(item.run for item in self.runs)}.")
        return found


def measure_series(
    content: bytes,
    name: str,
    *,
    temperature_degc: float,
    altitude_m: float = 0.0,
    probe_t90_s: float = 0.0,
    run_column: str = "",
    flow_column: str = "",
) -> RunSeries:
    """Every run of a table with one reading a row, judged by itself and beside its neighbours in flow.

    Parameters
    ----------
    content, name
        The file's bytes and its name. A column tells the run, one the air flow, one the time, one the oxygen.
    temperature_degc, altitude_m, probe_t90_s
        As for `measure_kla`. [degC, m, s]
    run_column, flow_column
        Where their names do not say so: `run`, and one with `flow` in it.

    Raises
    ------
    ImportFault
        If runs, flows, times or units cannot be read.
    NotEnoughData
        If fewer than five runs rise: then none can be judged by the others.
    """
    reading = read_table(content, name)
    header = reading.block.header
    run_column = _column(header, name, run_column, r"run|series|test", "the run")
    flow_column = _column(header, name, flow_column, r".*flow.*", "the air flow")
    logs = _logs(content, name, run_column, flow_column)
    flows = _flows(reading.block, run_column, flow_column)
    order = sorted(logs, key=lambda run: flows[run])
    read = {run: _report(logs[run], temperature_degc, altitude_m, probe_t90_s) for run in order}
    reports = {run: report for run, (report, _) in read.items()}
    behind = _behind_lower_flow(order, reports)
    full = float(saturation_mg_per_l(temperature_degc, altitude_m=altitude_m))
    slopes = {run: _textbook(logs[run], full) for run in order}
    fits = [report.estimate.kla_per_h if (report := reports[run]) is not None else float("nan") for run in order]
    by_fit = judge_series([flows[run] for run in order], np.nan_to_num(fits))
    by_slope = judge_series([flows[run] for run in order], np.nan_to_num([slopes[run] for run in order]))
    runs = tuple(
        SeriesRun(
            run=run,
            flow=flows[run],
            report=reports[run],
            reason=read[run][1],
            textbook_per_h=slopes[run],
            by_fit=fitted,
            by_textbook=sloped,
            doubts=_doubts(reports[run], read[run][1], fitted, sloped, behind.get(run, "")),
        )
        for run, fitted, sloped in zip(order, by_fit, by_slope, strict=True)
    )
    sound = [(item.flow, item.report.estimate.kla_per_h) for item in runs if item.sound and item.report is not None]
    exponent = flow_exponent([flow for flow, _ in sound], [kla for _, kla in sound]) if len(sound) > 2 else float("nan")
    return RunSeries(runs=runs, flow_name=flow_column.replace("_", " "), exponent=exponent, says=_says(runs, sound, exponent))


def _column(header: Sequence[str], name: str, wished: str, pattern: str, what: str) -> str:
    if wished:
        found = [column for column in header if column == wished]
    else:
        found = [column for column in header if re.fullmatch(pattern, column.strip(), re.IGNORECASE)]
    if len(found) != 1:
        raise ImportFault(f"No single column of {name} tells {what}.", f"Name it; its columns are: {', '.join(header)}.")
    return found[0]


def _logs(content: bytes, name: str, run_column: str, flow_column: str) -> dict[str, RunLog]:
    # A run stands where a brew would: the reader of tables then tells times, units and probe values apart as it always does.
    reading = read_table(content, name, columns={run_column: "brew", flow_column: "notes"})
    if reading.rows is None or reading.open_questions:
        asked = " ".join(question.says for question in reading.open_questions)
        raise ImportFault(f"{name} leaves open: {asked}", "Write the unit into the name of the column, such as oxygen [mg/L].")
    probes = [probe for probe in reading.rows.probes if probe.channel == "oxygen" and probe.unit == "mg/L"]
    if not probes:
        raise ImportFault(f"{name} holds no oxygen in mg/L.", "Give a column of oxygen, or value, variable and units.")
    return {probe.labels.brew: _log(probe) for probe in probes}


def _log(probe: ProbeColumn) -> RunLog:
    times = [hour for hour in probe.elapsed_h if hour is not None]
    if len(times) < len(probe.values):
        raise ImportFault(f"Run {probe.label} has readings without a time.", "Give the time since the start of each run.")
    return RunLog(times_h=np.array(times), oxygen_mg_per_l=np.array(probe.values))


def _flows(block: Block, run_column: str, flow_column: str) -> dict[str, float]:
    run, flow = block.header.index(run_column), block.header.index(flow_column)
    return {row[run]: parse_number(row[flow]) for row in block.rows if row[run]}


def _report(log: RunLog, temperature_degc: float, altitude_m: float, probe_t90_s: float) -> tuple[KlaReport | None, str]:
    """A run's reading, or why there is none."""
    try:
        return measure_kla(log, temperature_degc=temperature_degc, altitude_m=altitude_m, probe_t90_s=probe_t90_s), ""
    except NotEnoughData as fault:
        return None, fault.problem


def _behind_lower_flow(order: Sequence[str], reports: dict[str, KlaReport | None]) -> dict[str, str]:
    """Runs whose whole interval lies below that of the nearest run at a lower flow: more air is never slower."""
    found: dict[str, str] = {}
    last: tuple[str, float] | None = None
    for run in order:
        report = reports[run]
        if report is None or not report.estimate.usable:
            continue
        if last is not None and report.estimate.kla_high_per_h < last[1]:
            found[run] = f"slower than run {last[0]} at less air"
        else:
            last = run, report.estimate.kla_low_per_h
    return found


def _textbook(log: RunLog, saturation: float) -> float:
    try:
        return linear_window_kla(log.times_h, log.oxygen_mg_per_l, saturation_mg_per_l=saturation)
    except NotEnoughData:
        return float("nan")


# Faults of a run that forbid no number, but do not let it count as sound in a series.
_DOUBTED = ("odd saturation", "unsteady rise")


def _doubts(report: KlaReport | None, reason: str, by_fit: RunBeside, by_textbook: RunBeside, behind: str) -> tuple[str, ...]:
    if report is None:
        return (f"cannot be judged: {reason}",)
    found = [fault.name for fault in report.estimate.faults if fault.forbids or fault.name in _DOUBTED]
    found += [behind] if behind else []
    beside: dict[str, list[str]] = {}
    for way, judged in (("fit", by_fit), ("textbook slope", by_textbook)):
        if judged.outlying:
            beside.setdefault(judged.reason.split(":")[0], []).append(way)
    return (*found, *(f"{reason} (by {' and '.join(ways)})" for reason, ways in beside.items()))


def _says(runs: tuple[SeriesRun, ...], sound: list[tuple[float, float]], exponent: float) -> str:
    doubtful = [item.run for item in runs if not item.sound]
    said = f"{len(runs)} runs, {len(sound)} of them sound"
    said += f"; in doubt: {', '.join(doubtful)}." if doubtful else "."
    if not sound:
        return said
    low, high = min(kla for _, kla in sound), max(kla for _, kla in sound)
    said += f" Sound runs have kLa {number(low)} to {number(high)} per hour"
    return f"{said}; it grows with air flow to the power of {number(exponent, 2)}." if np.isfinite(exponent) else f"{said}."

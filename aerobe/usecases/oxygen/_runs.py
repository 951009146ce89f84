"""Measured air: re-aeration runs and air steps, transfer kept with the vessel, uptake of a brew."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotAllowed, NotEnoughData
from aerobe.notebook import Notebook, Receipt
from aerobe.oxygen import (
    HoldingTime,
    KlaEstimate,
    StandardTransfer,
    StepEstimate,
    UptakeTrack,
    holding_time,
    kla_from_reaeration,
    saturation_mg_per_l,
    standard_transfer,
    transfer_from_steps,
    uptake_from_log,
    vessel_kla,
    warming_until_h,
)
from aerobe.records import Brew, Vessel
from aerobe.units import number
from aerobe.usecases.oxygen._run_table import RunLog

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KlaReport:
    """One re-aeration run, read and judged."""

    estimate: KlaEstimate
    standard: StandardTransfer | None  # where the volume is known
    log: RunLog
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewUptake:
    """What a brew takes up now, and how long it holds without air."""

    track: UptakeTrack
    now_mg_per_l_h: tuple[float, float, float]  # 5, 50, 95 % quantile over the last hour [mg/L/h]
    oxygen_mg_per_l: float  # last reading [mg/L]
    holding: HoldingTime
    floor_mg_per_l: float
    says: str


def measure_kla(
    log: RunLog,
    *,
    temperature_degc: float,
    altitude_m: float = 0.0,
    probe_t90_s: float = 0.0,
    nominal_step_s: float | None = None,
    vessel: Vessel | None = None,
) -> KlaReport:
    """Transfer from a re-aeration run, with what is wrong with the run.

    Parameters
    ----------
    log
        The run.
    temperature_degc, altitude_m
        Of water and place. [degC, m]
    probe_t90_s
        Time in which the probe shows 90 % of a step; 0 if not known. [s]
    nominal_step_s
        What the logger was set to, to catch a wrong clock. [s]
    vessel
        For SOTR and SOTE. [-]

    Raises
    ------
    NotEnoughData
        If the run has no usable part; the message names the fault.
    """
    estimate = kla_from_reaeration(
        log.times_h,
        log.oxygen_mg_per_l,
        temperature_degc=temperature_degc,
        altitude_m=altitude_m,
        probe_lag_h=probe_t90_s / 2.303 / 3600.0,
        nominal_step_h=None if nominal_step_s is None else nominal_step_s / 3600.0,
    )
    standard = (
        None
        if vessel is None
        else standard_transfer(
            estimate.kla20_per_h, vessel.volume_l, flow_l_per_min=vessel.air.flow_l_per_min, depth_m=vessel.depth_m
        )
    )
    return KlaReport(estimate=estimate, standard=standard, log=log, says=_kla_says(estimate))


def measure_steps(
    log: RunLog, *, off_at_h: float, on_at_h: float, temperature_degc: float, altitude_m: float = 0.0, probe_t90_s: float = 0.0
) -> StepEstimate:
    """Transfer and uptake of a live brew whose air was turned off and on again.

    Parameters
    ----------
    log
        From before the air went off until oxygen is back.
    off_at_h, on_at_h
        When, on the log's own clock. [h]
    temperature_degc, altitude_m, probe_t90_s
        As for `measure_kla`. [degC, m, s]
    """
    switches = ((float(log.times_h[0]), True), (off_at_h, False), (on_at_h, True))
    return transfer_from_steps(
        log.times_h,
        log.oxygen_mg_per_l,
        switches,
        temperature_degc=temperature_degc,
        altitude_m=altitude_m,
        probe_lag_h=probe_t90_s / 2.303 / 3600.0,
    )


def keep_kla(
    notebook: Notebook, vessel_key: str, estimate: KlaEstimate | StepEstimate, *, now: datetime, who: str = ""
) -> Receipt:
    """Write a measured transfer into its vessel; the earlier value stays in the notebook's record of changes.

    Raises
    ------
    NotAllowed
        If the run has a fault that forbids a number.
    """
    if any(fault.forbids for fault in estimate.faults):
        named = ", ".join(fault.name for fault in estimate.faults if fault.forbids)
        raise NotAllowed(f"This run gives no number to keep: {named}.", "Repeat the run; the fault says how.")
    vessel = notebook.get(Vessel, vessel_key)
    air = replace(vessel.air, kla_per_h=estimate.kla20_per_h, kla_log_sd=estimate.log_sd)
    return notebook.change(replace(vessel, air=air), at=now, who=who, why="measured transfer of oxygen")


def brew_uptake(notebook: Notebook, brew_key: str) -> BrewUptake:
    """Uptake through a brew from its oxygen log, what it is now, and how long the tea holds once the air stops.

    Raises
    ------
    NotEnoughData
        If the brew has no oxygen log.
    """
    brew = notebook.get(Brew, brew_key)
    vessel = notebook.get(Vessel, brew.vessel)
    if not vessel.air_is_stated:
        raise NotEnoughData(
            "How air reaches this brew is not stated, and uptake cannot be told without it.",
            "Give it its vessel: measured transfer, air and diffuser; or a transfer of 0 for a sealed vessel.",
        )
    times, values = (np.asarray(part, dtype=float) for part in notebook.log(brew_key, "oxygen"))
    if len(times) < 10:
        raise NotEnoughData("This brew has no oxygen log to speak of.", "Connect a probe, or import its file.")
    times, values = _increasing(times, values)
    first_h = times[0]
    warm_at, warm = notebook.log(brew_key, "temperature")
    degrees = np.interp(times, warm_at, warm) if len(warm_at) else np.full(len(times), brew.temperature_degc)
    kla, log_sd = vessel_kla(vessel)
    sealed = kla == 0.0
    warming = warming_until_h(times, values, warm_at, warm) if sealed else 0.0
    if warming > times[0]:
        late = times >= warming
        times, values, degrees = times[late], values[late], degrees[late]
    track = uptake_from_log(
        times, values, kla20_per_h=kla, kla_log_sd=log_sd, temperature_degc=degrees, altitude_m=vessel.altitude_m
    )
    recent = track.elapsed_h >= track.elapsed_h[-1] - 1.0
    low, middle, high = (max(float(np.mean(part[recent])), 0.0) for part in (track.low, track.median, track.high))
    spread = math.log(max(high, 1e-3) / max(middle, 1e-3)) / 1.645 if middle > 0.0 else 0.0
    oxygen, floor = float(np.median(values[-5:])), brew.aim.oxygen_floor_mg_per_l
    holding = holding_time(
        max(oxygen, 0.0),
        middle,
        uptake_log_sd=max(spread, 0.0),
        floor_mg_per_l=floor,
        saturation_mg_per_l=saturation_mg_per_l(float(degrees[-1]), altitude_m=vessel.altitude_m),
    )
    return BrewUptake(
        track=track,
        now_mg_per_l_h=(low, middle, high),
        oxygen_mg_per_l=oxygen,
        holding=holding,
        floor_mg_per_l=floor,
        says=_warming_says(warming - float(first_h))
        + f"The brew takes up {number(middle)} mg/L an hour ({number(low)} to {number(high)}). Once the air stops, oxygen "
        f"reaches {floor:g} mg/L in {_minutes(holding.median_min)} ({_minutes(holding.low_min)} to "
        f"{_minutes(holding.high_min)}).",
    )


def _warming_says(hours: float) -> str:
    if hours <= 0.0:
        return ""
    return (
        f"In the first {number(hours, 2)} h oxygen rises although the vessel is sealed: water or probe were still warming up. "
        "Those hours are left out. "
    )


def _kla_says(estimate: KlaEstimate) -> str:
    said = (
        f"kLa {number(estimate.kla_per_h)} per hour (90 % interval {number(estimate.kla_low_per_h)} to "
        f"{number(estimate.kla_high_per_h)}) at {estimate.temperature_degc:g} degC; {number(estimate.kla20_per_h)} at 20 degC."
    )
    if estimate.usable:
        return said
    return "No number should be taken from this run: " + " ".join(f"{fault.problem} {fault.remedy}" for fault in estimate.faults)


def _minutes(value: float) -> str:
    if not math.isfinite(value):
        return "never"
    return f"{number(value, 2)} min" if value < 120.0 else f"{number(value / 60.0, 2)} h"


def _increasing(times: Array, values: Array) -> tuple[Array, Array]:
    """Two probes may log the same moment: one value a moment, their mean."""
    unique, place = np.unique(times, return_inverse=True)
    return unique, np.bincount(place, weights=values) / np.bincount(place)

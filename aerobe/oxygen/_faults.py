"""What goes wrong with re-aeration runs, by name, with what to do about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Below a fifth of saturation residual sulphite still eats oxygen (asce-ewri-2-06). The same standard ends a run at 98 %; the fit
# weighs readings by their noise instead, so that what lies above tells little and does no harm.
LOWEST_SHARE = 0.20
LEAST_FALL = 0.1  # of the log deficit over a run, below which its rates tell nothing (our choice, no source) [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFault:
    """One thing found in a run. `forbids`: no number should be taken from the run as it stands."""

    name: str
    problem: str
    remedy: str
    forbids: bool


def rising_window(times_h: Array, oxygen: Array, table_mg_per_l: float) -> slice | None:
    """The part of the run that carries the rate: from a fifth of saturation, to the top.

    Parameters
    ----------
    times_h, oxygen
        The run, shape (n,). [h, mg/L]
    table_mg_per_l
        Saturation by the table. [mg/L]

    Returns
    -------
    slice or None
        Of the run; None where it never rises through the lower bound.

    Source
    ------
    asce-ewri-2-06
    """
    if len(times_h) < 3:
        return None
    smooth = _median_of_three(oxygen)
    lowest = int(np.argmin(smooth))
    after = np.flatnonzero(smooth[lowest:] < LOWEST_SHARE * table_mg_per_l)
    start = lowest + (int(after[-1]) + 1 if len(after) else 0)
    if start >= len(times_h) - 1:
        return None
    return slice(start, len(times_h))


def faults_before_fit(times: Array, values: Array, table: float, nominal_step_h: float | None) -> tuple[RunFault, ...]:
    """What can be seen in the log itself."""
    found = [*_clock(times, nominal_step_h)]
    if len(values) < 3:
        return (*found, _no_window("The run has fewer than three readings."))
    smooth = _median_of_three(values)
    rise = float(smooth.max() - smooth[0])
    lowest = int(np.argmin(smooth))
    after = float(smooth[lowest:].max() - smooth[lowest])
    if after < 0.1 * table and smooth[0] - smooth[-1] < 0.1 * table:
        found.append(
            RunFault(
                name="probe never rises",
                problem=f"Oxygen rises by only {max(rise, after):.2g} mg/L in the whole run.",
                forbids=True,
                remedy="Check that the air ran, that the probe's cap is off and its membrane wet, and that sulphite is used up.",
            )
        )
    elif smooth[0] > smooth[-1] and smooth[0] - smooth[lowest] > 0.2 * table:
        found.append(
            _no_window(
                f"The log starts at {smooth[0]:.1f} mg/L and falls to {smooth[lowest]:.1f} mg/L before it "
                f"rises to {smooth[-1]:.1f} mg/L: "
                "it holds the removal of oxygen, and little of the return."
            )
        )
    elif smooth[0] - smooth[lowest] > 0.2 * table:
        found.append(
            RunFault(
                name="falls before it rises",
                forbids=False,
                problem=f"Oxygen first falls from {smooth[0]:.1f} to {smooth[lowest]:.1f} mg/L.",
                remedy="The fall is left out here; a window set by oxygen alone would take it in and come out too slow.",
            )
        )
    elif np.sum((values >= LOWEST_SHARE * table) & (np.arange(len(values)) >= lowest)) < 6:
        found.append(_no_window("Fewer than six readings lie between a fifth of saturation and the top."))
    if smooth[lowest] < -0.3:
        found.append(
            RunFault(
                name="probe reads below zero",
                problem=f"The lowest reading is {smooth[lowest]:.2f} mg/L.",
                forbids=False,
                remedy="Set the probe's zero in water with fresh sulphite; until then low readings are off by as much.",
            )
        )
    if smooth.max() > 1.1 * table:
        found.append(
            RunFault(
                name="above saturation",
                forbids=False,
                problem=f"The highest reading, {smooth.max():.2f} mg/L, lies above saturation, {table:.2f} mg/L.",
                remedy="Check temperature, pressure and the calibration of the probe in air-saturated water.",
            )
        )
    return (*found, *_sulphite(times, values, table))


def faults_of_fit(
    *, times: Array, values: Array, table: float, kla: float, lag_h: float, log_sd: float, fitted_saturation: float
) -> tuple[RunFault, ...]:
    """What only the fit shows."""
    found = []
    if kla * lag_h > 0.6:
        found.append(
            RunFault(
                name="probe too slow",
                forbids=kla * lag_h > 1.5,
                remedy="Use a faster probe, or less air for the test.",
                problem=f"The probe takes {3600 * lag_h:.0f} s, the water {3600 / kla:.0f} s: the run shows the probe.",
            )
        )
    if values[-5:].max() < 0.6 * table:
        found.append(
            RunFault(
                name="stopped early",
                problem=f"The run ends at {100 * values[-1] / table:.0f} % of saturation.",
                forbids=False,
                remedy="Let it run until the reading has almost stopped rising; until then the result leans on the "
                "saturation table.",
            )
        )
    if log_sd > 0.35:
        found.append(
            RunFault(
                name="too little to go on",
                forbids=False,
                problem=f"The run fixes kLa only to a factor of {np.exp(1.645 * log_sd):.1f}.",
                remedy="Repeat it with more readings between 20 and 95 % of saturation.",
            )
        )
    if abs(fitted_saturation / table - 1.0) > 0.08:
        found.append(
            RunFault(
                name="odd saturation",
                forbids=False,
                remedy="Check temperature, altitude and calibration.",
                problem=f"The run heads for {fitted_saturation:.2f} mg/L, the table says {table:.2f} mg/L.",
            )
        )
    return (*found, *_unsteady(times, values, fitted_saturation))


def _clock(times: Array, nominal_step_h: float | None) -> list[RunFault]:
    steps = np.diff(times)
    if len(steps) == 0:
        return []
    remedy = "Set the logger's clock and interval, and repeat the run; kLa errs by the same factor as the clock."
    if np.any(steps <= 0.0):
        return [RunFault(name="clock", problem="Times repeat or run backwards.", remedy=remedy, forbids=True)]
    middle = float(np.median(steps))
    if nominal_step_h is not None and abs(middle / nominal_step_h - 1.0) > 0.02:
        word = "slow clock" if middle < nominal_step_h else "fast clock"
        return [
            RunFault(
                name=word,
                remedy=remedy,
                forbids=True,
                problem=f"Stamps lie {3600 * middle:.2f} s apart where the logger was set to {3600 * nominal_step_h:.2f} s.",
            )
        ]
    if steps.max() > 8.0 * middle and steps.max() > 0.15 * (times[-1] - times[0]):
        return [
            RunFault(
                name="gap in the log",
                problem=f"{3600 * steps.max():.0f} s are missing.",
                forbids=False,
                remedy="Use a run without a gap.",
            )
        ]
    return []


def _sulphite(times: Array, values: Array, table: float) -> list[RunFault]:
    """Sulphite that is left eats oxygen at the low end: the log deficit falls more slowly there than higher up."""
    start = int(np.argmin(_median_of_three(values)))
    low = _slope(times[start:], values[start:], table, 0.20, 0.40)
    high = _slope(times[start:], values[start:], table, 0.40, 0.75)
    if low is None or high is None or high <= 0.0 or low > 0.8 * high:
        return []
    return [
        RunFault(
            name="residual sulphite",
            forbids=False,
            problem=f"Between 20 and 40 % of saturation the rate is {100 * low / high:.0f} % of that above it.",
            remedy="Wait until the reading rises evenly, or use the part above 40 % only. A slow probe looks the same.",
        )
    ]


def _unsteady(times: Array, values: Array, saturation: float) -> list[RunFault]:
    """Local rates that jump about: air that surges, or a probe that bubbles hit."""
    deficit = saturation - values
    good = deficit > 0.15 * saturation
    if good.sum() < 12:
        return []
    log_deficit, moments = np.log(deficit[good]), times[good]
    parts = np.array_split(np.arange(good.sum()), max(4, min(8, good.sum() // 4)))
    rates = np.array([-np.polyfit(moments[part], log_deficit[part], 1)[0] for part in parts])
    middle = float(np.median(rates))
    spread = float(np.sqrt(np.mean((rates - middle) ** 2)))
    # A probe that hardly rises has no rate to differ from, and that is told by its own name.
    falls = middle * float(moments[-1] - moments[0]) > LEAST_FALL
    if falls and spread / middle > 0.2:
        return [
            RunFault(
                name="unsteady rise",
                problem=f"The rate differs by {100 * spread / middle:.0f} % from part to part of the run.",
                remedy="Keep the air even and the probe out of the bubble stream, then repeat.",
                forbids=False,
            )
        ]
    return []


def _slope(times: Array, values: Array, table: float, low: float, high: float) -> float | None:
    inside = (values >= low * table) & (values <= high * table)
    if inside.sum() < 4:
        return None
    return -float(np.polyfit(times[inside], np.log(table - values[inside]), 1)[0])


def _no_window(problem: str) -> RunFault:
    return RunFault(
        name="no usable window",
        problem=problem,
        forbids=True,
        remedy="Start the log when the air starts, with a reading every few seconds, and let it run to 90 % of saturation.",
    )


def _median_of_three(values: Array) -> Array:
    if len(values) < 3:
        return values
    middle = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return np.concatenate([values[:1], middle, values[-1:]])

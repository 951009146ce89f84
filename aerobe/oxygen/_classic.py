"""The two textbook ways to read a run, kept so that published numbers can be met exactly; and runs judged side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import NotEnoughData, OutsideValidity
from aerobe.oxygen._reaeration import clean_log

Array = NDArray[np.float64]


def linear_window_kla(
    times_h: ArrayLike,
    oxygen_mg_per_l: ArrayLike,
    *,
    saturation_mg_per_l: float,
    low_mg_per_l: float = 2.0,
    high_mg_per_l: float = 6.0,
) -> float:
    """Slope of the log deficit within a window of oxygen: the recipe of the laboratory course.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The run, shape (n,). [h, mg/L]
    saturation_mg_per_l
        Taken as known. [mg/L]
    low_mg_per_l, high_mg_per_l
        The window. [mg/L]

    Returns
    -------
    float
        kLa; negative where oxygen falls within the window. [1/h]

    Raises
    ------
    NotEnoughData
        If fewer than three readings lie in the window.
    OutsideValidity
        If the window reaches saturation.

    Source
    ------
    cee4530-2019
    """
    if high_mg_per_l >= saturation_mg_per_l:
        raise OutsideValidity(
            f"A window up to {high_mg_per_l:g} mg/L reaches saturation, {saturation_mg_per_l:g} mg/L.", "Lower its upper end."
        )
    times, values = clean_log(times_h, oxygen_mg_per_l)
    inside = (values >= low_mg_per_l) & (values <= high_mg_per_l)
    if inside.sum() < 3:
        raise NotEnoughData(
            f"Only {inside.sum()} readings lie between {low_mg_per_l:g} and {high_mg_per_l:g} mg/L.",
            "Read more often, or widen the window.",
        )
    return -float(np.polyfit(times[inside], np.log(saturation_mg_per_l - values[inside]), 1)[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class RunBeside:
    """One run of a series over air flows, beside the line through the others."""

    flow: float  # in the unit given
    kla_per_h: float
    expected_per_h: float  # by the line through the series [1/h]
    log_distance: float  # log of measured over expected [-]
    outlying: bool
    reason: str


def judge_series(flows: ArrayLike, klas_per_h: ArrayLike, *, tolerance: float = 3.0) -> tuple[RunBeside, ...]:
    """Runs over several air flows, each judged beside its neighbours.

    One run alone cannot show that the clock ran slow or the stone was half blocked; its neighbours can.

    Parameters
    ----------
    flows
        Air flows, any one unit, shape (runs,). [any]
    klas_per_h
        Transfer coefficients, shape (runs,). [1/h]
    tolerance
        Distance at which a run counts as outlying, in robust standard deviations. [-]

    Returns
    -------
    tuple of RunBeside
        In the order given.

    Raises
    ------
    NotEnoughData
        If fewer than five runs have a positive rate.

    Notes
    -----
    A power law with the median of the slopes between all pairs (Theil, Sen) brings runs to one flow. A run with at least four
    others within a quarter of its flow is judged by their median and median absolute deviation; elsewhere all runs are used.
    Good runs are taken to repeat within 10 %, never better.

    Source
    ------
    sen-1968
    """
    flow, kla = np.asarray(flows, dtype=float), np.asarray(klas_per_h, dtype=float)
    good = (kla > 0.0) & (flow > 0.0)
    if good.sum() < 5:
        raise NotEnoughData(f"{good.sum()} runs with a rise are too few to judge one beside the others.", "Give five or more.")
    x, y = np.log(flow[good]), np.log(kla[good])
    slope = _median_slope(x, y)
    return tuple(_beside(float(flow[index]), float(kla[index]), x, y, slope, tolerance) for index in range(len(flow)))


def flow_exponent(flows: ArrayLike, klas_per_h: ArrayLike) -> float:
    """How transfer grows with air flow: the power b in kLa = a flow^b, by the median of the slopes between all pairs of runs.

    Parameters
    ----------
    flows
        Air flows, any one unit, shape (runs,). [any]
    klas_per_h
        Transfer coefficients, shape (runs,). [1/h]

    Raises
    ------
    NotEnoughData
        If no two runs with a positive rate differ in flow.

    Source
    ------
    sen-1968

    Examples
    --------
    >>> round(flow_exponent([1.0, 4.0, 16.0], [10.0, 20.0, 40.0]), 3)
    0.5
    """
    flow, kla = np.asarray(flows, dtype=float), np.asarray(klas_per_h, dtype=float)
    good = (kla > 0.0) & (flow > 0.0)
    if len(np.unique(flow[good])) < 2:
        raise NotEnoughData("How transfer grows with flow needs two flows.", "Measure at a second air flow.")
    return _median_slope(np.log(flow[good]), np.log(kla[good]))


def _median_slope(x: Array, y: Array) -> float:
    first, second = np.triu_indices(len(x), 1)
    apart = x[first] != x[second]
    return float(np.median((y[second] - y[first])[apart] / (x[second] - x[first])[apart]))


_NEIGHBOUR = np.log(1.25)
_FEWEST_NEIGHBOURS = 4
_REPEATABILITY = 0.10


def _beside(flow: float, kla: float, x: Array, y: Array, slope: float, tolerance: float) -> RunBeside:
    level = y - slope * x
    here = np.log(flow) if flow > 0.0 else float(x.min())
    itself = np.isclose(x, here) & np.isclose(y, np.log(kla) if kla > 0.0 else np.inf)
    near = level[(np.abs(x - here) <= _NEIGHBOUR) & ~itself]
    others = near if len(near) >= _FEWEST_NEIGHBOURS else level
    middle = float(np.median(others))
    limit = tolerance * max(1.4826 * float(np.median(np.abs(others - middle))), _REPEATABILITY)
    expected = float(np.exp(middle + slope * here))
    distance = float(np.log(kla / expected)) if kla > 0.0 else float("nan")
    reason = _reason(distance, limit)
    return RunBeside(
        flow=flow,
        kla_per_h=kla,
        expected_per_h=expected,
        log_distance=distance,
        outlying=reason != "",
        reason=reason,
    )


def _reason(distance: float, limit: float) -> str:
    if np.isnan(distance):
        return "oxygen does not rise in the window"
    if distance < -limit:
        return "too slow beside its neighbours: slow clock, residual sulphite, blocked diffuser or probe out of the stream"
    if distance > limit:
        return "too fast beside its neighbours: fast clock, wrong air flow noted or probe in the bubbles"
    return ""

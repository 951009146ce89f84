"""A dose series: how the outcome bends with the dose, and where the best dose may lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData
from aerobe.verdicts._core import fit_effects
from aerobe.verdicts._layout import is_estimable, lay_out

Array = NDArray[np.float64]
MISFIT = 0.05  # p of the lack-of-fit test below which no shape is read off the curve [-]
PEAK_LEVEL = 0.05  # one-sided, for the rise to a peak and for the fall from it [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseAnswer:
    """A curve through a dose series and its best dose.

    `best_low` and `best_high` are the doses at which the curve may be level (a confidence set of the turning point, cut to
    the doses tested). `kind` says what the series shows.
    """

    kind: str  # "peak", "still rising", "still falling", "flat", "not settled"
    best: float | None  # [dose]
    best_low: float | None  # [dose]
    best_high: float | None  # [dose]
    doses: tuple[float, ...]  # grid for the curve [dose]
    fitted: tuple[float, ...]  # log scale for ratios [-]
    low: tuple[float, ...]  # [-]
    high: tuple[float, ...]  # [-]
    misfit_p: float | None  # p of the lack-of-fit test; None with no replicate brews or three doses [-]
    because: str


def turning_point(slope: float, bend: float, covariance: Array, critical: float) -> tuple[float, float] | None:
    """The set of x at which slope + 2 bend x may be zero, by Fieller; None if it is not one interval.

    Parameters
    ----------
    slope
        Coefficient of x. [-]
    bend
        Coefficient of x squared. [-]
    covariance
        Of the two, shape (2, 2). [-]
    critical
        Value of t for the interval. [-]

    Returns
    -------
    tuple of float or None
        Ends of the interval, same scale as x. [-]

    Source
    ------
    fieller-1954
    """
    c2 = critical**2
    a = 4 * (bend**2 - c2 * covariance[1, 1])
    b = 4 * (slope * bend - c2 * covariance[0, 1])
    c = slope**2 - c2 * covariance[0, 0]
    inside = b**2 - 4 * a * c
    if a <= 0 or inside < 0:
        return None
    root = math.sqrt(inside)
    return (-b - root) / (2 * a), (-b + root) / (2 * a)


def answer_dose_series(
    doses: Sequence[float], outcomes: Sequence[float], blocks: Sequence[str] = (), *, level: float = 0.90
) -> DoseAnswer:
    """Fit a parabola in the square root of the dose and say where the best dose may lie.

    The square root is used because foods act by proportion: the step from nothing to a little matters more than the same
    step higher up (common practice, no source).

    Parameters
    ----------
    doses
        Dose of each brew, zero or above. [dose]
    outcomes
        Outcome of each brew on the scale compared (log for ratios), higher is better. [-]
    blocks
        Block of each brew, or empty. [-]
    level
        Level of the intervals. [-]

    Returns
    -------
    DoseAnswer
        Curve, best dose and its interval. [dose]

    Raises
    ------
    NotEnoughData
        With fewer than three doses or no degree of freedom left.

    Source
    ------
    fieller-1954
    """
    dose = np.asarray(doses, dtype=float)
    y = np.asarray(outcomes, dtype=float)
    distinct = np.unique(dose)
    if distinct.size < 3:
        raise NotEnoughData("A best dose needs at least three doses.", "Add doses between and beyond those you have.")
    if distinct[0] < 0:
        raise NotEnoughData("A dose lies below zero.", "Check the doses of the arms.")
    x = np.sqrt(dose)
    centre, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    u = (x - centre) / half
    design = np.column_stack([np.ones_like(u), u, u**2, _dummies(blocks or [""] * len(y))])
    beta, unit, rss, df = _least_squares(design, y)
    if df < 1:
        raise NotEnoughData("There are no more brews than the curve has bends.", "Repeat each dose in at least two brews.")
    covariance = unit * rss / df
    critical = float(special.stdtrit(df, 0.5 + level / 2))
    kind, ends, because = _read_curve(float(beta[1]), float(beta[2]), covariance[1:3, 1:3], critical)
    misfit = _misfit(dose, blocks, y, rss, df)
    if misfit is not None and misfit < MISFIT:
        kind, ends, because = (
            "not settled",
            None,
            "No smooth curve fits the doses: look at the points.",
        )
    elif kind == "peak" and not _falls_at_last(dose, y, blocks):
        kind, ends, because = (
            "not settled",
            None,
            "It is not shown that the highest dose is worse than a lower one: it may level off.",
        )
    grid = np.linspace(-1.0, 1.0, 61)
    basis = np.zeros((61, design.shape[1]))
    basis[:, 0], basis[:, 1], basis[:, 2] = 1.0, grid, grid**2
    if design.shape[1] > 3:
        basis[:, 3:] = design[:, 3:].mean(axis=0)
    fitted = basis @ beta
    error = critical * np.sqrt(np.einsum("ij,jk,ik->i", basis, covariance, basis))
    back = (np.clip(centre + half * grid, 0.0, None)) ** 2

    def to_dose(value: float) -> float:
        return float(max(0.0, centre + half * min(1.0, max(-1.0, value))) ** 2)

    best = None
    if kind == "peak":
        best = to_dose(-float(beta[1]) / (2 * float(beta[2])))
    elif kind in ("still rising", "still falling"):
        best = float(distinct[-1] if kind == "still rising" else distinct[0])
    return DoseAnswer(
        kind=kind,
        best=best,
        best_low=to_dose(ends[0]) if ends else None,
        best_high=to_dose(ends[1]) if ends else None,
        doses=tuple(map(float, back)),
        fitted=tuple(map(float, fitted)),
        low=tuple(map(float, fitted - error)),
        high=tuple(map(float, fitted + error)),
        misfit_p=misfit,
        because=because,
    )


def _read_curve(slope: float, bend: float, covariance: Array, critical: float) -> tuple[str, tuple[float, float] | None, str]:
    """What the curve shows; u runs from -1 (lowest dose) to 1 (highest)."""
    set_of_turns = turning_point(slope, bend, covariance, critical)
    at_ends = [slope + 2 * bend * u for u in (-1.0, 1.0)]
    error = [math.sqrt(covariance[0, 0] + 4 * u * covariance[0, 1] + 4 * covariance[1, 1]) for u in (-1.0, 1.0)]
    sure = [rate / err if err > 0 else math.copysign(math.inf, rate) for rate, err in zip(at_ends, error, strict=True)]
    if bend < 0 and set_of_turns is not None and set_of_turns[0] < 1.0 and set_of_turns[1] > -1.0:
        if set_of_turns[0] > -1.0 and set_of_turns[1] < 1.0:
            return "peak", set_of_turns, "The curve rises, turns and falls within the doses tested."
        side = "highest" if set_of_turns[1] >= 1.0 else "lowest"
        return "peak", set_of_turns, f"The best dose may lie at or beyond the {side} dose tested."
    if max(sure) > critical and min(sure) > -critical:
        return "still rising", None, "The outcome still rises at the highest dose: the best dose is this or more."
    if min(sure) < -critical and max(sure) < critical:
        return "still falling", None, "The outcome falls from the lowest dose on: less is better, as far as tested."
    middle = slope / math.sqrt(covariance[0, 0]) if covariance[0, 0] > 0 else math.inf
    if abs(middle) < critical and abs(bend) < critical * math.sqrt(covariance[1, 1]):
        return "flat", None, "Neither a slope nor a bend stands out of the scatter between brews."
    return "not settled", None, "The outcome changes with the dose, but where it is best cannot be told from these brews."


def _falls_at_last(dose: Array, y: Array, blocks: Sequence[str]) -> bool:
    """Whether some middle dose is told to be above both the lowest and the highest: a curve that only levels off shows none such.

    Each of the two at one-sided 5 %, shared among the middle doses.
    """
    doses = np.unique(dose).tolist()
    layout = lay_out([doses.index(one) for one in dose.tolist()], blocks or [""] * len(y))
    middle = range(1, len(doses) - 1)
    rows = np.array([[float(i == m) - float(i == end) for i in range(len(doses))] for m in middle for end in (0, len(doses) - 1)])
    if not is_estimable(layout, rows).all():
        return False
    found = fit_effects(y, layout, rows)
    above = (found.quantile(PEAK_LEVEL / len(middle)) > 0.0) & found.known
    return bool(above.reshape(-1, 2).all(axis=1).any())


def _dummies(blocks: Sequence[str]) -> Array:
    distinct = sorted(set(blocks))
    if len(distinct) < 2 or len(distinct) >= len(blocks):
        return np.zeros((len(blocks), 0))
    return np.array([[float(block == one) for one in distinct[1:]] for block in blocks])


def _least_squares(design: Array, y: Array) -> tuple[Array, Array, float, int]:
    beta, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    unit = np.asarray(np.linalg.pinv(design.T @ design), dtype=np.float64)
    return np.asarray(beta, dtype=np.float64), unit, float(((y - design @ beta) ** 2).sum()), len(y) - int(rank)


def _misfit(dose: Array, blocks: Sequence[str], y: Array, rss: float, df: int) -> float | None:
    """Whether a mean of its own for each dose fits clearly better than the curve."""
    distinct = np.unique(dose)
    full = np.column_stack([np.equal.outer(dose, distinct).astype(float), _dummies(blocks or [""] * len(y))])
    _, _, pure, pure_df = _least_squares(full, y)
    extra = df - pure_df
    if pure_df < 1 or extra < 1 or pure <= 0:
        return None
    return float(special.fdtrc(extra, pure_df, (rss - pure) / extra / (pure / pure_df)))

"""How the ratio of two tests moves with food and with the phase of growth: does a fixed factor do?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import Floats, finite, t_quantile
from aerobe.assay._comparison import paired
from aerobe.errors import NotEnoughData, OutsideValidity


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseBias:
    """How the ratio of two tests moves with food and with the phase of growth."""

    ratios: tuple[tuple[str, str, float, float, float], ...]  # food, phase, ratio, low, high
    phase_f: float
    phase_p: float
    food_f: float
    food_p: float
    together_f: float  # phase acting differently with each food
    together_p: float  # nan without repeats of a food and phase
    residual_log_sd: float
    residual_df: int
    spread: float  # largest mean ratio over smallest
    fixed_factor_works: bool
    says: str


def phase_bias(
    first: Sequence[float],
    second: Sequence[float],
    foods: Sequence[str],
    phases: Sequence[str],
    *,
    log_sd: Sequence[float] | None = None,
    level: float = 0.95,
) -> PhaseBias:
    """Does a fixed factor turn one test into the other, or does the factor depend on food and phase?

    Log ratios of first over second are compared between foods, phases and their combinations by nested linear models
    (each effect last in, so unbalanced data are fair to it). Where each pair is a mean with a known standard
    uncertainty of its log ratio, give `log_sd`: the tests then compare with that instead of with the repeats, and one
    pair for each food and phase is enough.

    Raises
    ------
    OutsideValidity
        If a result is not above zero.
    NotEnoughData
        If foods and phases do not pair up with the results, or pairs are too few.

    Source
    ------
    iso-5725-3
    """
    x, y = paired(first, second, 4)
    if np.any(x <= 0) or np.any(y <= 0):
        raise OutsideValidity("A ratio needs results above zero.", "Leave out what was not detected, and say so.")
    ratio = np.log(x / y)
    cells = list(zip(foods, phases, strict=False))
    if not len(foods) == len(phases) == ratio.size:
        raise NotEnoughData("Foods and phases differ in number from the results.", "Give both for each pair.")
    sd = np.ones(ratio.size) if log_sd is None else finite(log_sd, "uncertainties of the log ratios")
    if sd.size != ratio.size or np.any(sd <= 0):
        raise NotEnoughData("Each pair needs an uncertainty above zero.", "Give one for each pair, or none at all.")
    raw, ratio = ratio, ratio / sd
    phase_columns, food_columns, cell_columns = (_dummies(labels) / sd[:, None] for labels in (phases, foods, cells))
    constant = 1 / sd[:, None]
    both = np.hstack([constant, phase_columns, food_columns])
    full = np.hstack([constant, cell_columns])
    rss_full, rank_full = _rss(full, ratio)
    rss_both, rank_both = _rss(both, ratio)
    repeats = log_sd is not None or (ratio.size - rank_full > 0 and rss_full > 0)
    base_rss, base_rank = (rss_full, rank_full) if repeats else (rss_both, rank_both)
    df = ratio.size - base_rank
    if log_sd is not None:
        base_rss, df = 1e9, 1_000_000_000  # a mean square of one, known exactly
    if df < 1 or base_rss <= 0:
        raise NotEnoughData(
            "Too few pairs to separate food and phase from scatter.", "Measure repeats, or more foods and phases with both tests."
        )
    without_phase, without_food = (
        _rss(np.hstack([constant, food_columns]), ratio),
        _rss(np.hstack([constant, phase_columns]), ratio),
    )
    mean_square = base_rss / df

    def f_test(smaller: tuple[float, int], larger: tuple[float, int]) -> tuple[float, float]:
        from scipy.special import fdtrc

        extra = larger[1] - smaller[1]
        if extra <= 0:
            return math.nan, math.nan
        f = (smaller[0] - larger[0]) / extra / mean_square
        return f, float(fdtrc(extra, df, max(0.0, f)))

    phase, food = f_test(without_phase, (rss_both, rank_both)), f_test(without_food, (rss_both, rank_both))
    together = f_test((rss_both, rank_both), (rss_full, rank_full)) if repeats else (math.nan, math.nan)
    half = t_quantile(level, df) * math.sqrt(mean_square)
    rows = []
    for cell in dict.fromkeys(cells):
        mine = np.array([item == cell for item in cells])
        weight = 1 / sd[mine] ** 2
        mid, wide = float((weight * raw[mine]).sum() / weight.sum()), half / math.sqrt(float(weight.sum()))
        rows.append((cell[0], cell[1], math.exp(mid), math.exp(mid - wide), math.exp(mid + wide)))
    moving = [
        name
        for name, p in (("phase of growth", phase[1]), ("food", food[1]), ("food and phase together", together[1]))
        if p < 0.05
    ]
    values = [row[2] for row in rows]
    spread = max(values) / min(values)
    says = f"The ratio of the two tests runs from {min(values):.2f} to {max(values):.2f}"
    says += (
        f" and changes with {' and '.join(moving)}: no fixed factor turns one into the other."
        if moving
        else "; no change with food or phase is shown by these pairs."
    )
    return PhaseBias(
        ratios=tuple(rows),
        phase_f=phase[0],
        phase_p=phase[1],
        food_f=food[0],
        food_p=food[1],
        together_f=together[0],
        together_p=together[1],
        residual_log_sd=math.sqrt(mean_square),
        residual_df=df,
        spread=spread,
        fixed_factor_works=not moving,
        says=says,
    )


def _dummies(labels: Sequence[object]) -> Floats:
    names = list(dict.fromkeys(labels))
    return np.array([[float(label == name) for name in names[1:]] for label in labels]).reshape(len(labels), len(names) - 1)


def _rss(design: Floats, y: Floats) -> tuple[float, int]:
    beta, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    return float(((y - design @ beta) ** 2).sum()), int(rank)

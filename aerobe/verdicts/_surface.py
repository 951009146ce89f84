"""A quadratic surface over two to four factors: where it is best, how well that is known, and what it gains.

The best point is looked for inside what was tested; `_surface_design` says what is fitted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from aerobe.verdicts._surface_design import (
    DRAWS,
    FLAT,
    MISFIT,
    SEED,
    FittedDesign,
    Surface,
    basis_of,
    flat_of,
    misfit_of,
    no_surface,
    root_of,
    terms_of,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceAnswer:
    """A fitted surface and its best point within what was tested."""

    factors: tuple[str, ...]
    kind: str  # "peak", "at the edge", "flat", "not settled"
    best: tuple[float, ...]  # level of each factor where the fitted surface is highest
    best_low: tuple[float, ...]  # ends of the interval of the best level of each factor
    best_high: tuple[float, ...]
    terms: tuple[str, ...]
    coefficients: tuple[float, ...]  # of coded levels [-]
    errors: tuple[float, ...]  # [-]
    stationary: tuple[float, ...]  # where the fitted surface is level, coded; it may lie outside what was tested [-]
    tested: tuple[tuple[float, float], ...]  # lowest and highest level of each factor
    curvatures: tuple[float, ...]  # along the principal axes, coded: all below zero at a peak [-]
    scatter: float  # of brews about the surface [-]
    df: int
    misfit_p: float | None  # p of the test of lack of fit; None without repeated points [-]
    flat_p: float  # p of the test that no factor does anything [-]
    chance_good: float  # that the point named is within the margin of the best [-]
    effect: float  # of the best point against the standard [-]
    error: float
    critical: float  # in errors, for a point chosen because it looked best [-]
    rounds_out: bool  # whether rounds are taken out
    because: str


def answer_surface(
    levels: Sequence[Mapping[str, float]],
    outcomes: Sequence[float],
    blocks: Sequence[str],
    standard: Mapping[str, float],
    *,
    margin: float,
    level: float = 0.90,
    tail: float = 0.05,
) -> SurfaceAnswer:
    """Fit the surface and say where it is best.

    Parameters
    ----------
    levels
        Level of each factor in each brew. [any]
    outcomes
        Of each brew on the scale compared, higher is better. [-]
    blocks
        Round of each brew. [-]
    standard
        Levels that the best point is compared with. [any]
    margin
        A difference worth having, on the scale compared. [-]
    level
        Of the intervals of the best levels. [-]
    tail
        Chance that a best point is told to be above the standard where nothing does anything. [-]

    Raises
    ------
    NotEnoughData
        If the brews do not tell a surface.

    Source
    ------
    box-wilson-1951, box-draper-2007
    """
    names = tuple(levels[0])
    natural = np.array([[one[name] for name in names] for one in levels], dtype=float)
    middle, half = _scale_of(natural)
    design, y = design_of(levels, blocks, standard, tail=tail), np.asarray(outcomes, dtype=float)
    at = design.surface.standard
    whole = design.inverse @ y
    beta, rss = whole[: design.terms], float(((y - design.matrix @ whole) ** 2).sum())
    scatter = math.sqrt(rss / design.df)
    best = _best_within(beta, design.points)
    gain = (basis_of(best[None, :]) - basis_of(at[None, :]))[0]
    low, high, good = _how_well_known(design, beta, scatter, best, margin, level)
    linear, bends = _parts(beta, len(names))
    pure = misfit_of(design, y, np.array(rss))
    misfit, flat = None if pure is None else float(pure), float(flat_of(design, y, np.array(rss)))
    kind, because = _read(names, low, high, misfit, flat)
    return SurfaceAnswer(
        factors=names,
        kind=kind,
        best=_levels(middle + half * best),
        best_low=_levels(middle + half * low),
        best_high=_levels(middle + half * high),
        terms=terms_of(names),
        coefficients=_levels(beta),
        errors=_levels(scatter * np.sqrt(np.diag(design.unit))),
        stationary=_levels(-0.5 * np.linalg.pinv(bends) @ linear),
        tested=tuple((float(low), float(high)) for low, high in zip(middle - half, middle + half, strict=True)),
        curvatures=_levels(np.linalg.eigvalsh(bends)),
        scatter=scatter,
        df=design.df,
        misfit_p=misfit,
        flat_p=flat,
        chance_good=good,
        effect=float(gain @ beta),
        error=scatter * math.sqrt(max(float(gain @ design.unit @ gain), 0.0)),
        critical=design.critical,
        rounds_out=design.surface.rounds_out,
        because=because,
    )


def heights_of(answer: SurfaceAnswer, levels: Array) -> Array:
    """The fitted surface at levels of its factors, shape (points, factors): on the scale compared, higher is better. [-]"""
    low, high = np.array(answer.tested).T
    return np.asarray(basis_of(2.0 * (levels - low) / (high - low) - 1.0) @ np.array(answer.coefficients))


def design_of(
    levels: Sequence[Mapping[str, float]], blocks: Sequence[str], standard: Mapping[str, float], *, tail: float = 0.05
) -> FittedDesign:
    """The design of these brews, as for `answer_surface`.

    Raises
    ------
    NotEnoughData
        If the brews do not tell a surface.
    """
    natural = np.array([[one[name] for name in levels[0]] for one in levels], dtype=float)
    middle, half = _scale_of(natural)
    if not half.all():
        raise no_surface()
    at = (np.array([standard[name] for name in levels[0]]) - middle) / half
    design = FittedDesign(Surface((natural - middle) / half, tuple(blocks), at), tail)
    if not design.tells:
        raise no_surface()
    return design


def _scale_of(natural: Array) -> tuple[Array, Array]:
    """Middle and half the span of each factor."""
    low, high = natural.min(axis=0), natural.max(axis=0)
    return (high + low) / 2, (high - low) / 2


def _levels(values: NDArray[np.floating[Any]]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _parts(beta: Array, factors: int) -> tuple[Array, Array]:
    """Slopes, and the symmetric matrix of bends and halved twists."""
    bends = np.diag(beta[1 + factors : 1 + 2 * factors])
    for (i, j), twist in zip(combinations(range(factors), 2), beta[1 + 2 * factors :], strict=True):
        bends[i, j] = bends[j, i] = twist / 2
    return beta[1 : 1 + factors], bends


def _best_within(beta: Array, points: Array) -> Array:
    start = points[int(np.argmax(basis_of(points) @ beta))]
    found = optimize.minimize(lambda x: -float(basis_of(x[None, :])[0] @ beta), start, bounds=[(-1.0, 1.0)] * points.shape[1])
    return np.asarray(found.x if -found.fun >= float(basis_of(start[None, :])[0] @ beta) else start, dtype=np.float64)


def _how_well_known(
    design: FittedDesign, beta: Array, scatter: float, best: Array, margin: float, level: float
) -> tuple[Array, Array, float]:
    """Ends of the best level of each factor, and the chance that the point named is good, over what the coefficients may be."""
    rng = np.random.default_rng(SEED)
    wide = scatter / np.sqrt(rng.chisquare(design.df, DRAWS) / design.df)
    drawn = beta + (rng.normal(size=(DRAWS, len(beta))) @ root_of(design.unit).T) * wide[:, None]
    heights = drawn @ basis_of(design.points).T
    tops = design.points[heights.argmax(axis=1)]
    short = heights.max(axis=1) - drawn @ basis_of(best[None, :])[0]
    low, high = np.quantile(tops, [0.5 - level / 2, 0.5 + level / 2], axis=0)
    return np.minimum(low, best), np.maximum(high, best), float(np.mean(short <= margin))


def _read(names: Sequence[str], low: Array, high: Array, misfit: float | None, flat: float) -> tuple[str, str]:
    if misfit is not None and misfit < MISFIT:
        return "not settled", "No smooth surface fits the points: look at each, a brew may have died."
    if flat > FLAT:
        return "flat", "What the factors do does not stand out of the scatter between brews: no best point can be told."
    edge = [name for name, one, other in zip(names, low, high, strict=True) if one <= -1.0 + 1e-9 or other >= 1.0 - 1e-9]
    if edge:
        return "at the edge", f"The best level of {', '.join(edge)} may lie at or beyond the end of what was tested."
    return "peak", "The surface rises, turns and falls within what was tested."

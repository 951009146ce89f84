"""A quadratic surface over two to four factors: where it is best, how well that is known, and what it gains.

Levels are coded from -1 (lowest tested) to 1 (highest). The model of a brew is a constant, a slope and a bend for each factor, a
twist for each pair, and a level for each round; least squares, one scatter. The best point is looked for inside what was tested.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from aerobe.errors import NotEnoughData

Array = NDArray[np.float64]
DRAWS = 4000  # of the law of the coefficients
SEED = 1
LEAST_LEFT = 4  # degrees of freedom that must remain if rounds are taken out (our choice, no source)
MISFIT, FLAT = 0.05, 0.05  # p of the tests below and above which no best point is named [-]
MOST_FACTORS = 4
_POINTS = {2: 17, 3: 11, 4: 7}  # of the grid along each factor


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


@dataclass(frozen=True, slots=True)
class Surface:
    """A design in coded levels, with what depends on it alone."""

    coded: Array  # levels, shape (brews, factors), -1 to 1
    blocks: tuple[str, ...]
    standard: Array  # coded levels of the standard, shape (factors,)

    @property
    def rounds_out(self) -> bool:
        """Whether rounds can be taken out with enough left to know the scatter."""
        distinct = len(set(self.blocks))
        basis = basis_of(self.coded)
        return 1 < distinct < len(self.blocks) and len(self.blocks) - basis.shape[1] - distinct + 1 >= LEAST_LEFT

    def matrix(self) -> Array:
        """Terms of the surface, then dummies of the rounds, shape (brews, terms + rounds - 1)."""
        basis = basis_of(self.coded)
        if not self.rounds_out:
            return basis
        names = sorted(set(self.blocks))
        return np.column_stack([basis, [[float(block == one) for one in names[1:]] for block in self.blocks]])


def terms_of(names: Sequence[str]) -> tuple[str, ...]:
    """Names of the terms in the order of `basis_of`."""
    return (
        "constant",
        *names,
        *(f"{name} squared" for name in names),
        *(f"{first} x {second}" for first, second in combinations(names, 2)),
    )


def basis_of(coded: Array) -> Array:
    """Constant, slopes, bends and twists at coded levels, shape (points, terms)."""
    pairs = [coded[:, i] * coded[:, j] for i, j in combinations(range(coded.shape[1]), 2)]
    return np.column_stack([np.ones(len(coded)), coded, coded**2, *pairs])


def critical_of(unit: Array, df: int, gains: Array, tail: float) -> float:
    """How many errors the point that looks best stands above the standard, by chance alone exceeded so often.

    Drawn from the law of the coefficients where no factor does anything; the point is chosen in each draw as in a trial.

    Parameters
    ----------
    unit
        Covariance of the coefficients for a scatter of one, shape (terms, terms). [-]
    df
        Degrees of freedom of the scatter. [-]
    gains
        Weights of the coefficients in the gain of each point over the standard, shape (points, terms). [-]
    tail
        Chance of exceeding it. [-]

    Source
    ------
    box-draper-2007
    """
    rng = np.random.default_rng(SEED)
    drawn = rng.normal(size=(DRAWS, len(unit))) @ _root(unit).T
    found = drawn @ gains.T
    best = found.argmax(axis=1)
    error = np.sqrt(np.einsum("ij,jk,ik->i", gains[best], unit, gains[best]))
    apart = found[np.arange(DRAWS), best] / np.maximum(error, 1e-9)  # nought where the standard itself looks best
    return float(np.quantile(apart / np.sqrt(rng.chisquare(df, DRAWS) / df), 1.0 - tail))


def _root(unit: Array) -> Array:
    values, vectors = np.linalg.eigh(unit)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), dtype=np.float64)


@dataclass(frozen=True)
class FittedDesign:
    """What every fit of one design shares: a verdict, and thousands of simulated ones."""

    surface: Surface
    tail: float = 0.05

    @cached_property
    def matrix(self) -> Array:
        """As `Surface.matrix`."""
        return self.surface.matrix()

    @cached_property
    def df(self) -> int:
        """Degrees of freedom of the scatter. [-]"""
        return len(self.matrix) - int(np.linalg.matrix_rank(self.matrix))

    @cached_property
    def inverse(self) -> Array:
        """From outcomes to coefficients, shape (terms, brews)."""
        return np.asarray(np.linalg.pinv(self.matrix), dtype=np.float64)

    @cached_property
    def terms(self) -> int:
        """Terms of the surface. [-]"""
        return int(basis_of(self.surface.coded).shape[1])

    @cached_property
    def unit(self) -> Array:
        """Covariance of the terms of the surface for a scatter of one."""
        return (self.inverse @ self.inverse.T)[: self.terms, : self.terms]

    @cached_property
    def points(self) -> Array:
        """Coded levels at which the surface is looked at, shape (points, factors)."""
        factors = self.surface.coded.shape[1]
        return np.array(list(product(np.linspace(-1.0, 1.0, _POINTS[factors]), repeat=factors)))

    @cached_property
    def gains(self) -> Array:
        """Weights of the terms in the gain of each point over the standard, shape (points, terms)."""
        return basis_of(self.points) - basis_of(self.surface.standard[None, :])

    @cached_property
    def critical(self) -> float:
        """As `critical_of`."""
        return critical_of(self.unit, self.df, self.gains, self.tail)

    def require(self) -> None:
        """Refuse a design that tells no surface.

        Raises
        ------
        NotEnoughData
            If levels or brews are too few.
        """
        basis = basis_of(self.surface.coded)
        rest = self.matrix[:, self.terms :]
        rank = np.linalg.matrix_rank(self.matrix) - (np.linalg.matrix_rank(rest) if rest.size else 0)
        if rank < basis.shape[1] or self.df < 1:
            raise NotEnoughData(
                "These brews do not tell a surface: every factor needs three levels, and more brews than terms.",
                "Brew the points of a central composite that are missing.",
            )


def told_of(design: FittedDesign, outcomes: Array) -> NDArray[np.bool_]:
    """Whether the best point of each simulated trial is told to be above the standard, shape (trials,)."""
    beta = (outcomes @ design.inverse.T)[:, : design.terms]
    rss = ((outcomes - outcomes @ design.inverse.T @ design.matrix.T) ** 2).sum(axis=1)
    found = beta @ design.gains.T
    best = found.argmax(axis=1)
    chosen = design.gains[best]
    error = np.sqrt(np.einsum("ij,jk,ik->i", chosen, design.unit, chosen) * rss / design.df)
    return np.asarray(found[np.arange(len(best)), best] > design.critical * error)


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
    middle, half = (natural.max(axis=0) + natural.min(axis=0)) / 2, (natural.max(axis=0) - natural.min(axis=0)) / 2
    at = (np.array([standard[name] for name in names]) - middle) / half
    design = FittedDesign(Surface((natural - middle) / half, tuple(blocks), at), tail)
    design.require()
    y = np.asarray(outcomes, dtype=float)
    whole = design.inverse @ y
    beta, rss = whole[: design.terms], float(((y - design.matrix @ whole) ** 2).sum())
    scatter = math.sqrt(rss / design.df)
    best = _best_within(beta, design.points)
    gain = (basis_of(best[None, :]) - basis_of(at[None, :]))[0]
    low, high, good = _how_well_known(design, beta, scatter, best, margin, level)
    linear, bends = _parts(beta, len(names))
    misfit, flat = _misfit(design, y, rss), _flat(design, y, rss)
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
    drawn = beta + (rng.normal(size=(DRAWS, len(beta))) @ _root(design.unit).T) * wide[:, None]
    heights = drawn @ basis_of(design.points).T
    tops = design.points[heights.argmax(axis=1)]
    short = heights.max(axis=1) - drawn @ basis_of(best[None, :])[0]
    low, high = np.quantile(tops, [0.5 - level / 2, 0.5 + level / 2], axis=0)
    return np.minimum(low, best), np.maximum(high, best), float(np.mean(short <= margin))


def _misfit(design: FittedDesign, y: Array, rss: float) -> float | None:
    """Whether a mean of its own for each point fits clearly better than the surface."""
    _, cell = np.unique(np.round(design.surface.coded, 9), axis=0, return_inverse=True)
    full = np.column_stack([np.equal.outer(cell.ravel(), np.unique(cell)).astype(float), design.matrix[:, design.terms :]])
    pure_df = len(y) - int(np.linalg.matrix_rank(full))
    pure = float(((y - full @ (np.linalg.pinv(full) @ y)) ** 2).sum())
    extra = design.df - pure_df
    if pure_df < 1 or extra < 1 or pure <= 0.0:
        return None
    return float(special.fdtrc(extra, pure_df, (rss - pure) / extra / (pure / pure_df)))


def _flat(design: FittedDesign, y: Array, rss: float) -> float:
    """Whether a constant (and rounds) would do as well as the surface."""
    rest = np.column_stack([np.ones(len(y)), design.matrix[:, design.terms :]])
    plain = float(((y - rest @ (np.linalg.pinv(rest) @ y)) ** 2).sum())
    extra = design.terms - 1
    return float(special.fdtrc(extra, design.df, (plain - rss) / extra / (rss / design.df))) if rss > 0.0 else 0.0


def _read(names: Sequence[str], low: Array, high: Array, misfit: float | None, flat: float) -> tuple[str, str]:
    if misfit is not None and misfit < MISFIT:
        return "not settled", "No smooth surface fits the points: look at each, a brew may have died."
    if flat > FLAT:
        return "flat", "What the factors do does not stand out of the scatter between brews: no best point can be told."
    edge = [name for name, one, other in zip(names, low, high, strict=True) if one <= -1.0 + 1e-9 or other >= 1.0 - 1e-9]
    if edge:
        return "at the edge", f"The best level of {', '.join(edge)} may lie at or beyond the end of what was tested."
    return "peak", "The surface rises, turns and falls within what was tested."

"""A design of factors at three levels and the quadratic surface that is fitted to it, once or to thousands of simulated trials.

Levels are coded from -1 (lowest tested) to 1 (highest). The model of a brew is a constant, a slope and a bend for each factor, a
twist for each pair, and a level for each round; least squares, one scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData

Array = NDArray[np.float64]
DRAWS = 4000  # of the law of the coefficients
SEED = 1
LEAST_LEFT = 4  # degrees of freedom that must remain if rounds are taken out (our choice, no source)
MISFIT, FLAT = 0.05, 0.05  # p of the tests below and above which no best point is named [-]
KEPT = 64  # critical values that are kept
_CRITICAL: dict[tuple[bytes, bytes, int, float], float] = {}
_POINTS = {2: 17, 3: 11, 4: 7}  # of the grid along each factor


def no_surface() -> NotEnoughData:
    """What is said where brews do not tell a surface."""
    return NotEnoughData(
        "These brews do not tell a surface: every factor needs three levels, and more brews than terms.",
        "Brew the points of a central composite that are missing.",
    )


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
    drawn = rng.normal(size=(DRAWS, len(unit))) @ root_of(unit).T
    found = drawn @ gains.T
    best = found.argmax(axis=1)
    error = np.sqrt(np.einsum("ij,jk,ik->i", gains[best], unit, gains[best]))
    apart = found[np.arange(DRAWS), best] / np.maximum(error, 1e-9)  # nought where the standard itself looks best
    return float(np.quantile(apart / np.sqrt(rng.chisquare(df, DRAWS) / df), 1.0 - tail))


def root_of(unit: Array) -> Array:
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
        """As `critical_of`; worked out once for designs that are alike."""
        key = (self.unit.tobytes(), self.gains.tobytes(), self.df, self.tail)
        if key not in _CRITICAL:
            if len(_CRITICAL) >= KEPT:
                _CRITICAL.clear()
            _CRITICAL[key] = critical_of(self.unit, self.df, self.gains, self.tail)
        return _CRITICAL[key]

    @cached_property
    def tells(self) -> bool:
        """Whether levels and brews are enough for every term, with something left for the scatter."""
        if self.df < 1:
            return False
        rest = self.matrix[:, self.terms :]
        rank = np.linalg.matrix_rank(self.matrix) - (np.linalg.matrix_rank(rest) if rest.size else 0)
        return bool(rank >= self.terms)

    def subset(self, keep: NDArray[np.bool_]) -> FittedDesign:
        """The same design with some of its brews, shape of `keep` (brews,)."""
        blocks = tuple(block for block, kept in zip(self.surface.blocks, keep, strict=True) if kept)
        return FittedDesign(Surface(self.surface.coded[keep], blocks, self.surface.standard), self.tail)


def told_of(design: FittedDesign, outcomes: Array) -> NDArray[np.bool_]:
    """Whether a verdict would tell the best point of each simulated trial to be above the standard, shape (trials,).

    By the whole rule of a verdict: where no factor stands out, or no smooth surface fits, nothing is told.
    """
    beta = (outcomes @ design.inverse.T)[:, : design.terms]
    rss = ((outcomes - outcomes @ design.inverse.T @ design.matrix.T) ** 2).sum(axis=1)
    found = beta @ design.gains.T
    best = found.argmax(axis=1)
    chosen = design.gains[best]
    error = np.sqrt(np.einsum("ij,jk,ik->i", chosen, design.unit, chosen) * rss / design.df)
    stands_out = found[np.arange(len(best)), best] > design.critical * error
    misfit = misfit_of(design, outcomes, rss)
    return np.asarray(stands_out & (flat_of(design, outcomes, rss) <= FLAT) & (True if misfit is None else misfit >= MISFIT))


def misfit_of(design: FittedDesign, y: Array, rss: Array) -> Array | None:
    """Whether a mean of its own for each point fits clearly better than the surface: p, shape of `rss`."""
    _, cell = np.unique(np.round(design.surface.coded, 9), axis=0, return_inverse=True)
    full = np.column_stack([np.equal.outer(cell.ravel(), np.unique(cell)).astype(float), design.matrix[:, design.terms :]])
    pure_df = len(full) - int(np.linalg.matrix_rank(full))
    pure = ((y - y @ (full @ np.linalg.pinv(full)).T) ** 2).sum(axis=-1)
    extra = design.df - pure_df
    if pure_df < 1 or extra < 1:
        return None
    # Repeats that are all alike leave no yardstick: any misfit is then clear.
    return np.asarray(special.fdtrc(extra, pure_df, np.maximum(rss - pure, 0.0) / extra / np.maximum(pure / pure_df, 1e-300)))


def flat_of(design: FittedDesign, y: Array, rss: Array) -> Array:
    """Whether a constant (and rounds) would do as well as the surface: p, shape of `rss`."""
    rest = np.column_stack([np.ones(len(design.matrix)), design.matrix[:, design.terms :]])
    plain = ((y - y @ (rest @ np.linalg.pinv(rest)).T) ** 2).sum(axis=-1)
    extra = design.terms - 1
    gained = np.maximum(plain - rss, 0.0) / extra / np.maximum(rss / design.df, 1e-300)
    return np.asarray(special.fdtrc(extra, design.df, gained))

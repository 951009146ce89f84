"""Uncertainty of a calculated result, by the linear law and by Monte Carlo, and whether the two agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from aerobe.assay._arrays import Floats, confidence, t_quantile
from aerobe.errors import UnusableReading

Shape = Literal["normal", "rectangular", "triangular", "student"]
Model = Callable[..., "float | Floats"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One quantity that goes into a result."""

    name: str
    value: float
    uncertainty: float  # standard, in the unit of the value
    shape: Shape = "normal"
    df: float = math.inf  # degrees of freedom behind the uncertainty

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not math.isfinite(self.uncertainty) or self.uncertainty < 0:
            raise UnusableReading(
                f"{self.name}: {self.value} with uncertainty {self.uncertainty} is not usable.",
                "Give a finite value and a standard uncertainty of zero or more.",
            )
        if self.shape == "student" and self.df <= 2:
            raise UnusableReading(
                f"{self.name}: a Student distribution needs more than 2 degrees of freedom.",
                "Repeat the reading more often, or give the uncertainty as normal.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """What the linear law says: value, standard uncertainty, effective degrees of freedom, expanded uncertainty."""

    value: float
    uncertainty: float
    df: float
    sensitivities: tuple[float, ...]
    contributions: tuple[float, ...]  # |sensitivity| x uncertainty, unit of the result
    second_order: float  # standard uncertainty with the second-order terms of uncorrelated inputs
    level: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """What Monte Carlo says."""

    value: float
    uncertainty: float
    level: float
    low: float  # symmetric in probability
    high: float
    shortest_low: float
    shortest_high: float
    draws: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagationAgreement:
    """Both ways side by side. `agree` is the check of JCGM 101 clause 8 at two digits of the uncertainty."""

    linear: Linear
    simulated: Simulated
    tolerance: float
    agree: bool
    says: str


def propagate(model: Model, inputs: Sequence[Input], *, correlation: Floats | None = None, level: float = 0.95) -> Linear:
    """Law of propagation of uncertainty, with correlation, Welch-Satterthwaite degrees of freedom and second-order terms.

    The effective degrees of freedom are cut down to a whole number for the expanded uncertainty, as the Guide does.

    Raises
    ------
    UnusableReading
        If the correlations are impossible.

    Source
    ------
    jcgm-100-2008
    """
    value = np.array([item.value for item in inputs])
    u = np.array([item.uncertainty for item in inputs])
    slope = _gradient(model, value, u)
    part = slope * u
    link = np.eye(u.size) if correlation is None else np.asarray(correlation, dtype=float)
    if link.shape != (u.size, u.size) or not np.allclose(link, link.T) or np.linalg.eigvalsh(link).min() < -1e-9:
        raise UnusableReading("The correlation table is not possible.", "Give a symmetric table with ones on the diagonal.")
    spread = math.sqrt(max(0.0, float(part @ link @ part)))
    loose = math.fsum(part[i] ** 4 / item.df for i, item in enumerate(inputs) if math.isfinite(item.df) and part[i] != 0)
    df = spread**4 / loose if loose > 0 else math.inf
    wide = t_quantile(level, max(1.0, math.floor(df)) if math.isfinite(df) else df) * spread
    centre = float(model(*value))
    return Linear(
        value=centre,
        uncertainty=spread,
        df=df,
        sensitivities=tuple(map(float, slope)),
        contributions=tuple(map(float, abs(part))),
        second_order=math.sqrt(max(0.0, spread**2 + _second_order(model, value, u))),
        level=level,
        low=centre - wide,
        high=centre + wide,
    )


def simulate(
    model: Model,
    inputs: Sequence[Input],
    *,
    seed: int,
    draws: int = 200_000,
    correlation: Floats | None = None,
    level: float = 0.95,
) -> Simulated:
    """Propagation of distributions. Correlation is allowed between normal inputs only.

    Raises
    ------
    UnusableReading
        If the result is undefined for some inputs, or correlated inputs are not normal.

    Source
    ------
    jcgm-101-2008
    """
    rng = np.random.default_rng(seed)
    columns = [_draw(item, rng, draws) for item in inputs]
    if correlation is not None:
        if any(item.shape != "normal" for item in inputs):
            raise UnusableReading(
                "Correlated inputs must be normal.", "Give the correlated ones as normal, or leave the table out."
            )
        values, vectors = np.linalg.eigh(np.asarray(correlation, dtype=float))
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        z = root @ rng.standard_normal((len(inputs), draws))
        columns = [item.value + item.uncertainty * z[i] for i, item in enumerate(inputs)]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        y = np.sort(np.asarray(model(*columns), dtype=float))
    if not np.all(np.isfinite(y)):
        raise UnusableReading(
            "The result is undefined for some values that the inputs may take.",
            "Keep divisors away from zero: a ratio needs Fieller's interval instead.",
        )
    inside = math.floor(confidence(level) * draws)
    start = int(np.argmin(y[inside:] - y[: draws - inside]))
    low, high = np.quantile(y, [(1 - level) / 2, (1 + level) / 2])
    return Simulated(
        value=float(y.mean()),
        uncertainty=float(y.std(ddof=1)),
        level=level,
        low=float(low),
        high=float(high),
        shortest_low=float(y[start]),
        shortest_high=float(y[start + inside]),
        draws=draws,
    )


def propagate_both(
    model: Model,
    inputs: Sequence[Input],
    *,
    seed: int,
    draws: int = 200_000,
    correlation: Floats | None = None,
    level: float = 0.95,
    digits: int = 2,
) -> PropagationAgreement:
    """Linear law and Monte Carlo, and a statement when they disagree.

    They agree when both ends of the interval differ by no more than half a unit in the last of `digits` digits of
    the standard uncertainty.

    Source
    ------
    jcgm-101-2008
    """
    by_law = propagate(model, inputs, correlation=correlation, level=level)
    by_draws = simulate(model, inputs, seed=seed, draws=draws, correlation=correlation, level=level)
    spread = by_draws.uncertainty
    tolerance = 0.5 * 10.0 ** (math.floor(math.log10(spread)) - digits + 1) if spread > 0 else 0.0
    apart = max(abs(by_law.low - by_draws.low), abs(by_law.high - by_draws.high))
    agree = apart <= tolerance
    says = (
        "The linear law and Monte Carlo agree."
        if agree
        else (f"The linear law and Monte Carlo disagree by {apart:.2g}, more than {tolerance:.1g}: use the Monte Carlo interval.")
    )
    return PropagationAgreement(linear=by_law, simulated=by_draws, tolerance=tolerance, agree=agree, says=says)


def _draw(item: Input, rng: np.random.Generator, draws: int) -> Floats:
    if item.shape == "rectangular":
        half = item.uncertainty * math.sqrt(3)
        return rng.uniform(item.value - half, item.value + half, draws)
    if item.shape == "triangular" and item.uncertainty > 0:
        half = item.uncertainty * math.sqrt(6)
        return rng.triangular(item.value - half, item.value, item.value + half, draws)
    if item.shape == "student":
        return item.value + item.uncertainty * rng.standard_t(item.df, draws)
    return rng.normal(item.value, item.uncertainty, draws)


def _steps(value: Floats, u: Floats) -> Floats:
    # A fraction of the uncertainty: small enough for a derivative, large enough to keep its digits.
    # A value known to more digits than a computer has would be left where it is by so small a step.
    return np.where(u > 0, np.maximum(np.maximum(1e-3 * u, 1e-9 * abs(value)), 1e-300), 1e-6 * np.maximum(1.0, abs(value)))


def _gradient(model: Model, value: Floats, u: Floats) -> Floats:
    slope = np.empty_like(value)
    for i, step in enumerate(_steps(value, u)):
        up, down = value.copy(), value.copy()
        up[i] += step
        down[i] -= step
        slope[i] = (float(model(*up)) - float(model(*down))) / (up[i] - down[i])
    return slope


def _second_order(model: Model, value: Floats, u: Floats) -> float:
    """Sum over pairs of (1/2 f_ij^2 + f_i f_ijj) u_i^2 u_j^2; differences of a quarter uncertainty keep the digits."""
    step = np.where(u > 0, 0.25 * u, 0.0)

    def f(moves: dict[int, float]) -> float:
        point = value.copy()
        for place, size in moves.items():
            point[place] += size * step[place]
        return float(model(*point))

    active = [i for i in range(u.size) if u[i] > 0]
    total = 0.0
    for i in active:
        first = (f({i: 1}) - f({i: -1})) / 2
        for j in active:
            if i == j:
                second = f({i: 1}) - 2 * f({}) + f({i: -1})
                third = (f({i: 2}) - 2 * f({i: 1}) + 2 * f({i: -1}) - f({i: -2})) / 2
            else:
                second = (f({i: 1, j: 1}) - f({i: 1, j: -1}) - f({i: -1, j: 1}) + f({i: -1, j: -1})) / 4
                third = (
                    (f({i: 1, j: 1}) - 2 * f({i: 1}) + f({i: 1, j: -1})) - (f({i: -1, j: 1}) - 2 * f({i: -1}) + f({i: -1, j: -1}))
                ) / 2
            # Differences are in units of a quarter uncertainty, so u^2 u^2 / step^2 step^2 = 4^4.
            total += (0.5 * second**2 + first * third) * 256.0
    return total

"""How the scatter of a test grows with its level: a constant part that rules near zero, a proportional part above."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, confidence, finite
from aerobe.errors import NotEnoughData, UnusableReading


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoComponent:
    """sd^2 = constant_sd^2 + (proportional_cv x level)^2, with profile-likelihood intervals."""

    constant_sd: float  # [unit of the result]
    constant_low: float
    constant_high: float
    proportional_cv: float  # [-]
    proportional_low: float
    proportional_high: float
    intercept: float  # signal at level zero; zero when the levels themselves were not known
    slope: float  # signal per unit of level; one when they were not known
    log_likelihood: float
    level: float
    df: int  # degrees of freedom of scatter behind the fit


def cv_of_log_sd(log_sd: float) -> float:
    """Coefficient of variation of a factor exp(eta) whose eta has this standard deviation. [-]"""
    return math.sqrt(math.expm1(log_sd**2))


# Variance of the proportional part over that of the constant one, at the strongest group: from nothing to see to all.
_RATIOS = np.linspace(math.log(1e-3), math.log(1e12), 121)
_FINER = 15  # steps of each finer ladder
_TOPS = tuple(np.geomspace(0.01, 30.0, 30))  # where another top is looked for, over the scatter of all groups [-]


def fit_variances(means: Floats, variances: Floats, df: Floats) -> tuple[Floats, Floats, Floats]:
    """Two components from the variances of replicate groups, by maximum likelihood of the variances.

    Works on many studies at once: the last axis runs over groups, the others over studies.

    Returns
    -------
    tuple
        constant variance, squared cv, log likelihood (without its constant), each of the leading shape.
    """
    x = np.maximum(means, 0.0) ** 2
    total = df.sum(axis=-1)
    floor = 1e-12 * np.maximum((df * variances).sum(axis=-1) / total, 1e-300)

    def log_likelihood(a: Floats, b: Floats) -> Floats:
        v = np.maximum(a[..., None] + b[..., None] * x, floor[..., None])
        return -0.5 * (df * (np.log(v) + variances / v)).sum(axis=-1)

    only_a = (df * variances).sum(axis=-1) / total
    used = x > 0
    # Without a constant part the groups at zero would have no scatter at all: allowed only if they show none.
    possible = ~np.any(~used & (variances > 0), axis=-1)
    share = np.divide(variances, x, out=np.zeros_like(variances), where=used)
    only_b = (df * share * used).sum(axis=-1) / np.maximum((df * used).sum(axis=-1), 1)
    a, b = _likeliest(x, variances, df)
    zero = np.zeros_like(a)
    inside = log_likelihood(a, b)
    flat = log_likelihood(only_a, zero)
    steep = np.where(possible, log_likelihood(zero, only_b), -np.inf)
    best = np.maximum(np.maximum(inside, flat), steep)
    take_flat, take_steep = flat >= best, (steep >= best) & (flat < best)
    return (
        np.where(take_flat, only_a, np.where(take_steep, 0.0, a)),
        np.where(take_flat, 0.0, np.where(take_steep, only_b, b)),
        best,
    )


def _likeliest(x: Floats, variances: Floats, df: Floats) -> tuple[Floats, Floats]:
    """Both parts where the likelihood is highest, each of the leading shape: on a ladder of their ratios, since there may be two
    tops, then on ever finer ladders about its best step. For a ratio given, the constant part is a mean over the groups."""
    total, strongest = df.sum(axis=-1)[..., None], np.maximum(x.max(axis=-1), 1e-300)[..., None]
    logs = np.broadcast_to(_RATIOS, (*x.shape[:-1], _RATIOS.size))
    step = float(_RATIOS[1] - _RATIOS[0])
    while True:
        ratio = np.exp(logs) / strongest
        shape = 1.0 + ratio[..., None] * x[..., None, :]
        constant = (df[..., None, :] * variances[..., None, :] / shape).sum(axis=-1) / total
        height = total * np.log(np.maximum(constant, 1e-300)) + (df[..., None, :] * np.log(shape)).sum(axis=-1)
        place = height.argmin(axis=-1)[..., None]
        best, a = np.take_along_axis(logs, place, axis=-1), np.take_along_axis(constant, place, axis=-1)[..., 0]
        if step < 1e-7:
            return a, a * np.take_along_axis(ratio, place, axis=-1)[..., 0]
        logs = best + step * np.linspace(-1.0, 1.0, _FINER)
        step *= 2.0 / (_FINER - 1)


def fit_two_component(
    groups: Sequence[Sequence[float]],
    *,
    levels: Sequence[float] | None = None,
    background: float = 0.0,
    below: Sequence[Sequence[bool]] | None = None,
    level: float = 0.9,
) -> TwoComponent:
    """Two-component error model by maximum likelihood across levels, with profile intervals.

    Parameters
    ----------
    groups
        Replicate readings of each sample. [unit of the result]
    levels
        True level of each sample where it is known (standards, or a dilution series). Then single readings count
        too, and intercept and slope are fitted with the full likelihood, the lognormal part integrated out.
        Without it only the scatter inside the groups speaks, at the level of their means.
    background
        Signal without microbes, taken off the group means to get their level; not used when `levels` are given.
    below
        Marks readings that lie below their value; such a group gives its scatter by the likelihood of a censored
        normal sample, with the degrees of freedom of its uncensored readings.

    Raises
    ------
    NotEnoughData
        If the design cannot show both components.

    Source
    ------
    rocke-lorenzato-1995
    """
    arrays = [finite(group, "readings") for group in groups]
    if levels is not None:
        return _fit_known(arrays, finite(levels, "levels"), confidence(level))
    marks = (
        [np.zeros(group.size, dtype=bool) for group in arrays]
        if below is None
        else [np.asarray(mark, dtype=bool) for mark in below]
    )
    seen = [_moments(group, mark) for group, mark in zip(arrays, marks, strict=True) if group.size - mark.sum() > 1]
    if len(seen) < 2 or sum(item[2] for item in seen) < 4:
        raise NotEnoughData(
            "Too few repeated readings to see how the scatter grows with the level.",
            "Repeat the test at least three times on a blank or weak sample and three times on a strong one.",
        )
    means, variances, df = (np.array(column) for column in zip(*seen, strict=True))
    means = means - background
    if not np.any(variances > 0):
        raise NotEnoughData(
            "All repeated readings are equal, so their scatter is hidden by rounding.",
            "Read one more digit, or give half the step of the scale as the constant error.",
        )
    a, b, best = (float(item) for item in fit_variances(means, variances, df))
    x = np.maximum(means, 0.0) ** 2

    def deviance(a_: float, b_: float) -> float:
        v = a_ + b_ * x
        return math.inf if np.any(v <= 0) else float((df * (np.log(v) + variances / v)).sum())

    top = float(only_a) if (only_a := (df * variances).sum() / df.sum()) > 0 else 1.0
    strong = float(np.median(x[x > 0])) if np.any(x > 0) else 1.0
    constant = _profile(
        lambda s: _best_other(lambda o: deviance(s * s, o * o), math.sqrt(top / strong)),
        math.sqrt(a),
        -2 * best,
        math.sqrt(top),
        level,
        tops=_TOPS,
    )
    proportional = _profile(
        lambda s: _best_other(lambda o: deviance(o * o, s * s), math.sqrt(top)),
        math.sqrt(b),
        -2 * best,
        math.sqrt(top / strong),
        level,
        tops=_TOPS,
    )
    return TwoComponent(
        constant_sd=math.sqrt(a),
        constant_low=constant[0],
        constant_high=constant[1],
        proportional_cv=math.sqrt(b),
        proportional_low=proportional[0],
        proportional_high=proportional[1],
        intercept=background,
        slope=1.0,
        log_likelihood=best,
        level=level,
        df=int(df.sum()),
    )


def _moments(group: Floats, below: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Mean, variance and degrees of freedom of a group of repeats, censored ones included as such."""
    from aerobe.assay._limits import censored_mean, hides_all_scatter

    if hides_all_scatter(group, below):
        return float(group[~below][0]), 0.0, float(group.size - below.sum() - 1)
    if not below.any():
        return float(group.mean()), float(group.var(ddof=1)), group.size - 1.0
    mean, sd, _, _ = censored_mean(tuple(map(float, group)), tuple(map(bool, below)))
    return mean, sd**2 * group.size / (group.size - 1), float(group.size - below.sum() - 1)


def _best_other(target: Callable[[float], float], scale: float) -> float:
    """Smallest deviance over the other standard deviation, zero included."""
    from scipy.optimize import minimize_scalar

    grid = np.r_[0.0, np.geomspace(1e-3, 30.0, 25)] * scale
    values = np.array([target(float(point)) for point in grid])
    place = int(values.argmin())
    low, high = grid[max(place - 1, 0)], grid[min(place + 1, grid.size - 1)]
    found = minimize_scalar(lambda o: min(target(float(o)), 1e300), bounds=(float(low), float(high)), method="bounded")
    return min(float(values[place]), float(found.fun))


def _profile(
    deviance: Callable[[float], float], best: float, lowest: float, scale: float, level: float, *, tops: Sequence[float] = ()
) -> tuple[float, float]:
    """Ends of the values that the profile likelihood does not exclude; those tried at `tops` times the scale may lie on another
    top than the best."""
    from scipy.optimize import brentq
    from scipy.special import chdtri

    rise = float(chdtri(1, 1 - level))

    def gap(value: float) -> float:
        return min(deviance(value), 1e300) - lowest - rise

    inside = [best, *(top * scale for top in tops if gap(top * scale) <= 0)]
    first, last = min(inside), max(inside)
    low = 0.0 if best <= 0 or gap(1e-9 * scale) <= 0 else float(brentq(gap, 1e-9 * scale, first, rtol=1e-6))
    high = max(2 * last, 0.2 * scale)
    while gap(high) < 0:
        high *= 2
        if high > 1e6 * scale:
            return low, math.inf
    return low, float(brentq(gap, max(last, 1e-9 * scale), high, rtol=1e-6))


def _fit_known(arrays: list[Floats], levels: Floats, level: float) -> TwoComponent:
    """The full likelihood of Rocke and Lorenzato for known levels: eta integrated by Gauss-Hermite quadrature."""
    from scipy.optimize import minimize

    if len(arrays) != levels.size:
        raise NotEnoughData(f"{len(arrays)} groups but {levels.size} levels.", "Give the level of each group.")
    if np.any(levels < 0):
        raise UnusableReading("A known level is below zero.", "Give the true content of each standard, zero for a blank.")
    y = np.concatenate(arrays)
    x = np.repeat(levels, [group.size for group in arrays])
    if np.unique(x).size < 3 or y.size < 8:
        raise NotEnoughData(
            "Too few standards to fit the error model.", "Use at least three levels, zero among them, and eight readings."
        )
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    log_weights = np.log(weights) - 0.5 * math.log(2 * math.pi)
    line = np.polyfit(x, y, 1)
    spread = max(float(np.std(y - np.polyval(line, x))), 1e-9 * (abs(float(y.mean())) + 1e-9))
    low_scatter = (
        _pooled_sd([group for group, at in zip(arrays, levels, strict=True) if at <= np.quantile(levels, 0.4)]) or spread
    )

    def deviance(a: float, slope: float, s_eps: float, s_eta: float) -> float:
        if s_eps <= 0 or s_eta < 0 or slope <= 0:
            return 1e300
        # Nodes are centred where the integrand of this reading peaks, so few of them reach many digits.
        at = slope * x
        peak_sd = np.sqrt(1 / (1 + (s_eta * at / s_eps) ** 2))
        z = _peaks(y - a, at, s_eps, s_eta)[:, None] + peak_sd[:, None] * nodes
        mean = at[:, None] * np.exp(s_eta * z)
        inner = (
            -0.5 * ((y - a)[:, None] - mean) ** 2 / s_eps**2
            - 0.5 * z**2
            + 0.5 * nodes**2
            + log_weights
            + np.log(peak_sd)[:, None]
            - math.log(s_eps)
            - 0.5 * math.log(2 * math.pi)
        )
        top = inner.max(axis=1)
        return -2 * float((top + np.log(np.exp(inner - top[:, None]).sum(axis=1))).sum())

    def search(held: dict[int, float], starts: Sequence[Sequence[float] | Floats]) -> tuple[Floats, float]:
        # Scaled parameters: intercept by spread, slope by its least-squares value, sds as logs.
        free = [place for place in range(4) if place not in held]

        def target(part: Floats) -> float:
            full = np.empty(4)
            full[free] = part
            for place, value in held.items():
                full[place] = value
            return deviance(
                full[0] * low_scatter, full[1] * line[0], math.exp(min(full[2], 50.0)) * low_scatter, math.exp(min(full[3], 2.0))
            )

        best: tuple[Floats, float] | None = None
        for start in starts:
            found = minimize(
                target,
                np.asarray(start)[free],
                method="Nelder-Mead",
                options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 4000, "maxfev": 4000},
            )
            if best is None or found.fun < best[1]:
                full = np.empty(4)
                full[free] = found.x
                for place, value in held.items():
                    full[place] = value
                best = (full, float(found.fun))
        assert best is not None
        return best

    first = (float(line[1]) / low_scatter, 1.0, 0.0, math.log(0.15))
    point, lowest = search({}, [first, (float(line[1]) / low_scatter, 1.0, math.log(0.5), math.log(0.4))])
    intervals = []
    for place in (2, 3):

        def along(value: float, place: int = place) -> float:
            return search({place: math.log(max(value, 1e-12))}, [point])[1]

        intervals.append(_profile(along, math.exp(point[place]), lowest, 1.0 if place == 2 else 0.1, level))
    eta = [math.exp(point[3]), intervals[1][0], intervals[1][1]]
    cvs = [cv_of_log_sd(min(item, 5.0)) if math.isfinite(item) else math.inf for item in eta]
    s_eps = math.exp(point[2]) * low_scatter
    return TwoComponent(
        constant_sd=s_eps,
        constant_low=intervals[0][0] * low_scatter,
        constant_high=intervals[0][1] * low_scatter,
        proportional_cv=cvs[0],
        proportional_low=cvs[1],
        proportional_high=cvs[2],
        intercept=float(point[0]) * low_scatter,
        slope=float(point[1]) * float(line[0]),
        log_likelihood=-lowest / 2,
        level=level,
        df=y.size - 2,
    )


def _peaks(residual: Floats, at: Floats, s_eps: float, s_eta: float) -> Floats:
    """Most likely z of each reading (eta = s_eta z), by damped Newton steps."""
    z = np.zeros_like(residual)
    for _ in range(12):
        mean = at * np.exp(s_eta * z)
        slope = (residual - mean) * mean * s_eta / s_eps**2 - z
        curve = (mean * s_eta / s_eps) ** 2 + 1
        z = z + np.clip(slope / curve, -1.0, 1.0)
    return z


def _pooled_sd(groups: list[Floats]) -> float:
    df = sum(group.size - 1 for group in groups)
    return math.sqrt(sum(float(((group - group.mean()) ** 2).sum()) for group in groups) / df) if df > 0 else 0.0

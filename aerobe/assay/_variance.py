"""Where the scatter comes from: repeatability and the shares of sample, day, operator and kit lot."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, confidence, finite
from aerobe.errors import NotEnoughData
from aerobe.statistics import gaussian_deviance


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """One component of the scatter, as a standard deviation with its profile interval."""

    name: str
    sd: float
    low: float
    high: float  # infinite when these readings do not bound it
    levels: int  # different days, operators ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Components:
    """Components of variance. The last share is the test itself (repeatability)."""

    shares: tuple[Share, ...]
    fixed: tuple[float, ...]  # coefficients of the fixed part; the mean alone by default
    fixed_sd: tuple[float, ...]
    deviance: float  # -2 log restricted likelihood
    level: float

    def sd(self, name: str) -> float:
        """The standard deviation of a component; zero for one that was not in the design."""
        return next((share.sd for share in self.shares if share.name == name), 0.0)


def components(
    readings: Sequence[float],
    factors: Mapping[str, Sequence[Hashable]],
    *,
    fixed: Floats | None = None,
    level: float = 0.9,
    intervals: bool = True,
) -> Components:
    """Components of variance by restricted maximum likelihood; nested or crossed, unbalanced allowed.

    Parameters
    ----------
    readings
        Shape (n,), in any unit; logs of readings make the components relative.
    factors
        For each random effect the label of every reading. A nested effect needs labels that differ between parents,
        for example `day 1/sample a`. An effect with one level, or that equals another, is refused.
    fixed
        Design of the fixed part, shape (n, p); the mean alone if left out.

    Raises
    ------
    NotEnoughData
        If an effect cannot be told from the others.

    Source
    ------
    iso-5725-3, harville-1977
    """
    y = finite(readings, "readings", at_least=3)
    x = np.ones((y.size, 1)) if fixed is None else np.asarray(fixed, dtype=float)
    labels = tuple((name, tuple(of_each)) for name, of_each in factors.items())
    return _components(tuple(y.tolist()), tuple(map(tuple, x.tolist())), labels, level, intervals)


@lru_cache(maxsize=64)
def _components(
    readings: tuple[float, ...],
    fixed: tuple[tuple[float, ...], ...],
    labels: tuple[tuple[str, tuple[Hashable, ...]], ...],
    level: float,
    intervals: bool,
) -> Components:
    # A study is asked for again by its certificate, its report and the check of that: the same readings, the same components.
    y, x, factors = np.array(readings), np.array(fixed), dict(labels)
    effects, levels = _indicators(factors, y.size)
    scale = float(np.std(y)) or 1.0
    model = _Restricted(y / scale, x, effects)
    best, deviance = model.fit()
    names = (*factors, "test")
    shares = []
    for place, name in enumerate(names):
        low, high = model.profile(place, best, deviance, confidence(level)) if intervals else (math.nan, math.nan)
        shares.append(
            Share(
                name=name,
                sd=float(best[place]) * scale,
                low=low * scale,
                high=high * scale,
                levels=levels[place] if place < len(levels) else y.size,
            )
        )
    beta, cov = model.fixed_part(best)
    # The deviance was found on scaled readings; the Jacobian of the scaling brings it back.
    return Components(
        shares=tuple(shares),
        fixed=tuple(map(float, beta * scale)),
        fixed_sd=tuple(map(float, np.sqrt(np.diag(cov)) * scale)),
        deviance=deviance + 2 * (y.size - x.shape[1]) * math.log(scale),
        level=level,
    )


def _indicators(factors: Mapping[str, Sequence[Hashable]], n: int) -> tuple[list[Floats], list[int]]:
    found: list[Floats] = []
    levels = []
    for name, labels in factors.items():
        if len(labels) != n:
            raise NotEnoughData(f"{len(labels)} labels for {name} but {n} readings.", "Give one label for each reading.")
        places = {label: place for place, label in enumerate(dict.fromkeys(labels))}
        if len(places) < 2:
            raise NotEnoughData(f"Only one {name} in this study.", f"Repeat the study with a second {name}, or leave {name} out.")
        if len(places) == n:
            raise NotEnoughData(f"Every reading has its own {name}.", f"Repeat the test within a {name} to tell the two apart.")
        z = np.zeros((n, len(places)))
        z[np.arange(n), [places[label] for label in labels]] = 1.0
        if any(np.array_equal(z, other) for other in found):
            raise NotEnoughData(f"{name} changes exactly when another effect does.", "Vary them separately, or leave one out.")
        found.append(z)
        levels.append(len(places))
    return found, levels


class _Restricted:
    """Restricted likelihood of standard deviations (random effects in order, the test last).

    V = sum s_k^2 Z_k Z_k' + s^2 I. Everything is computed in the small space of the levels (Woodbury), so hundreds of
    readings cost no more than the number of days, operators and samples.
    """

    def __init__(self, y: Floats, x: Floats, effects: list[Floats]) -> None:
        self.x, self.n, self.p = x, y.size, x.shape[1]
        self.size = len(effects) + 1
        # Only the part of y that the fixed effects cannot explain enters; taking them off first keeps the digits.
        self.beta = np.linalg.lstsq(x, y, rcond=None)[0]
        self.y = y - x @ self.beta
        z = np.hstack(effects) if effects else np.zeros((y.size, 0))
        self.owner = np.repeat(np.arange(len(effects)), [effect.shape[1] for effect in effects]).astype(int)
        self.z, self.zz, self.zx, self.zy = z, z.T @ z, z.T @ x, z.T @ self.y
        self.xx, self.xy, self.yy = x.T @ x, x.T @ self.y, float(self.y @ self.y)

    def _solved(self, sd: Floats) -> tuple[Floats, Floats, float]:
        """root, (D^1/2 L^-1 D^1/2) and log det of the small matrix L = I + D^1/2 Z'Z D^1/2 / s^2."""
        root = sd[self.owner]
        small = np.eye(root.size) + (root[:, None] * self.zz * root) / sd[-1] ** 2
        inverse = np.linalg.inv(small)
        return root, root[:, None] * inverse * root, float(np.linalg.slogdet(small)[1])

    def deviance(self, sd: Floats) -> tuple[float, Floats]:
        """-2 log restricted likelihood and its slope by each sd."""
        s2 = float(sd[-1]) ** 2
        _, core, log_det = self._solved(sd)

        def inner(left: Floats, right: Floats, plain: Floats | float) -> Floats:
            # left' V^-1 right from Z'left, Z'right and left'right
            return (plain - left.T @ core @ right / s2) / s2

        xvx, xvy = inner(self.zx, self.zx, self.xx), inner(self.zx, self.zy, self.xy)
        yvy = float(inner(self.zy, self.zy, self.yy))
        zvx, zvy, zvz = inner(self.zz, self.zx, self.zx), inner(self.zz, self.zy, self.zy), inner(self.zz, self.zz, self.zz)
        fixed = np.linalg.solve(xvx, np.column_stack([xvy, zvx.T]))
        ypy = yvy - float(xvy @ fixed[:, 0])
        zpy, zpz = zvy - zvx @ fixed[:, 0], zvz - zvx @ fixed[:, 1:]
        df = self.n - self.p
        value = gaussian_deviance(
            log_det=self.n * math.log(s2) + log_det, rss=ypy, count=df, log_det_information=float(np.linalg.slogdet(xvx)[1])
        )
        traces = np.array([float(np.trace(zpz[np.ix_(mine, mine)])) for mine in self._blocks()])
        squares = np.array([float((zpy[mine] ** 2).sum()) for mine in self._blocks()])
        shares = sd[:-1] ** 2
        # tr(P V) = n - p and y'P V P y = y'P y give the part of the test without an n by n matrix.
        last_trace, last_square = (df - float(shares @ traces)) / s2, (ypy - float(shares @ squares)) / s2
        return value, 2 * sd * np.r_[traces - squares, last_trace - last_square]

    def _blocks(self) -> list[NDArray[np.intp]]:
        return [np.flatnonzero(self.owner == place) for place in range(self.size - 1)]

    def minimise(self, start: Floats, held: int | None = None, at: float = 0.0, *, fine: bool = True) -> tuple[Floats, float]:
        from scipy.optimize import minimize

        free = [place for place in range(start.size) if place != held]

        def target(part: Floats) -> tuple[float, Floats]:
            sd = np.empty_like(start)
            sd[free] = part
            if held is not None:
                sd[held] = at
            value, slope = self.deviance(sd)
            return value, slope[free]

        bounds = [(1e-6 if place == start.size - 1 else 0.0, None) for place in free]
        # A truncated Newton search: its small steps need no linear algebra library, whose threads cost more than they give here.
        close = 1e-15 if fine else 1e-9
        found = minimize(
            target,
            start[free],
            jac=True,
            method="TNC",
            bounds=bounds,
            options={"ftol": close, "xtol": 1e-12 if fine else 1e-7, "gtol": 1e-11 if fine else 1e-7, "maxfun": 2000},
        )
        sd = np.empty_like(start)
        sd[free] = found.x
        if held is not None:
            sd[held] = at
        return sd, float(found.fun)

    def fit(self) -> tuple[Floats, float]:
        size = self.size
        starts = [np.full(size, 1 / math.sqrt(size)), np.r_[np.full(size - 1, 0.1), 0.9], np.r_[np.full(size - 1, 0.9), 0.3]]
        return min((self.minimise(start) for start in starts), key=lambda item: item[1])

    def fixed_part(self, sd: Floats) -> tuple[Floats, Floats]:
        _, core, _ = self._solved(sd)
        s2 = float(sd[-1]) ** 2
        cov = np.asarray(np.linalg.inv((self.xx - self.zx.T @ core @ self.zx / s2) / s2), dtype=np.float64)
        return self.beta + cov @ ((self.xy - self.zx.T @ core @ self.zy / s2) / s2), cov

    def profile(self, place: int, best: Floats, deviance: float, level: float) -> tuple[float, float]:
        """Where the deviance, with the other components at their best, has risen by the chi-square quantile."""
        from scipy.optimize import brentq
        from scipy.special import chdtri

        rise = float(chdtri(1, 1 - level))
        start = np.maximum(best, 0.05)

        def gap(value: float) -> float:
            if self.size == 1:
                return self.deviance(np.array([value]))[0] - deviance - rise
            return self.minimise(start, place, value, fine=False)[1] - deviance - rise

        floor = 1e-3 if place == best.size - 1 else 0.0
        low = 0.0 if best[place] <= floor or gap(floor) <= 0 else float(brentq(gap, floor, best[place], xtol=1e-4))
        high = max(2 * float(best[place]), 0.1)
        while gap(high) < 0:
            high *= 2
            if high > 1e3:
                return low, math.inf
        return low, float(brentq(gap, max(float(best[place]), floor), high, xtol=1e-4))

"""What a few assay results say about a course that strays from its law: evidence, and draws given the results.

The scale of an assay is normal on the log scale, as what strays is, so both are integrated out in one step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._conditional import ABOVE, BELOW, SEEN, evidence_of, stand_ins_of
from aerobe.inference._likelihood import Results, generalised_log
from aerobe.inference._wander import RATIO_SHARE, WANDERS, Wander, wander_covariance

Array = NDArray[np.float64]

BELIEFS = np.log([w.belief for w in WANDERS])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Regression:
    """Means and covariances of the log signals at the readings.

    Parameters
    ----------
    mean, on_mass, on_ratio, seen
        Expected log signal of each course, how it moves with the logs of mass and of ratio, and what was seen on the
        generalised log scale, shape (courses, readings).
    mass, ratio
        Covariances of what strays, shape (wanders, readings, readings).
    gain
        Covariance that the assays' scales add, shape (readings, readings).
    """

    mean: Array
    on_mass: Array
    on_ratio: Array
    seen: Array
    mass: Array
    ratio: Array
    gain: Array
    scale: Array
    constant: Array
    kind: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strays:
    """Draws of what strays: logs of mass and ratio of shape (courses, times), of the assays' scales (courses, assays)."""

    log_mass: Array
    log_ratio: Array
    log_gain: Array


def regression_of(
    results: Results, log_mass: Array, log_ratio: Array, grid_h: Array, clock_h: Array, bias: Array, wanders: Sequence[Wander]
) -> Regression:
    """From courses on the grid, shape (courses, times), and biases (courses, assays) to what the regression needs."""
    mass_there, ratio_there = _at(log_mass, grid_h, results.elapsed_h), _at(log_ratio, grid_h, results.elapsed_h)
    fungal = np.clip(1.0 / (1.0 + np.exp(-ratio_there)), 1e-12, 1.0 - 1e-12)
    kind = np.broadcast_to(results.kind, mass_there.shape)
    # Biomass, bacteria, fungi, ratio: what each sees of a course, and to first order how that moves.
    mean = np.choose(kind, [mass_there, mass_there + np.log1p(-fungal), mass_there + np.log(fungal), ratio_there])
    on_ratio = np.choose(kind, [np.zeros_like(fungal), -fungal, 1.0 - fungal, np.ones_like(fungal)])
    at = np.interp(results.elapsed_h, grid_h, clock_h)
    mass = np.stack([wander_covariance(at, at, wander) for wander in wanders])
    same = results.assay[:, None] == results.assay[None, :]
    return Regression(
        mean=np.ascontiguousarray(mean),
        on_mass=np.where(kind == 3, 0.0, 1.0),
        on_ratio=np.ascontiguousarray(on_ratio),
        seen=generalised_log(results.value - bias[:, results.assay], results.scale, results.constant),
        mass=mass,
        ratio=RATIO_SHARE**2 * mass,
        gain=np.where(same, results.gain_log_sd[results.assay][:, None] ** 2, 0.0),
        scale=results.scale,
        constant=results.constant,
        kind=np.where(results.below, BELOW, np.where(results.above, ABOVE, SEEN)).astype(np.int64),
    )


def evidence_under(regression: Regression) -> Array:
    """Log evidence of the results for each course under each wander, shape (courses, wanders); nan where a course is."""
    out = np.empty((len(regression.mean), len(regression.mass)))
    r = regression
    evidence_of(r.mean, r.on_mass, r.on_ratio, r.mass, r.ratio, r.gain, r.seen, r.scale, r.constant, r.kind, out)
    return out


def strays_given(
    results: Results,
    log_mass: Array,
    log_ratio: Array,
    grid_h: Array,
    clock_h: Array,
    bias: Array,
    wander: Wander,
    rng: np.random.Generator,
) -> Strays:
    """One draw for each course, shape (courses, times), of what strays given the results.

    A draw from the prior, moved by what the results say against it, is a draw from the conditional (journel-huijbregts-1978).

    Source
    ------
    rasmussen-williams-2006, journel-huijbregts-1978
    """
    n, m, size = len(log_mass), len(results.value), len(grid_h)
    every = np.concatenate([clock_h, np.interp(results.elapsed_h, grid_h, clock_h)])
    covariance = wander_covariance(every, every, wander)
    root = np.linalg.cholesky(covariance + 1e-9 * np.eye(len(every)))
    mass = rng.standard_normal((n, len(every))) @ root.T
    ratio = RATIO_SHARE * rng.standard_normal((n, len(every))) @ root.T
    gain = results.gain_log_sd * rng.standard_normal((n, len(results.assays)))
    if not m:
        return Strays(log_mass=mass, log_ratio=ratio, log_gain=gain)
    r = regression_of(results, log_mass, log_ratio, grid_h, clock_h, bias, (wander,))
    target, precision = np.empty((n, m)), np.empty((n, m))
    stand_ins_of(
        r.mean, r.on_mass, r.on_ratio, r.mass[0], r.ratio[0], r.gain, r.seen, r.scale, r.constant, r.kind, target, precision
    )
    noise = rng.standard_normal((n, m)) / np.sqrt(precision)
    drawn = r.mean + r.on_mass * mass[:, size:] + r.on_ratio * ratio[:, size:] + gain[:, results.assay] + noise
    total = r.on_mass[:, :, None] * r.on_mass[:, None, :] * r.mass + r.on_ratio[:, :, None] * r.on_ratio[:, None, :] * r.ratio
    total = total + r.gain
    total[:, np.arange(m), np.arange(m)] += 1.0 / precision
    alpha = np.linalg.solve(total, (target - drawn)[:, :, None])[:, :, 0]
    across = covariance[:size, size:]
    belongs = (results.assay[:, None] == np.arange(len(results.assays))[None]).astype(float)
    return Strays(
        log_mass=mass[:, :size] + (alpha * r.on_mass) @ across.T,
        log_ratio=ratio[:, :size] + RATIO_SHARE**2 * (alpha * r.on_ratio) @ across.T,
        log_gain=gain + results.gain_log_sd**2 * (alpha @ belongs),
    )


def strayed_error(results: Results, grid_h: Array, clock_h: Array) -> Array:
    """How much wider the error of each result is than its own, for what strays and the assay's scale, shape (results,). [-]"""
    if not len(results.value):
        return np.ones(0)
    at = np.interp(results.elapsed_h, grid_h, clock_h)
    spread = sum(w.belief * np.diag(wander_covariance(at, at, w)) for w in WANDERS)
    variance = np.where(results.kind == 3, RATIO_SHARE**2, 1.0) * spread + results.gain_log_sd[results.assay] ** 2
    return np.asarray(np.sqrt(1.0 + variance / results.scale**2))


def _at(values: Array, grid_h: Array, at_h: Array) -> Array:
    right = np.clip(np.searchsorted(grid_h, at_h), 1, len(grid_h) - 1)
    w = np.clip((at_h - grid_h[right - 1]) / (grid_h[right] - grid_h[right - 1]), 0.0, 1.0)
    return np.asarray(values[:, right - 1] * (1.0 - w) + values[:, right] * w)

# mypy: disable-error-code="no-untyped-def"
"""Gaussian process regression of a few readings on a law's course, for very many courses: compiled.

For each course the log signal at the readings is normal, with the course's own mean and the covariance of what strays (the
wander, the assay's scale). The errors of the readings are not normal: Student t on the generalised log scale, or only a
bound. The mode and the curvature there give the evidence of the course by Laplace's method, and normal stand-ins for the
readings from which the conditional of the wander is drawn (rasmussen-williams-2006, sections 2.2 and 3.4).

All compiled code of this room stands here: the cache of compiled code watches one file only.
"""

from __future__ import annotations

from math import exp, log, log1p, sqrt

import numpy as np
from numba import njit, prange

DEGREES = 5.0  # of the t tails, the same as `_likelihood.DEGREES`
SPREAD = (DEGREES - 2.0) / DEGREES  # squared scale of a t of unit variance
LOGISTIC = 1.702  # a logistic this steep stands for the normal integral, with tails as heavy as readings have
ROUNDS = 12
SEEN, BELOW, ABOVE = 0, 1, 2


@njit(cache=True, error_model="numpy")
def _pull(x, seen, scale, constant, kind):
    """Minus log likelihood of one reading at log signal `x`, its slope downhill, and a curvature that is never negative."""
    signal = exp(min(x, 60.0))
    inside = scale * signal / constant
    expected = log(inside + sqrt(inside * inside + 1.0)) / scale
    steep = signal / constant / sqrt(1.0 + inside * inside)
    r = seen - expected
    if kind == SEEN:
        weight = (DEGREES + 1.0) / (DEGREES * SPREAD + r * r)
        return 0.5 * (DEGREES + 1.0) * log1p(r * r / (DEGREES * SPREAD)), weight * r * steep, weight * steep * steep
    sign = 1.0 if kind == BELOW else -1.0
    u = LOGISTIC * sign * r
    # Log of 1 / (1 + exp(-u)), without overflow.
    cost = log1p(exp(-u)) if u > 0.0 else -u + log1p(exp(u))
    miss = 1.0 / (1.0 + exp(u)) if u < 500.0 else 0.0
    return cost, -sign * LOGISTIC * miss * steep, LOGISTIC * LOGISTIC * miss * (1.0 - miss) * steep * steep


@njit(cache=True, error_model="numpy")
def _cholesky(m, n):
    for j in range(n):
        total = m[j, j]
        for k in range(j):
            total -= m[j, k] * m[j, k]
        m[j, j] = sqrt(max(total, 1e-12))
        for i in range(j + 1, n):
            total = m[i, j]
            for k in range(j):
                total -= m[i, k] * m[j, k]
            m[i, j] = total / m[j, j]


@njit(cache=True, error_model="numpy")
def _solve(m, n, x):
    for i in range(n):
        total = x[i]
        for k in range(i):
            total -= m[i, k] * x[k]
        x[i] = total / m[i, i]
    for i in range(n - 1, -1, -1):
        total = x[i]
        for k in range(i + 1, n):
            total -= m[k, i] * x[k]
        x[i] = total / m[i, i]


@njit(cache=True, error_model="numpy")
def _one(mean, on_mass, on_ratio, mass, ratio, gain, seen, scale, constant, kind, work, x, target, precision):
    """Evidence of one course; the normal stand-ins of the readings go to `target` and `precision`."""
    n = len(mean)
    cov, b = work[:n], work[n : 2 * n]
    for i in range(n):
        for j in range(n):
            cov[i, j] = on_mass[i] * on_mass[j] * mass[i, j] + on_ratio[i] * on_ratio[j] * ratio[i, j] + gain[i, j]
        x[i] = mean[i]
    right, half = work[2 * n], work[2 * n + 1]
    for _ in range(ROUNDS):
        for i in range(n):
            _, slope, curve = _pull(x[i], seen[i], scale[i], constant[i], kind[i])
            precision[i] = max(curve, 1e-9)
            target[i] = x[i] + slope / precision[i]
            half[i] = sqrt(precision[i])
        for i in range(n):
            for j in range(i + 1):
                b[i, j] = half[i] * cov[i, j] * half[j]
            b[i, i] += 1.0
        _cholesky(b, n)
        for i in range(n):
            right[i] = half[i] * (target[i] - mean[i])
        _solve(b, n, right)
        moved = 0.0
        # x = mean + cov alpha, with alpha = half B^-1 half (target - mean)
        for i in range(n):
            right[i] *= half[i]
        for i in range(n):
            total = 0.0
            for j in range(n):
                total += cov[i, j] * right[j]
            change = mean[i] + total - x[i]
            moved = max(moved, abs(change))
            # A long stride on the flat of a bound would overshoot.
            change = min(max(change, -3.0), 3.0)
            x[i] += change
        if moved < 1e-3:
            break
    log_evidence = 0.0
    for i in range(n):
        cost, _, _ = _pull(x[i], seen[i], scale[i], constant[i], kind[i])
        log_evidence -= cost + log(b[i, i])
        log_evidence -= 0.5 * right[i] * (x[i] - mean[i])
    return log_evidence


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def evidence_of(mean, on_mass, on_ratio, mass, ratio, gain, seen, scale, constant, kind, out):
    """Log evidence of every course under every wander, into `out` of shape (courses, wanders).

    `mean`, `on_mass`, `on_ratio`, `seen` have shape (courses, readings); `mass` and `ratio` (wanders, readings, readings).
    """
    n = mean.shape[1]
    for course in prange(len(mean)):
        work = np.empty((2 * n + 2, n))
        x, target, precision = np.empty(n), np.empty(n), np.empty(n)
        for w in range(len(mass)):
            out[course, w] = _one(
                mean[course],
                on_mass[course],
                on_ratio[course],
                mass[w],
                ratio[w],
                gain,
                seen[course],
                scale,
                constant,
                kind,
                work,
                x,
                target,
                precision,
            )


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def stand_ins_of(mean, on_mass, on_ratio, mass, ratio, gain, seen, scale, constant, kind, targets, precisions):
    """Normal stand-ins for the readings of every course under one wander: value and precision, shape (courses, readings)."""
    n = mean.shape[1]
    for course in prange(len(mean)):
        work = np.empty((2 * n + 2, n))
        x = np.empty(n)
        _one(
            mean[course],
            on_mass[course],
            on_ratio[course],
            mass,
            ratio,
            gain,
            seen[course],
            scale,
            constant,
            kind,
            work,
            x,
            targets[course],
            precisions[course],
        )

"""Brews sorted into cells and trials, and everything that is known once the three spreads are given.

Every function takes the array module `xp` of its blocks: numpy, or cupy on a GPU.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence._spread import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyBrews:
    """Brews of many trials as columns."""

    outcome: Array  # log of the outcome, shape (brews,) [ln]
    variance: Array  # its squared standard error, shape (brews,)
    trial: Sequence[str]  # which trial, shape (brews,)
    recipe: Sequence[str]  # which recipe, shape (brews,)
    moderators: dict[str, Array] = field(default_factory=dict)  # name -> values, shape (brews,)


@dataclass(slots=True)
class Blocks:
    """The data sorted into cells (a recipe in a trial) and trials, ready for batches of hyperparameters."""

    xp: Any
    y: Any  # (brews,)
    v: Any  # (brews,)
    loose: Any  # moderators and y, which vary within a cell, (brews, k + 1)
    fixed: Any  # intercept and recipe indicators of each cell, (cells, r)
    cell_starts: Any  # first brew of each cell, then the number of brews
    trial_starts: Any  # first cell of each trial, then the number of cells
    prior_precision: Any  # (r + k,)
    names: tuple[str, ...]  # recipes, the reference first
    moderators: tuple[str, ...]
    shift: Array
    scale: Array
    brew_counts: dict[str, int]
    trial_counts: dict[str, int]

    @classmethod
    def of(cls, brews: ManyBrews, reference: str, prior_sd: float, xp: Any) -> Blocks:
        y, v, trial, recipe, M = _columns(brews)
        trial_code = np.unique(trial, return_inverse=True)[1]
        names, recipe_code = np.unique(recipe, return_inverse=True)
        pairs = {(t, r) for t, r in zip(trial_code.tolist(), recipe_code.tolist(), strict=True)}
        in_trials = {str(name): sum(code == r for _, r in pairs) for code, name in enumerate(names)}
        reference = reference or min(in_trials, key=lambda name: (-in_trials[name], name))
        if reference not in in_trials:
            raise UnusableRecord(f"No brew is of recipe {reference}.", f"Choose one of: {', '.join(map(str, names[:20]))}.")
        if len(names) > 200:
            raise UnusableRecord(f"{len(names)} recipes in one pool.", "Group recipes that differ only in name, or pool fewer.")
        order = np.lexsort((recipe_code, trial_code))
        cell = trial_code[order] * len(names) + recipe_code[order]
        cells, starts = np.unique(cell, return_index=True)
        cell_trial, cell_recipe = np.divmod(cells, len(names))
        others = [code for code, name in enumerate(names) if str(name) != reference]
        fixed = np.column_stack([np.ones(len(cells)), *[(cell_recipe == code).astype(float) for code in others]])
        shift = M.mean(axis=0) if M.size else np.zeros(M.shape[1])
        scale = M.std(axis=0) if M.size else np.ones(M.shape[1])
        if np.any(scale == 0.0):
            raise UnusableRecord("A moderator is the same in every brew.", "Leave it out.")
        loose = np.column_stack([((M - shift) / scale)[order], y[order]])
        trial_starts = np.concatenate([np.unique(cell_trial, return_index=True)[1], [len(cells)]])
        precision = np.full(fixed.shape[1] + M.shape[1], prior_sd**-2)
        precision[0] = 1e-4  # the general level: anything from e-100 to e100
        sizes = {str(name): int(np.sum(recipe_code == code)) for code, name in enumerate(names)}
        return cls(
            xp=xp,
            y=xp.asarray(y[order]),
            v=xp.asarray(v[order]),
            loose=xp.asarray(loose),
            fixed=xp.asarray(fixed),
            cell_starts=np.concatenate([starts, [len(y)]]),
            trial_starts=trial_starts,
            prior_precision=xp.asarray(precision),
            names=(reference, *[str(names[code]) for code in others]),
            moderators=tuple(brews.moderators),
            shift=shift,
            scale=scale,
            brew_counts=sizes,
            trial_counts=in_trials,
        )


def _columns(brews: ManyBrews) -> tuple[Array, Array, Array, Array, Array]:
    y, v = np.asarray(brews.outcome, dtype=float), np.asarray(brews.variance, dtype=float)
    trial, recipe = np.asarray(brews.trial, dtype=str), np.asarray(brews.recipe, dtype=str)
    M = (
        np.column_stack([np.asarray(item, dtype=float) for item in brews.moderators.values()])
        if brews.moderators
        else np.zeros((len(y), 0))
    )
    if not len(y) == len(v) == len(trial) == len(recipe) == len(M):
        raise UnusableRecord(
            "The columns have different lengths.", "Give every brew an outcome, error, trial, recipe and moderators."
        )
    bad = ~(np.isfinite(y) & np.isfinite(v) & (v > 0.0) & (np.abs(y) < 100.0) & np.isfinite(M).all(axis=1))
    if bad.any():
        raise UnusableRecord(
            f"Brew {int(np.argmax(bad)) + 1} has no usable outcome, error or moderator.",
            "Leave it out, or give finite numbers with an error above zero.",
        )
    if len(set(recipe.tolist())) < 2 or len(set(trial.tolist())) < 2:
        raise NotEnoughData("A pool needs two recipes and two trials at least.", "Import more trials.")
    return y, v, trial, recipe, M


def segment_sums(xp: Any, values: Any, starts: Any, axis: int) -> Any:
    """Sums over runs of neighbours along one axis. numpy has them ready; on a GPU they are differences of a running sum."""
    if xp is np:
        return np.add.reduceat(values, starts[:-1], axis=axis)
    running = xp.cumsum(values, axis=axis)
    zero = xp.zeros_like(xp.take(running, xp.asarray([0]), axis=axis))
    running = xp.concatenate([zero, running], axis=axis)
    return xp.take(running, xp.asarray(starts[1:]), axis=axis) - xp.take(running, xp.asarray(starts[:-1]), axis=axis)


def given_spreads(blocks: Blocks, theta: Array, scales: Array) -> tuple[Array, Array, Array]:
    """Log posterior of each row of log spreads, shape (rows, 3), and mean and covariance of the coefficients there."""
    xp = blocks.xp
    sds = np.exp(theta)
    between, within, brew = (xp.asarray(sds[:, i] ** 2) for i in range(3))
    half = 0.5 * within  # a contrast has two cells
    spread = brew[:, None] + blocks.v[None, :]
    p = 1.0 / spread  # (rows, brews)
    P = segment_sums(xp, p, blocks.cell_starts, 1)  # (rows, cells)
    weighted = p[:, :, None] * blocks.loose[None, :, :]
    cross_loose = xp.einsum("gik,il->gkl", weighted, blocks.loose)
    S = segment_sums(xp, weighted, blocks.cell_starts, 1)  # (rows, cells, k + 1)
    U = xp.concatenate([P[:, :, None] * blocks.fixed[None, :, :], S], axis=2)  # cell sums of all columns and of y
    r = blocks.fixed.shape[1]
    size = r + blocks.loose.shape[1]
    cross = xp.empty((len(theta), size, size))
    cross[:, :r, :] = xp.matmul(blocks.fixed.T[None], U)
    cross[:, r:, :r] = xp.swapaxes(cross[:, :r, r:], 1, 2)
    cross[:, r:, r:] = cross_loose
    shrink = 1.0 + half[:, None] * P
    cross -= xp.matmul(xp.swapaxes(U * (half[:, None] / shrink)[:, :, None], 1, 2), U)
    B = segment_sums(xp, U / shrink[:, :, None], blocks.trial_starts, 1)
    N = segment_sums(xp, P / shrink, blocks.trial_starts, 1)
    shrink_trial = 1.0 + between[:, None] * N
    cross -= xp.matmul(xp.swapaxes(B * (between[:, None] / shrink_trial)[:, :, None], 1, 2), B)
    logdet = xp.log(spread).sum(axis=1) + xp.log(shrink).sum(axis=1) + xp.log(shrink_trial).sum(axis=1)
    return _coefficients(blocks, cross, logdet, theta, sds, scales)


def _coefficients(
    blocks: Blocks,
    cross: Any,
    logdet: Any,
    theta: Array,
    sds: Array,
    scales: Array,
) -> tuple[Array, Array, Array]:
    xp = blocks.xp
    A = cross[:, :-1, :-1] + xp.diag(blocks.prior_precision)[None]
    b, yy = cross[:, :-1, -1], cross[:, -1, -1]
    cov = xp.linalg.inv(A)
    mean = xp.matmul(cov, b[:, :, None])[:, :, 0]
    value = -0.5 * (logdet + yy - (b * mean).sum(axis=1) + xp.linalg.slogdet(A)[1])
    plain = _to_numpy(value) + (theta - 0.5 * (sds / scales) ** 2).sum(axis=1)  # half-normal priors, log scale
    return plain, _to_numpy(mean), _to_numpy(cov)


def _to_numpy(values: Any) -> Array:
    return np.asarray(values.get() if hasattr(values, "get") else values)


def in_chunks(blocks: Blocks, theta: Array, scales: Array) -> tuple[Array, Array, Array]:
    """As many rows at once as fit about 64 MB a working array (more on a GPU), so memory does not grow with the lattice."""
    width = blocks.loose.shape[1] + 1
    cells = len(blocks.cell_starts) * (blocks.fixed.shape[1] + width)
    budget = 8e6 if blocks.xp is np else 6e7
    rows = max(1, int(budget // max(len(blocks.y) * width, cells)))
    parts = [given_spreads(blocks, theta[start : start + rows], scales) for start in range(0, len(theta), rows)]
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))  # type: ignore[return-value]

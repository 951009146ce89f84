"""Thousands of brews by many people in one hierarchical model, in array code that runs on a processor or on a GPU.

    y = intercept + recipe + moderators + trial + (trial x recipe) + brew + error

`y` is the log of an outcome of one brew with its known error variance. The trial's own level takes up the gain of its
assay, its compost and its water, so recipes are compared within trials; `trial x recipe` lets a recipe work
differently in another place; `brew` is what differs between two buckets of the same recipe on the same day. Given the
three standard deviations everything is normal and integrated in closed form, block by block; the three are integrated
on a lattice around their mode.

Every function below takes the array module `xp`: numpy, or cupy on a GPU.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence._hierarchical import Shrunken, _mixture
from aerobe.evidence._spread import Array

SPREADS = ("between trials", "recipe by trial", "between brews")


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyBrews:
    """Brews of many trials as columns."""

    outcome: Array                      # log of the outcome, shape (brews,) [ln]
    variance: Array                     # its squared standard error, shape (brews,)
    trial: Sequence[str]                # which trial, shape (brews,)
    recipe: Sequence[str]               # which recipe, shape (brews,)
    moderators: dict[str, Array] = field(default_factory=dict)   # name -> values, shape (brews,)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeEffect:
    """A recipe against the reference, and what a next trial of the two would find."""

    recipe: str
    against: str
    effect: Shrunken            # [ln ratio]
    next_trial: Shrunken        # true ratio in a next trial [ln ratio]
    probability_better: float
    brews: int
    trials: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyPool:
    """Posterior of the pool of many brews."""

    reference: str
    recipes: tuple[RecipeEffect, ...]
    moderators: dict[str, Shrunken]     # change of the log outcome per unit
    spreads: dict[str, Shrunken]        # standard deviations, by SPREADS; "recipe by trial" is that of a contrast [ln]
    brews: int
    trials: int
    level: float
    lattice_points: int


def array_module(name: str = "numpy") -> Any:
    """numpy, or cupy if it is installed and finds a GPU.

    Raises
    ------
    UnusableRecord
        If a GPU was asked for and cannot be used.
    """
    if name == "numpy":
        return np
    try:
        import cupy
        cupy.cuda.runtime.getDeviceCount()
    except Exception as fault:
        raise UnusableRecord(f"No GPU can be used here ({type(fault).__name__}).", "Leave out the GPU option.") from fault
    return cupy


def pool_brews(
    brews: ManyBrews, *, reference: str = "", level: float = 0.90, effect_prior_sd: float = 1.0,
    spread_scales: tuple[float, float, float] = (1.5, 0.5, 0.7), xp: Any = np,
) -> ManyPool:
    """Pool brews of many trials, recipes and people.

    Parameters
    ----------
    brews
        The columns. Trials with one recipe inform the spreads, not the comparison.
    reference
        Recipe to compare with; the one in most trials if left out.
    level
        Of the intervals. [-]
    effect_prior_sd
        Normal prior of recipe effects and of effects of standardised moderators. [ln ratio]
    spread_scales
        Scales of the half-normal priors of the three spreads, in the order of SPREADS. [ln]
    xp
        numpy or cupy.

    Returns
    -------
    ManyPool
        Recipe effects, moderators and spreads.

    Raises
    ------
    UnusableRecord, NotEnoughData
        If the columns cannot be pooled.

    Source
    ------
    rue-martino-chopin-2009, gelman-2006
    """
    blocks = _Blocks.of(brews, reference, effect_prior_sd, xp)
    scales = np.asarray(spread_scales, dtype=float)
    return _summary(blocks, *_lattice(blocks, scales), level)


@dataclass(slots=True)
class _Blocks:
    """The data sorted into cells (a recipe in a trial) and trials, ready for batches of hyperparameters."""

    xp: Any
    y: Any                  # (brews,)
    v: Any                  # (brews,)
    loose: Any              # moderators and y, which vary within a cell, (brews, k + 1)
    fixed: Any              # intercept and recipe indicators of each cell, (cells, r)
    cell_starts: Any        # first brew of each cell, then the number of brews
    trial_starts: Any       # first cell of each trial, then the number of cells
    prior_precision: Any    # (r + k,)
    names: tuple[str, ...]  # recipes, the reference first
    moderators: tuple[str, ...]
    shift: Array
    scale: Array
    brew_counts: dict[str, int]
    trial_counts: dict[str, int]

    @classmethod
    def of(cls, brews: ManyBrews, reference: str, prior_sd: float, xp: Any) -> _Blocks:
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
        precision[0] = 1e-4                                   # the general level: anything from e-100 to e100
        sizes = {str(name): int(np.sum(recipe_code == code)) for code, name in enumerate(names)}
        return cls(
            xp=xp, y=xp.asarray(y[order]), v=xp.asarray(v[order]), loose=xp.asarray(loose), fixed=xp.asarray(fixed),
            cell_starts=np.concatenate([starts, [len(y)]]), trial_starts=trial_starts, prior_precision=xp.asarray(precision),
            names=(reference, *[str(names[code]) for code in others]), moderators=tuple(brews.moderators), shift=shift,
            scale=scale, brew_counts=sizes, trial_counts=in_trials)


def _columns(brews: ManyBrews) -> tuple[Array, Array, Array, Array, Array]:
    y, v = np.asarray(brews.outcome, dtype=float), np.asarray(brews.variance, dtype=float)
    trial, recipe = np.asarray(brews.trial, dtype=str), np.asarray(brews.recipe, dtype=str)
    M = np.column_stack([np.asarray(item, dtype=float) for item in brews.moderators.values()]) if brews.moderators \
        else np.zeros((len(y), 0))
    if not len(y) == len(v) == len(trial) == len(recipe) == len(M):
        raise UnusableRecord("The columns have different lengths.",
                             "Give every brew an outcome, error, trial, recipe and moderators.")
    bad = ~(np.isfinite(y) & np.isfinite(v) & (v > 0.0) & (np.abs(y) < 100.0) & np.isfinite(M).all(axis=1))
    if bad.any():
        raise UnusableRecord(f"Brew {int(np.argmax(bad)) + 1} has no usable outcome, error or moderator.",
                             "Leave it out, or give finite numbers with an error above zero.")
    if len(set(recipe.tolist())) < 2 or len(set(trial.tolist())) < 2:
        raise NotEnoughData("A pool needs two recipes and two trials at least.", "Import more trials.")
    return y, v, trial, recipe, M


def _segment_sums(xp: Any, values: Any, starts: Any, axis: int) -> Any:
    """Sums over runs of neighbours along one axis. numpy has them ready; on a GPU they are differences of a running sum."""
    if xp is np:
        return np.add.reduceat(values, starts[:-1], axis=axis)
    running = xp.cumsum(values, axis=axis)
    zero = xp.zeros_like(xp.take(running, xp.asarray([0]), axis=axis))
    running = xp.concatenate([zero, running], axis=axis)
    return xp.take(running, xp.asarray(starts[1:]), axis=axis) - xp.take(running, xp.asarray(starts[:-1]), axis=axis)


def _given_spreads(blocks: _Blocks, theta: Array, scales: Array) -> tuple[Array, Array, Array]:
    """Log posterior of each row of log spreads, shape (rows, 3), and mean and covariance of the coefficients there."""
    xp = blocks.xp
    sds = np.exp(theta)
    between, within, brew = (xp.asarray(sds[:, i] ** 2) for i in range(3))
    half = 0.5 * within                                       # a contrast has two cells
    spread = brew[:, None] + blocks.v[None, :]
    p = 1.0 / spread                                          # (rows, brews)
    P = _segment_sums(xp, p, blocks.cell_starts, 1)           # (rows, cells)
    weighted = p[:, :, None] * blocks.loose[None, :, :]
    cross_loose = xp.einsum("gik,il->gkl", weighted, blocks.loose)
    S = _segment_sums(xp, weighted, blocks.cell_starts, 1)    # (rows, cells, k + 1)
    U = xp.concatenate([P[:, :, None] * blocks.fixed[None, :, :], S], axis=2)      # cell sums of all columns and of y
    r = blocks.fixed.shape[1]
    size = r + blocks.loose.shape[1]
    cross = xp.empty((len(theta), size, size))
    cross[:, :r, :] = xp.matmul(blocks.fixed.T[None], U)
    cross[:, r:, :r] = xp.swapaxes(cross[:, :r, r:], 1, 2)
    cross[:, r:, r:] = cross_loose
    shrink = 1.0 + half[:, None] * P
    cross -= xp.matmul(xp.swapaxes(U * (half[:, None] / shrink)[:, :, None], 1, 2), U)
    B = _segment_sums(xp, U / shrink[:, :, None], blocks.trial_starts, 1)
    N = _segment_sums(xp, P / shrink, blocks.trial_starts, 1)
    shrink_trial = 1.0 + between[:, None] * N
    cross -= xp.matmul(xp.swapaxes(B * (between[:, None] / shrink_trial)[:, :, None], 1, 2), B)
    logdet = xp.log(spread).sum(axis=1) + xp.log(shrink).sum(axis=1) + xp.log(shrink_trial).sum(axis=1)
    return _coefficients(blocks, cross, logdet, theta, sds, scales)


def _coefficients(
    blocks: _Blocks, cross: Any, logdet: Any, theta: Array, sds: Array, scales: Array,
) -> tuple[Array, Array, Array]:
    xp = blocks.xp
    A = cross[:, :-1, :-1] + xp.diag(blocks.prior_precision)[None]
    b, yy = cross[:, :-1, -1], cross[:, -1, -1]
    cov = xp.linalg.inv(A)
    mean = xp.matmul(cov, b[:, :, None])[:, :, 0]
    value = -0.5 * (logdet + yy - (b * mean).sum(axis=1) + xp.linalg.slogdet(A)[1])
    plain = _to_numpy(value) + (theta - 0.5 * (sds / scales) ** 2).sum(axis=1)    # half-normal priors, log scale
    return plain, _to_numpy(mean), _to_numpy(cov)


def _to_numpy(values: Any) -> Array:
    return np.asarray(values.get() if hasattr(values, "get") else values)


def _in_chunks(blocks: _Blocks, theta: Array, scales: Array) -> tuple[Array, Array, Array]:
    """As many rows at once as fit about 64 MB a working array (more on a GPU), so memory does not grow with the lattice."""
    width = blocks.loose.shape[1] + 1
    cells = len(blocks.cell_starts) * (blocks.fixed.shape[1] + width)
    budget = 8e6 if blocks.xp is np else 6e7
    rows = max(1, int(budget // max(len(blocks.y) * width, cells)))
    parts = [_given_spreads(blocks, theta[start : start + rows], scales) for start in range(0, len(theta), rows)]
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))  # type: ignore[return-value]


def _lattice(blocks: _Blocks, scales: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Points around the mode of the log spreads, their weights, the coefficients at each, and the width of a mesh."""
    mode, axes = _mode(blocks, scales)
    step, drop = 0.8, 8.0
    seen: dict[tuple[int, ...], float] = {}
    kept: list[tuple[Array, float, Array, Array]] = []
    frontier: list[tuple[int, ...]] = [(0, 0, 0)]
    top = -math.inf
    while frontier and len(seen) < 4000:
        theta = mode + step * np.array(frontier, dtype=float) @ axes.T
        values, means, covs = _in_chunks(blocks, theta, scales)
        top = max(top, float(values.max()))
        ahead: set[tuple[int, ...]] = set()
        for place, value, point, mean, cov in zip(frontier, values, theta, means, covs, strict=True):
            seen[place] = float(value)
            if value < top - drop:
                continue
            kept.append((point, float(value), mean, cov))
            for axis, move in product(range(3), (-1, 1)):
                ahead.add(tuple(place[i] + (move if i == axis else 0) for i in range(3)))
        frontier = sorted(ahead - seen.keys())
    value = np.array([item[1] for item in kept])
    weight = np.exp(value - value.max())
    return (np.array([item[0] for item in kept]), weight / weight.sum(), np.array([item[2] for item in kept]),
            np.array([item[3] for item in kept]), step * np.linalg.norm(axes, axis=1))


def _mode(blocks: _Blocks, scales: Array) -> tuple[Array, Array]:
    """The highest point of the log spreads and the axes of the surface there, one posterior sd long each."""
    from scipy.optimize import minimize

    def loss(theta: Array) -> float:
        return -float(_given_spreads(blocks, np.clip(theta, -12.0, 5.0)[None, :], scales)[0][0])

    found = minimize(loss, np.log(scales * [0.5, 0.4, 0.5]), method="Nelder-Mead",
                     options={"xatol": 1e-3, "fatol": 1e-4, "maxiter": 400})
    mode = np.asarray(found.x)
    h = 0.05
    moves = [(0.0, 0.0, 0.0)] + [tuple(sum(s * h * (k == a) for a, s in pair) for k in range(3))
                                 for i in range(3) for j in range(i + 1) for pair in
                                 ([((i, 1), (j, 1)), ((i, 1), (j, -1)), ((i, -1), (j, 1)), ((i, -1), (j, -1))])]
    values = _in_chunks(blocks, mode + np.array(moves), scales)[0]
    hessian = np.zeros((3, 3))
    spot = 1
    for i in range(3):
        for j in range(i + 1):
            four = values[spot : spot + 4]
            spot += 4
            hessian[i, j] = hessian[j, i] = -(four[0] - four[1] - four[2] + four[3]) / (4 * h * h)
    size, turn = np.linalg.eigh(hessian)
    # A spread that the data leave open has a long left tail: no axis longer than one in log.
    return mode, turn / np.sqrt(np.maximum(size, 1.0))


def _summary(blocks: _Blocks, theta: Array, weight: Array, means: Array, covs: Array, mesh: Array, level: float) -> ManyPool:
    r = len(blocks.names)
    variances = np.diagonal(covs, axis1=1, axis2=2)
    within = np.exp(2.0 * theta[:, 1])
    recipes = tuple(
        RecipeEffect(
            recipe=name, against=blocks.names[0], effect=_mixture(weight, means[:, i], variances[:, i], level),
            next_trial=_mixture(weight, means[:, i], variances[:, i] + within, level),
            probability_better=_above_zero(weight, means[:, i], variances[:, i]), brews=blocks.brew_counts[name],
            trials=blocks.trial_counts[name])
        for i, name in enumerate(blocks.names) if i)
    moderators = {
        name: _mixture(weight, means[:, r + i] / blocks.scale[i], variances[:, r + i] / blocks.scale[i] ** 2, level)
        for i, name in enumerate(blocks.moderators)}
    spreads = {name: _of_lattice(theta[:, i], weight, mesh[i], level) for i, name in enumerate(SPREADS)}
    return ManyPool(
        reference=blocks.names[0], recipes=recipes, moderators=moderators, spreads=spreads, brews=len(blocks.y),
        trials=len(blocks.trial_starts) - 1, level=level, lattice_points=len(weight))


def _above_zero(weight: Array, mean: Array, variance: Array) -> float:
    from scipy.special import ndtr

    return float(weight @ ndtr(mean / np.sqrt(variance)))


def _of_lattice(logs: Array, weight: Array, mesh: float, level: float) -> Shrunken:
    """Mean and sd straight from the lattice; the interval from points smeared over their mesh, or it would jump in steps."""
    values = np.exp(logs)
    mean = float(weight @ values)
    smooth = _mixture(weight, logs, np.full_like(logs, mesh**2 / 12.0), level)
    return Shrunken(mean=mean, sd=math.sqrt(float(weight @ (values - mean) ** 2)), low=math.exp(smooth.low),
                    high=math.exp(smooth.high))

"""Thousands of brews by many people in one hierarchical model, in array code that runs on a processor or on a GPU.

    y = intercept + recipe + moderators + trial + (trial x recipe) + brew + error

`y` is the log of an outcome of one brew with its known error variance. The trial's own level takes up the gain of its
assay, its compost and its water, so recipes are compared within trials; `trial x recipe` lets a recipe work
differently in another place; `brew` is what differs between two buckets of the same recipe on the same day. Given the
three standard deviations everything is normal and integrated in closed form, block by block; the three are integrated
on a lattice around their mode.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from aerobe.errors import UnusableRecord
from aerobe.evidence._blocks import Blocks, ManyBrews, given_spreads, in_chunks
from aerobe.evidence._hierarchical import Shrunken, mixture
from aerobe.evidence._spread import Array
from aerobe.statistics import normal_mixture_below

SPREADS = ("between trials", "recipe by trial", "between brews")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeEffect:
    """A recipe against the reference, and what a next trial of the two would find."""

    recipe: str
    against: str
    effect: Shrunken  # [ln ratio]
    next_trial: Shrunken  # true ratio in a next trial [ln ratio]
    probability_better: float
    brews: int
    trials: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyPool:
    """Posterior of the pool of many brews."""

    reference: str
    recipes: tuple[RecipeEffect, ...]
    moderators: dict[str, Shrunken]  # change of the log outcome per unit
    spreads: dict[str, Shrunken]  # standard deviations, by SPREADS; "recipe by trial" is that of a contrast [ln]
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
    brews: ManyBrews,
    *,
    reference: str = "",
    level: float = 0.90,
    effect_prior_sd: float = 1.0,
    spread_scales: tuple[float, float, float] = (1.5, 0.5, 0.7),
    xp: Any = np,
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
    blocks = Blocks.of(brews, reference, effect_prior_sd, xp)
    scales = np.asarray(spread_scales, dtype=float)
    return _summary(blocks, *_lattice(blocks, scales), level)


def _lattice(blocks: Blocks, scales: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Points around the mode of the log spreads, their weights, the coefficients at each, and the width of a mesh."""
    mode, axes = _mode(blocks, scales)
    step, drop = 0.8, 8.0
    seen: dict[tuple[int, ...], float] = {}
    kept: list[tuple[Array, float, Array, Array]] = []
    frontier: list[tuple[int, ...]] = [(0, 0, 0)]
    top = -math.inf
    while frontier and len(seen) < 4000:
        theta = mode + step * np.array(frontier, dtype=float) @ axes.T
        values, means, covs = in_chunks(blocks, theta, scales)
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
    return (
        np.array([item[0] for item in kept]),
        weight / weight.sum(),
        np.array([item[2] for item in kept]),
        np.array([item[3] for item in kept]),
        step * np.linalg.norm(axes, axis=1),
    )


def _mode(blocks: Blocks, scales: Array) -> tuple[Array, Array]:
    """The highest point of the log spreads and the axes of the surface there, one posterior sd long each."""
    from scipy.optimize import minimize

    def loss(theta: Array) -> float:
        return -float(given_spreads(blocks, np.clip(theta, -12.0, 5.0)[None, :], scales)[0][0])

    found = minimize(
        loss, np.log(scales * [0.5, 0.4, 0.5]), method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-4, "maxiter": 400}
    )
    mode = np.asarray(found.x)
    h = 0.05
    moves = [(0.0, 0.0, 0.0)] + [
        tuple(sum(s * h * (k == a) for a, s in pair) for k in range(3))
        for i in range(3)
        for j in range(i + 1)
        for pair in ([((i, 1), (j, 1)), ((i, 1), (j, -1)), ((i, -1), (j, 1)), ((i, -1), (j, -1))])
    ]
    values = in_chunks(blocks, mode + np.array(moves), scales)[0]
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


def _summary(blocks: Blocks, theta: Array, weight: Array, means: Array, covs: Array, mesh: Array, level: float) -> ManyPool:
    r = len(blocks.names)
    variances = np.diagonal(covs, axis1=1, axis2=2)
    within = np.exp(2.0 * theta[:, 1])
    recipes = tuple(
        RecipeEffect(
            recipe=name,
            against=blocks.names[0],
            effect=mixture(weight, means[:, i], variances[:, i], level),
            next_trial=mixture(weight, means[:, i], variances[:, i] + within, level),
            probability_better=float(normal_mixture_below(0.0, weight, -means[:, i], np.sqrt(variances[:, i]))),
            brews=blocks.brew_counts[name],
            trials=blocks.trial_counts[name],
        )
        for i, name in enumerate(blocks.names)
        if i
    )
    moderators = {
        name: mixture(weight, means[:, r + i] / blocks.scale[i], variances[:, r + i] / blocks.scale[i] ** 2, level)
        for i, name in enumerate(blocks.moderators)
    }
    spreads = {name: _of_lattice(theta[:, i], weight, mesh[i], level) for i, name in enumerate(SPREADS)}
    return ManyPool(
        reference=blocks.names[0],
        recipes=recipes,
        moderators=moderators,
        spreads=spreads,
        brews=len(blocks.y),
        trials=len(blocks.trial_starts) - 1,
        level=level,
        lattice_points=len(weight),
    )


def _of_lattice(logs: Array, weight: Array, mesh: float, level: float) -> Shrunken:
    """Mean and sd straight from the lattice; the interval from points smeared over their mesh, or it would jump in steps."""
    values = np.exp(logs)
    mean = float(weight @ values)
    smooth = mixture(weight, logs, np.full_like(logs, mesh**2 / 12.0), level)
    return Shrunken(
        mean=mean, sd=math.sqrt(float(weight @ (values - mean) ** 2)), low=math.exp(smooth.low), high=math.exp(smooth.high)
    )

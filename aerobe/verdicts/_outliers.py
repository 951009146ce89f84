"""A brew that died: one that stands so far from the others of its arm that no scatter of theirs explains it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
CHANCE = 0.01  # that any brew of a trial is set apart though all scatter normally [-]
LEAST_FACTOR = math.log(3.0)  # and at least so far from its arm (our choice, no source) [-]
# Left by the others in blocks: three of four pairs, alike by luck, would set the fourth apart and be claimed of (counted).
LEAST_DF_IN_BLOCKS = 3.0


def dead_brew(values: Array, layout: Layout) -> int | None:
    """The place of the one brew that does not belong to the others, or None if there is none or more than one.

    Each brew is compared with what the others foretell, by the scatter of the others of its arm (with blocks: by that
    of all others, too).

    Parameters
    ----------
    values
        Log outcomes, shape (brews,). [-]
    layout
        Arms and blocks. [-]

    Source
    ------
    beckman-cook-1983
    """
    found = _farthest(values, layout)
    if found is None:
        return None
    keep = np.arange(len(values)) != found
    rest = layout.subset(keep)
    return None if _farthest(values[keep], rest) is not None else found


def dead_words(results: Sequence[BrewResult], values: Array, dead: int) -> Rival:
    """What is said of the brew at this place, which is left out because it stands so far from the others of its arm."""
    brew = results[dead]
    others = [value for value, result in zip(values, results, strict=True) if result.arm == brew.arm and result is not brew]
    factor = math.exp(float(values[dead]) - float(np.mean(others)))
    return Rival(
        name="dead brew",
        words=f"Brew {brew.brew} read {factor:.2g} times the other brews of {brew.arm} and is left out; the answer with it "
        "stands beside. If a recipe dies now and then, that is part of the recipe.",
        remedy="Look in the notes what went wrong with it; brew one more in its place.",
    )


def _farthest(values: Array, layout: Layout) -> int | None:
    hat = layout.matrix @ layout.inverse
    residual = values - hat @ values
    free = 1.0 - np.diag(hat)
    usable = free > 1e-6
    off = np.where(usable, residual / np.where(usable, free, 1.0), 0.0)
    own = layout.membership @ layout.membership.T
    if layout.is_blocked:
        # A brew that died moves the residuals of its neighbours too, so that all residuals are the yardstick first.
        everyone, df = np.ones_like(own), np.full(len(values), layout.df - 1.0)
        chance = _chance(residual, off, free, everyone, df, usable, LEAST_DF_IN_BLOCKS)
        # Of two brews alone in their block either may be the one: it is the one further from the rest of its arm.
        alone = np.array([abs(v - np.median(values[mates > 0.0])) for v, mates in zip(values, own, strict=True)])
        place = int(np.lexsort((-alone, np.round(np.where(np.abs(off) >= LEAST_FACTOR, chance, 2.0 * len(values)), 12)))[0])
        worst = float(chance[place])
        if abs(off[place]) < LEAST_FACTOR:
            return None
        if layout.n_arms > 2:  # two arms in blocks differ by one set of residuals, and none is noisier than the other
            worst = max(worst, _by_its_own_arm(values, layout, place, float(off[place]), float(free[place])))
        elif len(set(np.round(np.abs(residual[usable]), 9))) <= len(values) / 2:
            worst /= 2.0  # brews in pairs are told by their differences: half as many are tried
    else:
        # The arm's own residuals are the yardstick, so that a noisy arm is measured by its own noise.
        chance = _chance(residual, off, free, own, own.sum(axis=1) - 2.0, usable)
        place = int(np.argmin(np.where(np.abs(off) >= LEAST_FACTOR, chance, 2.0 * len(values))))
        worst = float(chance[place])
    return place if worst < CHANCE and abs(off[place]) >= LEAST_FACTOR else None


def _by_its_own_arm(values: Array, layout: Layout, place: int, off: float, free: float) -> float:
    """Chance that any brew lies so far off, by the residuals of its own arm once it is left out."""
    keep = np.arange(len(values)) != place
    rest = layout.subset(keep)
    residual = values[keep] - rest.matrix @ (rest.inverse @ values[keep])
    mates = rest.membership @ layout.membership[place] > 0.0
    df = rest.df * float(mates.sum()) / len(mates)
    scatter = float(np.sum(residual[mates] ** 2))
    if df < 2.0 or scatter <= 0.0:
        return 1.0
    return float(2.0 * special.stdtr(df, -abs(off) * math.sqrt(free * df / scatter))) * len(values)


def _chance(
    residual: Array, off: Array, free: Array, pool: Array, df: Array, usable: NDArray[np.bool_], least: float = 2.0
) -> Array:
    """Chance that any brew lies so far off as each does, by the residuals of the others in its pool, shape (brews,)."""
    left = pool @ residual**2 - residual * off
    enough = usable & (df >= least) & (left > 0.0)
    t = np.zeros_like(off)
    t[enough] = np.abs(off[enough]) / np.sqrt(left[enough] / df[enough] / free[enough])
    return np.where(enough, 2.0 * special.stdtr(np.maximum(df, 1.0), -t), 1.0) * len(off)

"""A brew that died: one that stands so far from the others of its arm that no scatter of theirs explains it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._core import Layout

Array = NDArray[np.float64]
CHANCE = 0.01  # that any brew of a trial is set apart though all scatter normally [-]
LEAST_FACTOR = math.log(3.0)  # and at least so far from its arm (our choice, no source) [-]


def dead_brew(values: Array, layout: Layout) -> int | None:
    """The place of the one brew that does not belong to the others, or None if there is none or more than one.

    Each brew is compared with what the others foretell, by the scatter of the others of its arm (with blocks: of all others).

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


def _farthest(values: Array, layout: Layout) -> int | None:
    hat = layout.matrix @ np.linalg.pinv(layout.matrix)
    residual = values - hat @ values
    free = 1.0 - np.diag(hat)
    usable = free > 1e-6
    off = np.where(usable, residual / np.where(usable, free, 1.0), 0.0)
    member = layout.membership
    # Outside blocks the arm's own residuals are the yardstick, so that a noisy arm is measured by its own noise.
    pool = np.ones((len(values), len(values))) if layout.is_blocked else member @ member.T
    df = layout.df - 1.0 if layout.is_blocked else pool.sum(axis=1) - 2.0
    left = pool @ residual**2 - residual * off
    df = np.broadcast_to(np.asarray(df, dtype=float), off.shape)
    enough = usable & (df >= 2.0) & (left > 0.0)
    t = np.zeros_like(off)
    t[enough] = np.abs(off[enough]) / np.sqrt(left[enough] / df[enough] / free[enough])
    chance = np.where(enough, 2.0 * special.stdtr(np.maximum(df, 1.0), -t), 1.0) * len(values)
    place = int(np.argmin(np.where(np.abs(off) >= LEAST_FACTOR, chance, 2.0)))
    return place if chance[place] < CHANCE and abs(off[place]) >= LEAST_FACTOR else None

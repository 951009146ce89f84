"""Small trials of several arms or in unequal days: how much one scatter for all may be trusted, counted in the very layout.

Where few brews are spread over days or over many arms, each arm by itself knows next to nothing of its scatter, and a
comparison by its own arms alone gives up most of the power. Here a contrast takes the wider of its own and the common variance,
and its degrees of freedom are those of the t distribution that, in trials drawn in this layout, holds its level whichever arm (or
whichever but one) scatters up to four and a half times as much. Used where that tells more than each arm by itself (`Lending`)
when all arms scatter alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout
from aerobe.verdicts._quadratic import Quadratic, Variances
from aerobe.verdicts._simultaneous import critical_values

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
MOST_DF = 24  # of the common scatter: beyond it each arm knows its own well enough (counted)
MOST_CONTRASTS = 10
APART = 4.5  # how many times the SD of one arm may be that of another, for a claim to hold its level
# Level, and the share of trials that may lie outside whichever arm is the noisy one: a tenth more than it says, for chance.
TOGETHER = ((0.10, 0.12), (0.05, 0.0575), (0.02, 0.024))
# A single interval of 90 % may miss so often as far as it does not stand out, and in all: it holds 87 % or more whichever arm
# scatters up to four times as much (counted), and is widened only where its own variance is so many times the common one.
ALONE, ALONE_IN_ALL, STANDS_OUT = (0.10, 0.16), 0.13, 1.3
LEAST_DF = 1.0  # below this no t table is meant
DRAWS = 6000  # standard error of a share near 5 %: 0.3 points


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallTrial:
    """Degrees of freedom with which the wider of own and common scatter holds its level."""

    alone: Array  # of each contrast by itself, shape (contrasts,)
    apart: Array  # the same where its own variance stands out of the common one
    together: float  # of the bar that all contrasts share


def share_in_small_trial(layout: Layout, contrasts: Array) -> SmallTrial | None:
    """The degrees of freedom to use in this layout, or None where each arm by itself tells as much.

    Parameters
    ----------
    layout
        Arms and at most one grouping. [-]
    contrasts
        Weights of the arms, shape (contrasts, arms). [-]

    Source
    ------
    satterthwaite-1946
    """
    few = 2 <= layout.df <= MOST_DF and len(contrasts) <= MOST_CONTRASTS
    if not few or (layout.n_arms == 2 and not layout.is_blocked):
        return None
    return _counted(_Key(layout, np.ascontiguousarray(contrasts, dtype=float)))


class _Key:
    """A layout and its contrasts, equal where every number is."""

    def __init__(self, layout: Layout, contrasts: Array) -> None:
        self.layout, self.contrasts = layout, contrasts
        self.packed = (layout.matrix.tobytes(), layout.matrix.shape, layout.n_arms, layout.groupings, contrasts.tobytes())

    def __hash__(self) -> int:
        return hash(self.packed)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self.packed == other.packed


@lru_cache(maxsize=512)
def _counted(key: _Key) -> SmallTrial | None:
    layout, design = key.layout, Quadratic.of(key.layout, key.contrasts)
    paired = [len(weights) - 1 for weights in design.within_blocks.values()]
    if not design.known.all() or not design.repeated.all() or (layout.n_arms == 2 and layout.df in paired):
        return None  # an arm brewed once; or pairs and nothing else, which their differences tell exactly
    draws = np.random.default_rng(20111).normal(size=(DRAWS, len(layout.matrix)))
    drawn = [_size(design, layout, draws * (layout.membership @ sds)) for sds in _scatters(layout.n_arms)]
    sizes, out = np.stack([size for size, _ in drawn]), np.stack([own for _, own in drawn])
    most = float(layout.df)

    def critical(level: float, df: float) -> float:
        return float(critical_values(level, design.correlation, np.array(df)))

    largest = sizes.max(axis=2)
    worst = [(1.0 - level, float(np.quantile(largest, 1.0 - allowed, axis=1).max())) for level, allowed in TOGETHER]
    together = _df_that_holds(worst, critical, most)
    alone = np.array([_alone(sizes[:, :, place], most) for place in range(len(key.contrasts))])
    if len(key.contrasts) == 1:
        alone = np.minimum(alone, together)
    apart = np.array([_apart(sizes[:, :, place], out[:, :, place], alone[place]) for place in range(len(key.contrasts))])
    made = SmallTrial(alone=alone, apart=apart, together=together)
    return made if _tells_more(design, layout, draws, together) else None


def _scatters(arms: int) -> list[Array]:
    """SDs of the arms: all alike, one that scatters more, and all but one."""
    found = [np.ones(arms)]
    for arm in range(arms):
        one = np.where(np.arange(arms) == arm, APART, 1.0)
        found += [one, APART / one] if arms > 2 else [one]
    return found


def _size(design: Quadratic, layout: Layout, outcomes: Array) -> tuple[Array, Flags]:
    """Every contrast over its standard error, and whether its own variance stands out, shape (trials, contrasts)."""
    own, common, _ = design.sizes(outcomes, layout)
    return np.asarray(np.abs(outcomes @ design.weights.T) / np.sqrt(np.maximum(own, common))), stands_out(own, common)


def stands_out(own: Array, common: Array) -> Flags:
    """Whether the variance of a contrast by its own arms is clearly more than that by all, any shape."""
    return np.asarray(own > STANDS_OUT * common)


def _single(level: float, df: float) -> float:
    return float(special.stdtrit(df, 0.5 + level / 2.0))


def _alone(sizes: Array, most: float) -> float:
    level, allowed = ALONE
    return _df_that_holds([(1.0 - level, float(np.quantile(sizes, 1.0 - allowed, axis=1).max()))], _single, most)


def _apart(sizes: Array, out: Flags, alone: float) -> float:
    """Degrees of freedom of a contrast that stands out, so that with those that do not it holds as often as it should."""
    level = 1.0 - ALONE[0]
    bound, needed = _single(level, alone), 0.0
    for size, far in zip(sizes, out, strict=True):
        left = round((ALONE_IN_ALL - float((size[~far] > bound).sum()) / len(size)) * len(size))
        ordered = np.sort(size[far])[::-1]
        if 0 < len(ordered) > left:
            needed = max(needed, float(ordered[max(left, 0)]))
    return _df_that_holds([(level, needed)], _single, alone)


def _df_that_holds(worst: list[tuple[float, float]], critical: Callable[[float, float], float], most: float) -> float:
    """The largest degrees of freedom whose critical values reach as far as needed at every level."""
    df = most
    for level, needed in worst:
        low, high = LEAST_DF, df
        if critical(level, high) >= needed:
            continue
        for _ in range(14):
            middle = (low * high) ** 0.5
            low, high = (middle, high) if critical(level, middle) >= needed else (low, middle)
        df = low
    return df


def _tells_more(design: Quadratic, layout: Layout, draws: Array, together: float) -> bool:
    """Whether more is told so than by each arm itself, of a difference that one scatter would tell about 4 times in 5."""
    found = design.variances(draws, layout)
    one = float(critical_values(0.95, design.correlation, np.array(float(layout.df))))
    shifted = draws @ design.weights.T + (one + 0.85) * np.sqrt((design.weights**2).sum(axis=1))
    wider = np.maximum(found.own, found.common)
    bar = float(critical_values(0.95, design.correlation, np.array(together)))
    so = (shifted > bar * np.sqrt(wider)).mean()
    return bool(so > _told_by_each(design, found, shifted))


def _told_by_each(design: Quadratic, found: Variances, shifted: Array) -> float:
    variance, df = design.lending.lend(found.own, found.df, found.arm_variance, found.common)
    return float((shifted > np.sqrt(variance) * critical_values(0.95, design.correlation, df)).mean())

"""Effects where some brews lie below what the test can see, or above what it can show: a likelihood for limits.

The model is that of `fit_effects`; a brew at a limit counts as somewhere beyond it. Without blocks every arm has its own scatter,
with blocks all share one. The posterior under flat priors on the effects is drawn by data augmentation; where no brew is at a
limit it is the t distribution of the textbook.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._beyond_limits import Together, Whole, draw
from aerobe.verdicts._core import Effects, Reach, fit_effects
from aerobe.verdicts._layout import Layout, is_estimable

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
LEAST_SEEN = 2  # brews within range that each arm of a comparison needs
_TAILS = np.array([0.025, 0.05])


def enough_seen(layout: Layout, contrasts: Array, side: Whole) -> Flags:
    """Whether the brews within range can carry each comparison at all, shape (contrasts,).

    Parameters
    ----------
    layout
        Arms and blocks of the brews. [-]
    contrasts
        Weights of the arms, shape (contrasts, arms). [-]
    side
        -1 below what the test sees, +1 above what it shows, 0 within, shape (brews,). [-]
    """
    seen = side == 0
    counts = layout.membership[seen].sum(axis=0)
    many = np.array([bool((counts[np.abs(row) > 1e-12] >= LEAST_SEEN).all()) for row in contrasts])
    if not many.any():
        return many
    inside = layout.subset(seen)
    if layout.subset(seen & _of_arms_used(layout, contrasts[many])).df < LEAST_SEEN:
        return np.zeros_like(many)
    return np.asarray(many & is_estimable(inside, contrasts))


def _of_arms_used(layout: Layout, contrasts: Array) -> Flags:
    return np.asarray(layout.membership @ (np.abs(contrasts).sum(axis=0) > 1e-12) > 0)


def fit_censored(
    outcomes: Array,
    side: Whole,
    layout: Layout,
    contrasts: Array,
    bias_variance: Array | None = None,
    *,
    together: Together | None = None,
    seed: int = 1,
) -> Effects:
    """Contrasts of arms where brews lie at a limit.

    Each contrast is reported as a t distribution to either side of its median, that has the posterior's quantiles at 5 and 2.5 %
    (or 95 and 97.5 %), with no more degrees of freedom than all brews would leave and no fewer than the brews within range do.

    Parameters
    ----------
    outcomes
        Brew means, the limit itself where a brew lies beyond it, shape (brews,). [-]
    side
        -1 below, +1 above, 0 within, shape (brews,); 0 where several count as one and any of them lies within. [-]
    layout, contrasts
        As in `fit_effects`. [-]
    bias_variance
        Variance of each contrast from a bias shared by all brews of an arm, shape (contrasts,). [-]
    together
        The brews behind the outcomes, where several count as one. [-]
    seed
        Same seed, same answer. [-]

    Source
    ------
    tobin-1958, tanner-wong-1987
    """
    # Arms that no contrast can use have no posterior: they stay out.
    kept = _of_arms_used(layout, contrasts[enough_seen(layout, contrasts, side)])
    brews = together or Together(values=outcomes, side=side, of=np.arange(len(outcomes)))
    lost = brews.part.T @ np.abs(brews.side) @ layout.membership  # brews beyond a limit, of each arm
    touched = np.array([bool(lost[np.abs(row) > 1e-12].any()) for row in contrasts])
    here = kept[brews.of]
    brews = Together(values=brews.values[here], side=brews.side[here], of=(np.cumsum(kept) - 1)[brews.of[here]])
    draws = draw(brews, layout.subset(kept), contrasts, seed)
    return summarise(draws.reshape(-1, len(contrasts)), outcomes, side, layout, contrasts, bias_variance, touched)


def summarise(
    draws: Array,
    outcomes: Array,
    side: Whole,
    layout: Layout,
    contrasts: Array,
    bias_variance: Array | None,
    touched: Flags,
) -> Effects:
    """A t distribution to either side of the median of each contrast that covers its draws, shape (draws, contrasts).

    Contrasts that no brew beyond a limit touches are those of `fit_effects`.
    """
    plain = fit_effects(outcomes, layout, contrasts, bias_variance)
    counts = layout.membership[side == 0].sum(axis=0)
    least = np.array([float(counts[np.abs(row) > 1e-12].min()) - 1.0 for row in contrasts])
    bounds = np.maximum(1.0, np.minimum(plain.df, least)), plain.df
    bias = np.zeros(len(contrasts)) if bias_variance is None else bias_variance
    middle = np.median(draws, axis=0)

    def reach(far: Array) -> Reach:
        # Draws all alike have no tails.
        ratio = np.divide(far[0], far[1], out=np.ones_like(middle), where=far[1] > 0.0)
        df = np.where(touched, _df_of_tails(ratio, *bounds), plain.df)
        error = np.sqrt((far / -special.stdtrit(df[None, :], _TAILS[:, None])).max(axis=0) ** 2 + bias)
        return Reach(error=np.where(touched, error, plain.error), df=df, family_df=np.where(touched, df, plain.family_df))

    sides = reach(middle - np.quantile(draws, _TAILS, axis=0)), reach(np.quantile(draws, 1.0 - _TAILS, axis=0) - middle)
    below, above = (one.error * -special.stdtrit(one.df, _TAILS[1]) for one in sides)
    error, df, family_df = (
        np.where(below > above, *(getattr(one, name) for one in sides)) for name in ("error", "df", "family_df")
    )
    return Effects(
        estimate=np.where(touched, middle, plain.estimate),
        error=error,
        df=df,
        family_df=family_df,
        correlation=plain.correlation,
        known=plain.known & (enough_seen(layout, contrasts, side) | ~touched),
        scatter_df=plain.scatter_df,
        scatter=plain.scatter,
        arm_variance=plain.arm_variance,
        sides=sides,
    )


def _df_of_tails(ratio: Array, least: Array, most: Array) -> Array:
    """Degrees of freedom of the t distribution whose quantiles at 2.5 and 5 % have this ratio, between two bounds."""
    tried = np.geomspace(1.0, 1000.0, 200)
    ratios = special.stdtrit(tried, _TAILS[0]) / special.stdtrit(tried, _TAILS[1])
    found = np.interp(-ratio, -ratios, tried)
    return np.asarray(np.clip(found, least, np.maximum(least, most)))

"""Effects where some brews lie below what the test can see, or above what it can show: a likelihood for limits.

The model is that of `fit_effects`; a brew at a limit counts as somewhere beyond it. Without blocks every arm has its own scatter,
with blocks all share one. The posterior under flat priors on the effects and on the log of each scatter is drawn by data
augmentation; where no brew is at a limit it is the t distribution of the textbook.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._core import Effects, fit_effects
from aerobe.verdicts._layout import Layout, is_estimable
from aerobe.verdicts._quadratic import LEAST_VARIANCE

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
LEAST_SEEN = 2  # brews within range that each arm of a comparison needs
CHAINS, WARM_UP, KEPT = 100, 100, 120
_TAILS = np.array([0.025, 0.05])


def enough_seen(layout: Layout, contrasts: Array, side: NDArray[np.int_]) -> Flags:
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
    side: NDArray[np.int_],
    layout: Layout,
    contrasts: Array,
    bias_variance: Array | None = None,
    *,
    seed: int = 1,
) -> Effects:
    """Contrasts of arms where brews lie at a limit.

    Each contrast is reported as the t distribution that has the posterior's quantiles at 5 and 2.5 % on its wider side, with no
    more degrees of freedom than all brews would leave and no fewer than the brews within range do.

    Parameters
    ----------
    outcomes
        Brew means, the limit itself where a brew lies beyond it, shape (brews,). [-]
    side
        -1 below, +1 above, 0 within, shape (brews,). [-]
    layout, contrasts
        As in `fit_effects`. [-]
    bias_variance
        Variance of each contrast from a bias shared by all brews of an arm, shape (contrasts,). [-]
    seed
        Same seed, same answer. [-]

    Source
    ------
    tobin-1958, tanner-wong-1987
    """
    # Arms that no contrast can use have no posterior: they stay out.
    kept = _of_arms_used(layout, contrasts[enough_seen(layout, contrasts, side)])
    inside = layout.subset(kept)
    draws = _draw(np.tile(outcomes[kept], (CHAINS, 1)), np.tile(side[kept], (CHAINS, 1)), inside, contrasts, seed)
    return summarise(draws.reshape(-1, len(contrasts)), outcomes, side, layout, contrasts, bias_variance)


def summarise(
    draws: Array, outcomes: Array, side: NDArray[np.int_], layout: Layout, contrasts: Array, bias_variance: Array | None
) -> Effects:
    """A t distribution for each contrast that covers its draws, shape of the draws (draws, contrasts)."""
    plain = fit_effects(outcomes, layout, contrasts, bias_variance)
    counts = layout.membership[side == 0].sum(axis=0)
    whole = layout.membership.sum(axis=0)
    lost = np.array([float((whole - counts)[np.abs(row) > 1e-12].sum()) for row in contrasts])
    least = np.array([float(counts[np.abs(row) > 1e-12].min()) - 1.0 for row in contrasts])
    middle = np.median(draws, axis=0)
    low = middle - np.quantile(draws, _TAILS, axis=0)
    high = np.quantile(draws, 1.0 - _TAILS, axis=0) - middle
    spread = np.where(low[0] > high[0], low, high)
    ratio = np.divide(spread[0], spread[1], out=np.ones_like(middle), where=spread[1] > 0.0)  # draws all alike have no tails
    df = np.where(lost > 0, _df_of_tails(ratio, np.maximum(1.0, np.minimum(plain.df, least)), plain.df), plain.df)
    reach = -special.stdtrit(df[None, :], _TAILS[:, None])
    error = np.maximum(low / reach, high / reach).max(axis=0)
    if bias_variance is not None:
        error = np.sqrt(error**2 + bias_variance)
    touched = lost > 0
    seen = enough_seen(layout, contrasts, side)
    return Effects(
        estimate=np.where(touched, middle, plain.estimate),
        error=np.where(touched, error, plain.error),
        df=df,
        family_df=np.where(touched, df, plain.family_df),
        correlation=plain.correlation,
        known=plain.known & (seen | ~touched),
        scatter_df=plain.scatter_df,
        scatter=plain.scatter,
        arm_variance=plain.arm_variance,
    )


def _df_of_tails(ratio: Array, least: Array, most: Array) -> Array:
    """Degrees of freedom of the t distribution whose quantiles at 2.5 and 5 % have this ratio, between two bounds."""
    tried = np.geomspace(1.0, 1000.0, 200)
    ratios = special.stdtrit(tried, _TAILS[0]) / special.stdtrit(tried, _TAILS[1])
    found = np.interp(-ratio, -ratios, tried)
    return np.asarray(np.clip(found, least, np.maximum(least, most)))


def _draw(outcomes: Array, side: NDArray[np.int_], layout: Layout, contrasts: Array, seed: int) -> Array:
    """Draws of the contrasts, shape (chains, kept, contrasts); a chain for each row of the outcomes."""
    rng = np.random.default_rng(seed)
    inverse = layout.inverse
    hat = layout.matrix @ inverse
    rows = np.zeros((len(contrasts), layout.matrix.shape[1]))
    rows[:, : contrasts.shape[1]] = contrasts
    weights = rows @ inverse
    groups = np.ones((len(outcomes[0]), 1)) if layout.is_blocked else layout.membership
    df = np.array([layout.df]) if layout.is_blocked else np.maximum(groups.sum(axis=0) - 1.0, 1.0)
    latent = outcomes.copy()
    start = np.maximum(np.std(outcomes, axis=1, keepdims=True), 1e-6)
    latent += side * start * np.abs(rng.normal(size=latent.shape))
    kept = np.empty((KEPT, len(outcomes), len(contrasts)))
    for turn in range(WARM_UP + KEPT):
        fitted = latent @ hat
        sums = ((latent - fitted) ** 2) @ groups
        sd = np.sqrt(np.maximum(sums, LEAST_VARIANCE) / rng.chisquare(df, sums.shape)) @ groups.T
        noise = sd * rng.normal(size=latent.shape)
        mean = fitted + noise @ hat
        if turn >= WARM_UP:
            kept[turn - WARM_UP] = (latent + noise) @ weights.T
        latent = np.where(side == 0, outcomes, _beyond(outcomes, side, mean, sd, rng.random(latent.shape)))
    return np.moveaxis(kept, 0, 1)


def _beyond(limit: Array, side: NDArray[np.int_], mean: Array, sd: Array, uniform: Array) -> Array:
    """Draws of normal values beyond their limits, on the side told."""
    direction = np.where(side == 0, 1, side)
    z = direction * (limit - mean) / sd
    tail = special.ndtr(-z)
    inside = -special.ndtri(np.maximum(uniform * tail, 1e-300))
    # Far out the tail is exponential, and its quantile function fails before its logarithm does.
    far = np.maximum(z, 0.0) + -np.log(uniform) / np.maximum(z, 1.0)
    drawn = np.where(tail > 1e-250, inside, far)
    return np.asarray(mean + direction * sd * np.maximum(drawn, z))

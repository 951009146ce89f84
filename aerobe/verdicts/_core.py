"""The heart of a verdict: effects of arms on brew means, with a scatter of its own for each arm.

One function serves a verdict and ten thousand simulated verdicts: outcomes may carry a leading axis of trials.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout
from aerobe.verdicts._quadratic import quadratic_of
from aerobe.verdicts._small_trials import share_in_small_trial, stands_out

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How well contrasts are known to one side of their estimate; leading axes are simulated trials."""

    error: Array  # standard error, shape (..., contrasts)
    df: Array  # of each contrast by itself, shape (..., contrasts)
    family_df: Array  # of each contrast in the bar that all share, shape (..., contrasts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Several contrasts of arms: estimate, standard error and degrees of freedom of each.

    Arrays carry leading axes of simulated trials where the outcomes did. Where results lie at a limit an effect is known
    better to one side than to the other: `sides` then holds both, and error and df are those of the wider.
    """

    estimate: Array  # shape (..., contrasts)
    error: Array  # standard error, shape (..., contrasts)
    df: Array  # of each contrast by itself, shape (..., contrasts)
    family_df: Array  # of each contrast in the bar that all share, shape (..., contrasts)
    correlation: Array  # of the contrasts if all arms scattered alike, shape (contrasts, contrasts)
    known: NDArray[np.bool_]  # whether the scatter that each contrast needs can be estimated at all, shape (contrasts,)
    scatter_df: int  # brews less effects
    scatter: Array  # variance of a brew mean, averaged over the arms by their degrees of freedom, shape (...)
    arm_variance: Array  # of a brew mean in each arm, shape (..., arms)
    sides: tuple[Reach, Reach] | None = None  # below and above the estimate, where they differ

    @property
    def below(self) -> Reach:
        """How well each contrast is known below its estimate."""
        return self.sides[0] if self.sides else Reach(error=self.error, df=self.df, family_df=self.family_df)

    @property
    def above(self) -> Reach:
        """How well each contrast is known above its estimate."""
        return self.sides[1] if self.sides else self.below

    def probability_above(self, bound: float) -> Array:
        """Probability that each contrast exceeds the bound, read off its t distribution, shape (..., contrasts)."""
        away, under = self.estimate - bound, self.estimate > bound
        error, df = (np.where(under, getattr(self.below, name), getattr(self.above, name)) for name in ("error", "df"))
        return np.asarray(special.stdtr(df, away / error))

    def mean(self) -> Array:
        """Centre of each contrast, shape (..., contrasts)."""
        return self.estimate

    def quantile(self, probability: float) -> Array:
        """Limit of the one-sided interval of each contrast, shape (..., contrasts)."""
        side = self.below if probability < 0.5 else self.above
        return np.asarray(self.estimate + side.error * special.stdtrit(side.df, probability))


def fit_effects(outcomes: Array, layout: Layout, contrasts: Array, bias_variance: Array | None = None) -> Effects:
    """Contrasts of arms from one value for each brew, every arm with a scatter of its own.

    The model of a brew mean is y = arm + block + e, with var(e) free for each arm; blocks are fixed. Effects are least squares.
    The variances of the arms are the unbiased quadratic estimates from the residuals, and each contrast gets Satterthwaite's
    degrees of freedom. Without blocks this is Welch's comparison. Arms that stand side by side, once in each block, are compared
    by their differences within blocks: the paired t test, exact whatever the scatter of any arm. Arms that scatter alike lend
    each other degrees of freedom (see `Lending`). With two groupings (a Latin
    square) a contrast gets the wider of its own and the common scatter: errors then hold at 5 % where one arm scatters up to
    twice as much, and reach 7 % at three times (counted). Brews are equally weighted however often each was tested.

    Parameters
    ----------
    outcomes
        Brew means, log scale for ratios, shape (..., brews). [-]
    layout
        Arms and blocks of the brews. [-]
    contrasts
        Weights of the arms, shape (contrasts, arms). [-]
    bias_variance
        Variance of each contrast from a bias shared by all brews of an arm, shape (contrasts,). [-]

    Returns
    -------
    Effects
        A t distribution for each contrast. [-]

    Source
    ------
    welch-1947, satterthwaite-1946, rao-1971
    """
    design = quadratic_of(layout, contrasts)
    found = design.variances(outcomes, layout)
    together: float | None = None
    if len(layout.groupings) > 1:
        # Days and vessels together leave too little to know each arm by itself: the wider of its and the common scatter. A square
        # of three tells the common one alone; counted, 3.6 to 4.3 % false claims of a family, one arm up to three times as noisy.
        variance = np.where(design.known, np.maximum(found.own, found.common), found.common)
        df = np.full_like(found.df, max(layout.df, 1))
    elif (small := share_in_small_trial(layout, contrasts)) is not None:
        variance, together = np.maximum(found.own, found.common), small.together
        df = np.where(stands_out(found.own, found.common), small.apart, small.alone)
    else:
        variance, df = design.lending.lend(found.own, found.df, found.arm_variance, found.common)
    error = np.sqrt(variance)
    family_df = df if together is None else np.full_like(found.df, together)
    if bias_variance is not None and np.any(bias_variance > 0):
        _, family_df = widen(error, family_df, bias_variance)
        error, df = widen(error, df, bias_variance)
    return Effects(
        estimate=np.asarray(outcomes @ design.weights.T),
        error=error,
        df=df,
        family_df=family_df,
        correlation=design.correlation,
        known=design.known | ((len(layout.groupings) > 1) & design.repeated),
        scatter_df=layout.df,
        scatter=np.asarray(found.common[..., 0] / (design.weights[0] ** 2).sum()),
        arm_variance=found.arm_variance,
    )


def widen(scale: Array, df: Array, known_variance: Array) -> tuple[Array, Array]:
    """A t distribution plus an independent normal one, as the t distribution of matched effective degrees of freedom.

    Source
    ------
    welch-satterthwaite-gum
    """
    total = scale**2 + known_variance
    return np.sqrt(total), np.asarray(df * (total / scale**2) ** 2)

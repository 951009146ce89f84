"""The heart of a verdict: effects of arms on brew means, with a scatter of its own for each arm.

One function serves a verdict and ten thousand simulated verdicts: outcomes may carry a leading axis of trials.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._lending import Lending

Array = NDArray[np.float64]
LEAST_VARIANCE = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Which brew belongs to which arm, block and column, as a design matrix: arms first, then block dummies."""

    matrix: Array  # shape (brews, arms + dummies) [-]
    n_arms: int
    groupings: tuple[tuple[str, ...], ...] = ()  # labels of every grouping taken out, one for each brew

    @property
    def rank(self) -> int:
        """Number of effects that the layout can tell apart."""
        return int(np.linalg.matrix_rank(self.matrix.T @ self.matrix, hermitian=True))

    @property
    def df(self) -> int:
        """Degrees of freedom left for the scatter between brews."""
        return int(self.matrix.shape[0]) - self.rank

    @property
    def is_blocked(self) -> bool:
        """Whether anything beside the arms is taken out."""
        return int(self.matrix.shape[1]) > self.n_arms

    def subset(self, keep: NDArray[np.bool_]) -> Layout:
        """The layout of some of the brews, shape of `keep` (brews,)."""
        kept = tuple(tuple(label for label, kept in zip(labels, keep, strict=True) if kept) for labels in self.groupings)
        return Layout(matrix=self.matrix[keep], n_arms=self.n_arms, groupings=kept)

    @property
    def membership(self) -> Array:
        """1 where a brew belongs to an arm, shape (brews, arms). [-]"""
        return self.matrix[:, : self.n_arms]


def lay_out(arms: Sequence[int], *groupings: Sequence[str]) -> Layout:
    """The design matrix of brews in arms (counted from 0) and in any number of groupings such as day and vessel.

    A grouping in which all brews share one label, or in which every brew has its own, carries no block and is left out.
    """
    n_arms = max(arms) + 1
    columns = [np.equal(arms, arm).astype(float) for arm in range(n_arms)]
    used = tuple(tuple(labels) for labels in groupings if 1 < len(set(labels)) < len(labels))
    for labels in used:
        columns += [np.array([label == one for label in labels], dtype=float) for one in sorted(set(labels))[1:]]
    return Layout(matrix=np.column_stack(columns), n_arms=n_arms, groupings=used)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Several contrasts of arms: estimate, standard error and degrees of freedom of each.

    Arrays carry leading axes of simulated trials where the outcomes did.
    """

    estimate: Array  # shape (..., contrasts)
    error: Array  # standard error, shape (..., contrasts)
    df: Array  # of each contrast, shape (..., contrasts)
    correlation: Array  # of the contrasts if all arms scattered alike, shape (contrasts, contrasts)
    known: NDArray[np.bool_]  # whether the scatter that each contrast needs can be estimated at all, shape (contrasts,)
    scatter_df: int  # brews less effects
    scatter: Array  # variance of a brew mean, averaged over the arms by their degrees of freedom, shape (...)
    arm_variance: Array  # of a brew mean in each arm, shape (..., arms)

    def probability_above(self, bound: float) -> Array:
        """Probability that each contrast exceeds the bound, read off its t distribution, shape (..., contrasts)."""
        return np.asarray(special.stdtr(self.df, (self.estimate - bound) / self.error))

    def mean(self) -> Array:
        """Centre of each contrast, shape (..., contrasts)."""
        return self.estimate

    def quantile(self, probability: float) -> Array:
        """Limit of the one-sided interval of each contrast, shape (..., contrasts)."""
        return np.asarray(self.estimate + self.error * special.stdtrit(self.df, probability))


def is_estimable(layout: Layout, contrasts: Array) -> NDArray[np.bool_]:
    """Whether each contrast of arms can be told apart from blocks, shape (contrasts,)."""
    rows = _padded(layout, contrasts)
    projector = np.linalg.pinv(layout.matrix) @ layout.matrix
    return np.asarray(np.abs(rows @ projector - rows).max(axis=1) < 1e-8)


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
    design, left = _Quadratic.of(layout, contrasts), layout.df
    least_one = max(left, 1)
    residual = outcomes @ design.residual.T
    sums = (residual**2) @ layout.membership
    arm_variance = np.maximum(sums @ design.unmix.T, 0.0)
    variance = np.maximum(arm_variance @ design.shares.T, LEAST_VARIANCE)
    spread = np.einsum("...a,cab,...b->...c", arm_variance, design.products, arm_variance)
    df = np.clip(variance**2 / np.maximum(spread, LEAST_VARIANCE), 1.0, least_one)
    df = df ** (1.0 - design.caution) * np.minimum(df, design.least_df) ** design.caution
    for place, block_weights in design.within_blocks.items():
        differences = outcomes @ block_weights.T
        variance[..., place] = np.maximum(differences.var(axis=-1, ddof=1) / len(block_weights), LEAST_VARIANCE)
        df[..., place] = len(block_weights) - 1.0
    common = sums.sum(axis=-1)[..., None] / least_one * (design.weights**2).sum(axis=1)
    if len(layout.groupings) <= 1:
        variance, df = design.lending.lend(variance, df, arm_variance, common)
    else:
        # Days and vessels together leave too little to know each arm by itself: the wider of its and the common scatter. A square
        # of three tells the common one alone; counted, 3.6 to 4.3 % false claims of a family, one arm up to three times as noisy.
        variance = np.where(design.known, np.maximum(variance, common), common)
        df = np.full_like(df, least_one)
    error = np.sqrt(variance)
    if bias_variance is not None and np.any(bias_variance > 0):
        error, df = widen(error, df, bias_variance)
    return Effects(
        estimate=np.asarray(outcomes @ design.weights.T),
        error=error,
        df=df,
        correlation=design.correlation,
        known=design.known | ((len(layout.groupings) > 1) & design.repeated),
        scatter_df=left,
        scatter=np.asarray(sums.sum(axis=-1) / least_one),
        arm_variance=arm_variance,
    )


def widen(scale: Array, df: Array, known_variance: Array) -> tuple[Array, Array]:
    """A t distribution plus an independent normal one, as the t distribution of matched effective degrees of freedom.

    Source
    ------
    welch-satterthwaite-gum
    """
    total = scale**2 + known_variance
    return np.sqrt(total), np.asarray(df * (total / scale**2) ** 2)


@dataclass(frozen=True, slots=True)
class _Quadratic:
    """What estimates the variance of each contrast from squared residuals; it depends on the layout alone."""

    residual: Array  # projector on what arms and blocks leave, shape (brews, brews)
    weights: Array  # of the brews in each contrast, shape (contrasts, brews)
    shares: Array  # of each arm's variance in that of a contrast, shape (contrasts, arms)
    unmix: Array  # from sums of squared residuals of each arm to the variances of the arms, shape (arms, arms)
    products: Array  # variance of the estimated variance from products of variances, half of it, shape (contrasts, arms, arms)
    correlation: Array
    known: NDArray[np.bool_]
    repeated: NDArray[np.bool_]  # whether every arm of each contrast was brewed twice or more, shape (contrasts,)
    caution: Array  # how far the degrees of freedom move towards those of the smallest arm, shape (contrasts,)
    least_df: Array
    within_blocks: dict[int, Array]  # contrasts of arms that stand once in each block: their weights, shape (blocks, brews)
    lending: Lending

    @classmethod
    def of(cls, layout: Layout, contrasts: Array) -> _Quadratic:
        inverse = np.linalg.pinv(layout.matrix)
        residual = np.eye(len(layout.matrix)) - layout.matrix @ inverse
        weights = _padded(layout, contrasts) @ inverse
        member = layout.membership
        shares = weights**2 @ member
        mixed = member.T @ residual**2 @ member
        unmix = np.asarray(np.linalg.pinv(mixed, rcond=1e-9, hermitian=True), dtype=np.float64)
        loads = shares @ unmix
        forms = np.array([(residual * (member @ load)) @ residual for load in loads])
        products = member.T @ forms**2 @ member
        covariance = weights @ weights.T
        size = np.sqrt(np.diag(covariance))
        caution, least = _caution(layout, contrasts)
        return cls(
            residual=residual,
            weights=weights,
            shares=shares,
            unmix=unmix,
            products=products,
            correlation=covariance / np.outer(size, size),
            known=np.asarray(np.abs(loads @ mixed - shares).max(axis=1) < 1e-6 * shares.max(axis=1)),
            repeated=np.array([bool(member.sum(axis=0)[np.abs(row) > 1e-12].min() > 1.0) for row in contrasts]),
            caution=caution,
            least_df=least,
            within_blocks={
                place: found for place, row in enumerate(contrasts) if (found := _within_blocks(layout, row)) is not None
            },
            lending=Lending(
                counts=member.sum(axis=0),
                blocked=layout.is_blocked,
                df=max(len(residual) - round(np.trace(layout.matrix @ inverse)), 1),
            ),
        )


def _within_blocks(layout: Layout, row: Array) -> Array | None:
    """The contrast inside each block, shape (blocks, brews), if its arms stand once in each of two blocks or more.

    With two arms in all, blocks that hold only one of them are passed over: they tell nothing.
    """
    if len(layout.groupings) != 1:
        return None
    labels = np.array(layout.groupings[0])
    involved = np.flatnonzero(np.abs(row) > 1e-12)
    places = [np.flatnonzero(layout.membership[:, arm]) for arm in involved]
    if layout.n_arms == 2 and len(places) == 2:
        # A block that holds one of the two arms alone tells nothing about their difference.
        both = set(labels[places[0]]) & set(labels[places[1]])
        places = [own[[label in both for label in labels[own]]] for own in places]
    blocks = sorted(set(labels[places[0]]))
    if len(blocks) < 2 or any(sorted(labels[own]) != blocks for own in places):
        return None
    weights = np.zeros((len(blocks), len(labels)))
    for arm, own in zip(involved, places, strict=True):
        for brew in own:
            weights[blocks.index(labels[brew]), brew] = row[arm]
    return weights


def _caution(layout: Layout, contrasts: Array) -> tuple[Array, Array]:
    """Satterthwaite's degrees of freedom promise too much where an arm of two or three brews meets a larger one.

    Counted over 100,000 trials each of 2 to 12 brews an arm and SDs up to fourfold apart: 5 % claims are then 6 to 12 % false.
    The geometric mean with the degrees of freedom of the smallest arm mends three brews, two beside at most four, and four or
    five beside half as many again; two beside more take those of the smallest arm, whose comparison never claims too often
    (mickey-brown-1966).
    """
    counts = layout.membership.sum(axis=0)
    caution, least = [], []
    for row in contrasts:
        involved = counts[np.abs(row) > 1e-12]
        small, large = float(involved.min()), float(involved.max())
        least.append(max(1.0, small - 1.0))
        uneven = small < large and (small <= 3.0 or (small <= 5.0 and large >= 1.5 * small))
        caution.append(0.0 if not uneven else 1.0 if small <= 2.0 and large > 4.0 else 0.5)
    return np.array(caution), np.array(least)


def _padded(layout: Layout, contrasts: Array) -> Array:
    rows = np.zeros((contrasts.shape[0], layout.matrix.shape[1]))
    rows[:, : contrasts.shape[1]] = contrasts
    return rows

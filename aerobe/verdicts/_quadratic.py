"""What estimates the variance of contrasts from squared residuals: it depends on the layout alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._layout import Layout, padded
from aerobe.verdicts._lending import Lending

Array = NDArray[np.float64]
LEAST_VARIANCE = 1e-300


@dataclass(frozen=True, slots=True)
class Variances:
    """What the residuals tell of the variance of each contrast; leading axes are trials."""

    own: Array  # by the arms of each contrast themselves, shape (..., contrasts)
    df: Array  # of that
    common: Array  # if all arms scatter alike, shape (..., contrasts)
    arm_variance: Array  # shape (..., arms)


@dataclass(frozen=True, slots=True)
class Quadratic:
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

    def variances(self, outcomes: Array, layout: Layout) -> Variances:
        """What the residuals of each trial tell of the variances, outcomes of shape (..., brews)."""
        own, common, arm_variance = self.sizes(outcomes, layout)
        by_arms = np.maximum(arm_variance @ self.shares.T, LEAST_VARIANCE)
        spread = np.einsum("...a,cab,...b->...c", arm_variance, self.products, arm_variance)
        df = np.clip(by_arms**2 / np.maximum(spread, LEAST_VARIANCE), 1.0, max(layout.df, 1))
        df = df ** (1.0 - self.caution) * np.minimum(df, self.least_df) ** self.caution
        for place, block_weights in self.within_blocks.items():
            df[..., place] = len(block_weights) - 1.0
        return Variances(own=own, df=df, common=common, arm_variance=arm_variance)

    def sizes(self, outcomes: Array, layout: Layout) -> tuple[Array, Array, Array]:
        """Own and common variance of each contrast, and the variance of each arm."""
        sums = ((outcomes @ self.residual.T) ** 2) @ layout.membership
        arm_variance = np.maximum(sums @ self.unmix.T, 0.0)
        own = np.maximum(arm_variance @ self.shares.T, LEAST_VARIANCE)
        for place, block_weights in self.within_blocks.items():
            count = len(block_weights)
            differences = outcomes @ block_weights.T
            away = differences - differences.mean(axis=-1, keepdims=True)
            own[..., place] = np.maximum((away**2).sum(axis=-1) / (count * (count - 1.0)), LEAST_VARIANCE)
        common = sums.sum(axis=-1)[..., None] / max(layout.df, 1) * (self.weights**2).sum(axis=1)
        return own, common, arm_variance

    @classmethod
    def of(cls, layout: Layout, contrasts: Array) -> Quadratic:
        inverse = layout.inverse
        residual = np.eye(len(layout.matrix)) - layout.matrix @ inverse
        weights = padded(layout, contrasts) @ inverse
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
                blocked=bool(layout.groupings),
                df=max(len(residual) - round(np.trace(layout.matrix @ inverse)), 1),
            ),
        )


def quadratic_of(layout: Layout, contrasts: Array) -> Quadratic:
    """That of a layout, worked out once where the same is asked again."""
    rows = np.asarray(contrasts, dtype=np.float64)
    return _kept(layout, rows.tobytes(), rows.shape)


@lru_cache
def _kept(layout: Layout, rows: bytes, shape: tuple[int, ...]) -> Quadratic:
    return Quadratic.of(layout, np.frombuffer(rows).reshape(shape))


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

"""The heart of a verdict: effects of arms on brew means, with the scale of the scatter integrated out in closed form.

One function serves a verdict and ten thousand simulated verdicts: outcomes may carry a leading axis of trials.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

# Gauss-Legendre nodes on (0, 1) for the share of the scatter of brew means that comes from the brews themselves.
_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(14)
SHARES: Array = 0.5 * (_NODES + 1.0)
SHARE_WEIGHTS: Array = 0.5 * _NODE_WEIGHTS
# How well the variance of testing is known, as an SD of its log: about what eight replicate tests tell.
TEST_VARIANCE_LOG_SD = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Which brew belongs to which arm, block and column, as a design matrix: arms first, then block dummies."""

    matrix: Array  # shape (brews, arms + dummies) [-]
    n_arms: int

    @property
    def rank(self) -> int:
        """Number of effects that the layout can tell apart."""
        return int(np.linalg.matrix_rank(self.matrix))

    @property
    def df(self) -> int:
        """Degrees of freedom left for the scatter between brews."""
        return int(self.matrix.shape[0]) - self.rank


def lay_out(arms: Sequence[int], *groupings: Sequence[str]) -> Layout:
    """The design matrix of brews in arms (counted from 0) and in any number of groupings such as day and vessel.

    A grouping in which all brews share one label, or in which every brew has its own, carries no block and is left out.
    """
    n_arms = max(arms) + 1
    columns = [np.equal(arms, arm).astype(float) for arm in range(n_arms)]
    for labels in groupings:
        distinct = sorted(set(labels))
        if 1 < len(distinct) < len(labels):
            columns += [np.array([label == one for label in labels], dtype=float) for one in distinct[1:]]
    return Layout(matrix=np.column_stack(columns), n_arms=n_arms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """The posterior of several contrasts: at each node of the share, a t distribution; nodes weighted by their likelihood.

    Arrays carry leading axes of simulated trials where the outcomes did.
    """

    loc: Array  # shape (..., nodes, contrasts)
    scale: Array  # shape (..., nodes, contrasts)
    weight: Array  # shape (..., nodes)
    df: Array  # shape (..., nodes, contrasts)
    correlation: Array  # of the contrasts at the average node, shape (contrasts, contrasts)
    scatter_df: int  # of the residual scatter
    scatter: Array  # residual variance of a brew mean, at the average weights, shape (...)

    def probability_above(self, bound: float) -> Array:
        """Posterior probability that each contrast exceeds the bound, shape (..., contrasts)."""
        tail = special.stdtr(self.df, (self.loc - bound) / self.scale)
        return np.asarray((tail * self.weight[..., None]).sum(axis=-2))

    def mean(self) -> Array:
        """Centre of each contrast, shape (..., contrasts)."""
        return np.asarray((self.loc * self.weight[..., None]).sum(axis=-2))

    def quantile(self, probability: float) -> Array:
        """Posterior quantile of each contrast, shape (..., contrasts)."""
        if self.loc.shape[-2] == 1:
            # The quantile function is slow: many simulated trials share one number of degrees of freedom.
            first = self.df.flat[0]
            df = first if np.all(self.df == first) else self.df
            return np.asarray((self.loc + self.scale * special.stdtrit(df, probability))[..., 0, :])
        reach = np.abs(special.stdtrit(np.minimum(self.df, 1.0), min(probability, 1 - probability) / 2)) + 1.0
        low = (self.loc - self.scale * reach).min(axis=-2)
        high = (self.loc + self.scale * reach).max(axis=-2)
        for _ in range(48):
            middle = 0.5 * (low + high)
            below = special.stdtr(self.df, (middle[..., None, :] - self.loc) / self.scale)
            is_low = (below * self.weight[..., None]).sum(axis=-2) < probability
            low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
        return np.asarray(0.5 * (low + high))


def is_estimable(layout: Layout, contrasts: Array) -> NDArray[np.bool_]:
    """Whether each contrast of arms can be told apart from blocks, shape (contrasts,)."""
    rows = _padded(layout, contrasts)
    projector = np.linalg.pinv(layout.matrix) @ layout.matrix
    return np.asarray(np.abs(rows @ projector - rows).max(axis=1) < 1e-8)


def fit_effects(
    outcomes: Array, layout: Layout, contrasts: Array, test_variance: Array | None = None, bias_variance: Array | None = None
) -> Effects:
    """Posterior of contrasts of arms from one value for each brew.

    The model of a brew mean is y = arm + block + brew + test error. Its variance is tau (q + (1 - q) e / mean(e)),
    where e is the variance that testing adds, tau the overall scale and q the share of the brews. Priors: flat on the
    effects, 1/tau on the scale; q follows from the known size of e, to within a factor. With equal testing of all brews
    this is the t distribution of the textbook at any true q, so its intervals keep their promise in repeated use. The
    number of tests never adds degrees of freedom.

    Parameters
    ----------
    outcomes
        Brew means, log scale for ratios, shape (..., brews). [-]
    layout
        Arms and blocks of the brews. [-]
    contrasts
        Weights of the arms, shape (contrasts, arms). [-]
    test_variance
        Variance that testing adds to each brew mean, shape (brews,). None: equal for all. [-]
    bias_variance
        Variance of each contrast from a bias shared by all brews of an arm, shape (contrasts,). [-]

    Returns
    -------
    Effects
        Mixture of t distributions. [-]

    Source
    ------
    box-tiao-1973, welch-satterthwaite-gum
    """
    rows = _padded(layout, contrasts)
    shapes, prior = _variance_shapes(layout.matrix.shape[0], test_variance)
    df = layout.df
    per_node = [_one_node(outcomes, layout.matrix, rows, shape) for shape in shapes]
    loc = np.stack([node[0] for node in per_node], axis=-2)
    unit = np.stack([np.sqrt(np.diag(node[1])) for node in per_node])  # (nodes, contrasts)
    rss = np.stack([node[2] for node in per_node], axis=-1)  # (..., nodes)
    tau = np.maximum(rss / df, 1e-300)
    weight = _node_weights(prior, per_node, rss, df, test_variance)
    scale = np.sqrt(tau)[..., None] * unit
    dfs = np.full(scale.shape, float(df))
    if bias_variance is not None and np.any(bias_variance > 0):
        scale, dfs = widen(scale, dfs, bias_variance)
    covariance = np.mean([node[1] for node in per_node], axis=0)
    spread = np.sqrt(np.diag(covariance))
    return Effects(
        loc=loc,
        scale=scale,
        weight=weight,
        df=dfs,
        correlation=covariance / np.outer(spread, spread),
        scatter_df=df,
        scatter=np.asarray((tau * weight).sum(axis=-1)),
    )


def widen(scale: Array, df: Array, known_variance: Array) -> tuple[Array, Array]:
    """A t distribution plus an independent normal one, as the t distribution of matched effective degrees of freedom.

    Source
    ------
    welch-satterthwaite-gum
    """
    total = scale**2 + known_variance
    return np.sqrt(total), np.asarray(df * (total / scale**2) ** 2)


def _padded(layout: Layout, contrasts: Array) -> Array:
    rows = np.zeros((contrasts.shape[0], layout.matrix.shape[1]))
    rows[:, : contrasts.shape[1]] = contrasts
    return rows


def _variance_shapes(n: int, test_variance: Array | None) -> tuple[list[Array], Array]:
    """Relative variances of the brew means at each node, and the prior weight of the nodes."""
    if test_variance is None or test_variance.mean() <= 0 or np.ptp(test_variance) < 1e-9 * test_variance.mean():
        return [np.ones(n)], np.ones(1)
    relative = test_variance / test_variance.mean()
    return [share + (1.0 - share) * relative for share in SHARES], SHARE_WEIGHTS


def _one_node(outcomes: Array, matrix: Array, rows: Array, shape: Array) -> tuple[Array, Array, Array, float]:
    """Estimates, their unit covariance, the residual sum of squares and the log determinant terms at one node."""
    root = 1.0 / np.sqrt(shape)
    left, singular, right = np.linalg.svd(matrix * root[:, None], full_matrices=False)
    kept = singular > singular.max() * 1e-10
    left, singular, right = left[:, kept], singular[kept], right[kept]
    white = outcomes * root
    scores = white @ left
    to_contrast = rows @ (right.T / singular)
    residual = white - scores @ left.T
    log_det = float(-0.5 * np.log(shape).sum() - np.log(singular).sum())
    return scores @ to_contrast.T, to_contrast @ to_contrast.T, np.asarray((residual**2).sum(axis=-1)), log_det


def _node_weights(
    prior: Array, nodes: list[tuple[Array, Array, Array, float]], rss: Array, df: int, test_variance: Array | None
) -> Array:
    if len(nodes) == 1 or test_variance is None:
        return np.ones(rss.shape)
    log_weight = np.log(prior) + np.array([node[3] for node in nodes]) - 0.5 * df * np.log(np.maximum(rss, 1e-300))
    # The variance of testing is known in size, not only in proportion: a share is believable where it leaves that much of the
    # scatter to testing. Only the weights of unequally tested brews depend on this, never the scale.
    left_to_testing = np.log(np.maximum(rss / df, 1e-300)) + np.log1p(-SHARES) - np.log(test_variance.mean())
    log_weight = log_weight - 0.5 * (left_to_testing / TEST_VARIANCE_LOG_SD) ** 2
    weight = np.exp(log_weight - log_weight.max(axis=-1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))

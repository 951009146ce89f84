"""What a person's earlier brews teach about the next one: partial pooling in closed form.

The scores of brew i are z_i = u + e_i. What the person's brews share, u ~ N(0, V), and what is this brew's own,
e_i ~ N(0, I - V), add up to the prior of a first brew. V is diagonal: each term says how much of its spread is shared,
given what the brews have in common. The posterior of each earlier brew is taken as normal; what its data alone said is the
posterior's precision less the prior's (lindley-smith-1972).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._habit import Taught
from aerobe.inference._prior import N_TERMS, NAMES

Array = NDArray[np.float64]

# Share of a term's prior variance that brews with the same compost, recipe or vessel have in common; assumed, and kept
# below 0.8 so that no number of brews makes the next one certain. Only what means the same under any law is shared: what
# lives at the start, the air, the cold. How fast it grows, how much there is to eat and what ends a brew belong to the law; a
# wrong one would be learned again and again, so what brews teach of that is learned from their courses (`_habit`).
_COMPOST = {
    "bacteria_mg_c_per_g_compost": 0.6,
    "fungi_to_bacteria": 0.6,
}
_RECIPE: dict[str, float] = {}
_VESSEL = {"kla_factor": 0.7}
_ALWAYS = {"growth_minimum_degc": 0.7, "half_oxygen_mg_per_l": 0.7}


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """The posterior of one finished brew over the model's scores, as mean and covariance, and what it shares with the new one.

    Parameters
    ----------
    mean
        Shape (terms,). [-]
    covariance
        Shape (terms, terms). [-]
    prior_mean, prior_covariance
        Of the prior that this posterior came from; a first brew has 0 and the identity.
    same_compost, same_recipe, same_vessel
        What it has in common with the brew to come.
    taught
        When it was best, before and after its data; None: not known.
    """

    mean: Array
    covariance: Array
    same_compost: bool
    same_recipe: bool
    same_vessel: bool
    prior_mean: Array | None = None
    prior_covariance: Array | None = None
    taught: Taught | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A prior moved by earlier brews: z = mean + root w with w standard normal. Shapes (terms,), (terms, terms)."""

    mean: Array
    root: Array
    brews: int

    @property
    def covariance(self) -> Array:
        """Of the scores, shape (terms, terms)."""
        return np.asarray(self.root @ self.root.T)


def shared_variance(past: Past) -> Array:
    """Share of each term's prior variance that the two brews have in common, shape (terms,). [-]"""
    tables = [_ALWAYS]
    tables += [_COMPOST] if past.same_compost else []
    tables += [_RECIPE] if past.same_recipe else []
    tables += [_VESSEL] if past.same_vessel else []
    return np.array([min(0.8, max(table.get(name, 0.0) for table in tables)) for name in NAMES])


def learn_from(pasts: list[Past]) -> Shift | None:
    """The prior for a new brew after earlier ones; None without any.

    Source
    ------
    lindley-smith-1972
    """
    if not pasts:
        return None
    # Joint normal over the new brew's scores and every earlier brew's, from the shares they have in common.
    count = len(pasts)
    shares = [shared_variance(past) for past in pasts]
    size = N_TERMS
    prior = np.eye((count + 1) * size)

    def block(i: int, j: int) -> tuple[slice, slice]:
        return slice(i * size, (i + 1) * size), slice(j * size, (j + 1) * size)

    for i in range(count):
        prior[block(0, i + 1)] = prior[block(i + 1, 0)] = np.diag(shares[i])
        for j in range(i):
            # Two earlier brews share at most what each shares with the new one.
            both = np.diag(np.minimum(shares[i], shares[j]))
            prior[block(i + 1, j + 1)] = prior[block(j + 1, i + 1)] = both
    precision, push = np.zeros_like(prior), np.zeros(len(prior))
    for i, past in enumerate(pasts):
        said, pull = _what_the_data_said(past)
        precision[block(i + 1, i + 1)] = said
        push[(i + 1) * size : (i + 2) * size] = pull
    covariance = np.linalg.inv(np.linalg.inv(prior) + precision)
    mean = covariance @ push
    own = covariance[:size, :size]
    root = np.asarray(np.linalg.cholesky(0.5 * (own + own.T)), float)
    return Shift(mean=mean[:size], root=root, brews=count)


def _what_the_data_said(past: Past) -> tuple[Array, Array]:
    """Precision and precision times mean of the likelihood alone."""
    prior_mean = np.zeros(N_TERMS) if past.prior_mean is None else past.prior_mean
    prior_covariance = np.eye(N_TERMS) if past.prior_covariance is None else past.prior_covariance
    after, before = np.linalg.inv(past.covariance), np.linalg.inv(prior_covariance)
    difference = after - before
    values, vectors = np.linalg.eigh(0.5 * (difference + difference.T))
    # A posterior estimated from draws may look wider than its prior in some direction: that direction taught nothing.
    taught = vectors * (values > 0.0)
    said = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return np.asarray(said), np.asarray(taught @ (vectors.T @ (after @ past.mean - before @ prior_mean)))

"""The sampler against posteriors whose answer is known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.inference import Effort, sample, tail_shape


class Straight:
    """A linear model with normal errors: posterior and evidence have closed forms (lindley-smith-1972)."""

    size = 20

    def __init__(self) -> None:
        rng = np.random.default_rng(3)
        self.a = rng.normal(size=(30, self.size))
        self.a[:, :5] *= 30.0  # five directions known a hundred times better than the rest
        self.y = self.a @ rng.normal(size=self.size) + rng.normal(size=30)
        self.covariance = np.linalg.inv(self.a.T @ self.a + np.eye(self.size))
        self.mean = self.covariance @ self.a.T @ self.y

    def log_likelihood(self, w):
        return -0.5 * np.sum((self.y - w @ self.a.T) ** 2, axis=1)

    def residuals(self, w):
        return np.hstack([w, w @ self.a.T - self.y])

    @property
    def log_evidence(self) -> float:
        inside = self.y @ self.y - self.mean @ np.linalg.solve(self.covariance, self.mean)
        return float(-0.5 * inside + 0.5 * np.linalg.slogdet(self.covariance)[1])


def test_a_linear_model_gets_its_closed_form_posterior():
    target = Straight()
    draws = sample(target, seed=1, effort=Effort(enough=600.0))
    sd = np.sqrt(np.diag(target.covariance))
    assert draws.settled
    # 1,000 draws of some 600 effective points: four standard errors are 0.18 sd.
    assert np.max(np.abs(draws.w.mean(axis=0) - target.mean) / sd) < 0.18
    assert np.all(np.abs(draws.w.std(axis=0) / sd - 1.0) < 0.15)
    # Proposals learn from the points that they then weigh, which costs the evidence a little: 0.2 here.
    assert draws.log_evidence == pytest.approx(target.log_evidence, abs=0.3)


def test_same_seed_same_draws_other_seed_others():
    target = Straight()
    first, again, other = (sample(target, seed=seed) for seed in (4, 4, 5))
    assert np.array_equal(first.w, again.w)
    assert not np.array_equal(first.w, other.w)


def test_a_sample_that_found_too_little_says_so():
    target = Straight()
    draws = sample(target, seed=1, effort=Effort(starts=1, descent_rounds=0, most_rounds=1, batch=64))
    assert not draws.settled


def test_without_data_the_prior_comes_back():
    class Nothing:
        size = 3

        def log_likelihood(self, w):
            return np.zeros(len(w))

        def residuals(self, w):
            return w

    draws = sample(Nothing(), seed=1)
    assert draws.settled and draws.rounds == 0
    assert np.abs(draws.w.mean(axis=0)).max() < 0.05 and np.abs(draws.w.std(axis=0) - 1.0).max() < 0.05


@pytest.mark.parametrize("shape", [0.2, 0.5, 0.9])
def test_tail_shape_of_pareto_weights(shape):
    # Weights with a generalised Pareto tail of known shape, by inversion; estimator of zhang-stephens-2009.
    u = (np.arange(20000) + 0.5) / 20000
    weights = ((1.0 - u) ** -shape - 1.0) / shape + 1.0
    assert tail_shape(weights / weights.sum()) == pytest.approx(shape, abs=0.08)


def test_tail_shape_of_weights_that_lie_very_far_apart_is_found_without_overflow():
    weights = np.exp(-(np.linspace(0.0, 30.0, 40_000) ** 1.9))
    with np.errstate(over="raise"):
        assert np.isfinite(tail_shape(weights / weights.sum()))

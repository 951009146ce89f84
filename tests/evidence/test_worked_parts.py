"""Parts of a pool worked out another way: weights, the test of moderators, the rank test, a chain of trials, an integral."""

from __future__ import annotations

import math

import numpy as np
from pytest import approx
from scipy import integrate, stats

from aerobe.evidence import bayes_pool, network, pool, regress, small_studies
from tests.evidence.kept_inputs import DOSE, HEAT, TEN_V, TEN_Y, V, Y, said


def test_weights_are_shares_of_the_precisions_at_the_spread() -> None:
    # On paper (DerSimonian and Laird 1986): 1 / (v + tau2), of a hundred.
    found = pool(Y, V)
    precision = 1.0 / (V + found.tau2)
    assert found.weights == approx(100.0 * precision / precision.sum())
    assert found.estimate == approx(precision @ Y / precision.sum())


def test_moderators_are_tested_together_by_the_law_of_f() -> None:
    # Knapp and Hartung 2003, written out: slopes over their covariance, by the number of slopes; F of 2 and 7 - 3 degrees.
    found = regress(Y, V, {"heat": HEAT, "dose": DOSE})
    X, w = np.column_stack([np.ones(7), HEAT, DOSE]), 1.0 / (V + found.tau2)
    cov = np.linalg.inv(X.T @ np.diag(w) @ X)
    beta = cov @ X.T @ (w * Y)
    cov *= max(1.0, float(w @ (Y - X @ beta) ** 2) / 4.0)
    ratio = float(beta[1:] @ np.linalg.inv(cov[1:, 1:]) @ beta[1:]) / 2.0
    assert (found.qm, found.qm_p) == approx((ratio, stats.f.sf(ratio, 2, 4)))
    # By the normal law it is chi-squared of two degrees, without the scale.
    plain = regress(Y, V, {"heat": HEAT, "dose": DOSE}, hartung_knapp=False)
    assert plain.qm_p == approx(stats.chi2.sf(plain.qm, 2))


def test_the_rank_test_of_small_trials_is_that_of_begg_and_mazumdar() -> None:
    # Begg and Mazumdar 1994 by scipy's tau: effects about their equal-effects mean, over the error of that difference.
    w = 1.0 / TEN_V
    away = (TEN_Y - w @ TEN_Y / w.sum()) / np.sqrt(TEN_V - 1.0 / w.sum())
    test = stats.kendalltau(away, TEN_V)
    found = small_studies(TEN_Y, TEN_V)
    assert (found.rank_tau, found.rank_p) == approx((test.statistic, test.pvalue))


def test_a_chain_of_two_trials_adds_up() -> None:
    # On paper: fish against plain through kelp is the difference of the two, its variance the sum; 1.281552 for 80 %.
    one = network([said("a", 0.5, 0.04), said("b", 0.2, 0.05, recipe="kelp", against="fish")], level=0.8).of("fish", "plain")
    assert (one.effect, one.se) == approx((0.3, 0.3)) and (one.low, one.high) == approx((0.3 - 0.3844655, 0.3 + 0.3844655))
    assert one.direct_trials == 0 and math.isnan(one.direct) and one.indirect == approx(0.3) and not one.spread_known


def test_the_bayesian_pool_is_the_integral_over_its_spread() -> None:
    # Independent computation: adaptive quadrature over the spread, the effect integrated by hand.
    def at(tau: float) -> tuple[float, float, float]:
        inside = V + tau**2
        total = float(np.sum(1.0 / inside)) + 1.0 / 0.49
        centre = (float(np.sum(Y / inside)) + 0.3 / 0.49) / total
        away = Y - 0.3
        quadratic = float(np.sum(away**2 / inside)) - float(np.sum(away / inside)) ** 2 / total
        height = math.exp(-0.5 * (quadratic + float(np.sum(np.log(inside))) + math.log(total))) * stats.halfnorm.pdf(
            tau, scale=0.2
        )
        return height, centre, 1.0 / math.sqrt(total)

    def mean_of(part: int) -> float:
        def value(tau: float) -> float:
            height, centre, sd = at(tau)
            return height * (1.0, centre, float(stats.norm.cdf(centre / sd)), tau)[part]

        return float(integrate.quad(value, 0.0, 1.6, epsabs=1e-12, epsrel=1e-8)[0])

    found = bayes_pool(Y, V, prior_mean=0.3, prior_sd=0.7, tau_scale=0.2)
    whole = mean_of(0)
    assert (found.pooled.mean, found.probability_above, found.tau.mean) == approx(
        (mean_of(1) / whole, mean_of(2) / whole, mean_of(3) / whole), rel=1e-4
    )

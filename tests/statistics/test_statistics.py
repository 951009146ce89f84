"""The likelihood against the normal density written out, the quantile against the quantiles of known mixtures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from aerobe.statistics import gaussian_deviance, normal_mixture_below, normal_mixture_quantile, quantile

X = np.column_stack([np.ones(5), [0.0, 1.0, 2.0, 3.0, 5.0]])
Y = np.array([1.2, 0.7, 2.9, 2.4, 4.8])
V = np.diag([0.5, 1.0, 0.7, 1.2, 0.9]) + 0.3


def parts() -> tuple[float, float, float, np.ndarray]:
    """log |V|, weighted residuals, log |X'V^-1 X| and the fitted values."""
    information = X.T @ np.linalg.solve(V, X)
    fitted = X @ np.linalg.solve(information, X.T @ np.linalg.solve(V, Y))
    rss = float((Y - fitted) @ np.linalg.solve(V, Y - fitted))
    return float(np.linalg.slogdet(V)[1]), rss, float(np.linalg.slogdet(information)[1]), fitted


def test_the_full_likelihood_is_the_normal_density() -> None:
    # Independent: scipy's multivariate normal density at the fitted values.
    log_det, rss, _, fitted = parts()
    assert gaussian_deviance(log_det=log_det, rss=rss, count=5) == pytest.approx(-2.0 * multivariate_normal(fitted, V).logpdf(Y))


def test_the_restricted_likelihood_is_the_density_of_what_the_fixed_effects_leave() -> None:
    # Independent: the density of error contrasts K'y, K orthonormal and orthogonal to X; it differs by the constant log |X'X|.
    log_det, rss, log_det_information, _ = parts()
    found = gaussian_deviance(log_det=log_det, rss=rss, count=3, log_det_information=log_det_information)
    contrasts = np.linalg.svd(X)[0][:, 2:]
    density = multivariate_normal(np.zeros(3), contrasts.T @ V @ contrasts).logpdf(contrasts.T @ Y)
    assert found == pytest.approx(-2.0 * density + np.linalg.slogdet(X.T @ X)[1])


def test_quantiles_of_one_part_are_those_of_the_normal_table() -> None:
    # 1.6449 and 1.9600: the normal table.
    assert float(quantile(norm.cdf, 0.95, -9.0, 9.0)) == pytest.approx(1.6449, abs=5e-5)
    assert quantile(norm.cdf, 0.975, np.array([-9.0, 0.0]), 9.0) == pytest.approx([1.96, 1.96], abs=5e-5)


def test_a_mixture_is_halved_by_its_own_share() -> None:
    # Two parts far apart, 30 and 70 in 100: the share 0.15 is the middle of the first, 0.65 that of the second.
    def below(at: np.ndarray) -> np.ndarray:
        return 0.3 * norm.cdf(at) + 0.7 * norm.cdf(at - 100.0)

    assert [float(quantile(below, share, -20.0, 120.0)) for share in (0.15, 0.65)] == pytest.approx([0.0, 100.0], abs=1e-9)


def test_what_lies_outside_gives_the_nearer_end() -> None:
    assert float(quantile(norm.cdf, 0.999, -1.0, 1.0)) == pytest.approx(1.0)


def test_a_normal_blurred_by_a_normal_is_a_wider_normal() -> None:
    # On paper: means of sd 1.5 with parts of sd 2 are a normal of sd 2.5, and nine nodes stand for the means. 1.644854 is the
    # normal table's.
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    means, sds, shares = np.column_stack([np.full(9, 3.0), nodes * 1.5]), np.full((9, 2), 2.0), weights / weights.sum()
    assert normal_mixture_quantile(0.95, shares, means, sds)[0] == pytest.approx(3.0 + 2.0 * 1.644854, abs=1e-5)
    assert normal_mixture_quantile(0.05, shares, means, sds)[1] == pytest.approx(-2.5 * 1.644854, rel=1e-3)
    assert normal_mixture_below(3.0, shares, means, sds)[0] == pytest.approx(0.5)


def test_wide_and_narrow_parts_have_the_quantiles_of_the_normal_table() -> None:
    for sd in (0.01, 20.0):
        assert float(normal_mixture_quantile(0.99, np.ones(1), np.array([7.0]), np.array([sd]))) == pytest.approx(
            7.0 + sd * 2.326348
        )
        assert float(normal_mixture_quantile(0.01, np.ones(1), np.array([7.0]), np.array([sd]))) == pytest.approx(
            7.0 - sd * 2.326348
        )

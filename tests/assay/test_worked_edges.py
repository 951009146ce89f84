"""Worked numbers where all terms of a formula matter at once, each computed another way: scipy, quadrature, trying all."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
from pytest import approx
from scipy import stats
from scipy.optimize import approx_fprime, minimize

from aerobe.assay import (
    components,
    fit_two_component,
    limits_from_model,
    linearity,
    parallelism,
    plan_tests,
    propagate,
    spike_recovery,
)
from aerobe.assay._censored import lognormal_mean
from aerobe.assay._colour import _between, censored_lines, colour_fit
from aerobe.assay._propagation import Input
from aerobe.assay._variance import _indicators, _Restricted
from aerobe.records import AssayError


def test_curves_and_lack_of_fit_by_weighted_polynomials() -> None:
    # Independent: numpy's weighted polynomials and the F distribution of scipy.
    x = np.repeat([0.0, 1.5, 3.0, 6.0, 12.0, 24.0], 2)
    y = np.array([2.1, 1.7, 6.9, 7.4, 11.8, 12.9, 21.7, 23.0, 37.1, 36.2, 51.2, 50.9])
    found = linearity(list(x), list(y), constant_sd=1.3, proportional_cv=0.04)
    weights = 1.0 / (1.3**2 + (0.04 * np.polyfit(x, y, 1)[0] * x) ** 2)

    def left(degree: int) -> float:
        fit = np.polyfit(x, y, degree, w=np.sqrt(weights))
        return float((weights * (y - np.polyval(fit, x)) ** 2).sum())

    rss = [0.0, left(1), left(2), left(3)]
    p = {
        degree: stats.f.sf((rss[1] - rss[degree]) / (degree - 1) / (rss[degree] / (11 - degree)), degree - 1, 11 - degree)
        for degree in (2, 3)
    }
    assert (found.degree, found.curve_p) == (min(p, key=lambda one: p[one]), approx(min(p.values())))
    line, curve = np.polyfit(x, y, 1, w=np.sqrt(weights)), np.polyfit(x, y, found.degree, w=np.sqrt(weights))
    assert (found.slope, found.intercept) == approx(tuple(line))
    assert dict(found.deviations)[6.0] == approx(100.0 * (np.polyval(curve, 6.0) - np.polyval(line, 6.0)) / (6.0 * line[0]))
    pure = sum(float((weights[x == at] * (y[x == at] - y[x == at].mean()) ** 2).sum()) for at in np.unique(x))
    f = ((rss[1] - pure) / 4.0) / (pure / 6.0)
    assert (found.lack_of_fit_f, found.lack_of_fit_p) == approx((f, stats.f.sf(f, 4, 6)))


def test_two_slopes_have_one_scatter() -> None:
    # Independent: each line by scipy's linregress, their squares of residuals pooled over n - 4.
    tea, standard = (
        np.array([(1.0, 90.0), (0.5, 49.0), (0.25, 22.0), (0.125, 12.4)]),
        np.array([(1.0, 120.0), (0.5, 58.0), (0.1, 11.0)]),
    )
    logs = [(np.log(one[:, 0]), np.log(one[:, 1])) for one in (tea, standard)]
    fits = [stats.linregress(*one) for one in logs]
    rss = sum(float(((y - fit.intercept - fit.slope * x) ** 2).sum()) for (x, y), fit in zip(logs, fits, strict=True))
    reach = math.sqrt(
        sum(rss / 3.0 / float(((x - x.mean()) ** 2).sum()) / fit.slope**2 for (x, _), fit in zip(logs, fits, strict=True))
    )
    found = parallelism([tuple(one) for one in tea], [tuple(one) for one in standard], level=0.8)
    ratio, factor = fits[0].slope / fits[1].slope, math.exp(stats.t.ppf(0.9, 3) * reach)
    assert (found.slope_ratio, found.low, found.high) == approx((ratio, ratio / factor, ratio * factor))


def test_a_recovery_is_a_comparison_of_two_means() -> None:
    # Independent: scipy's interval of the difference by Welch, divided by the addition.
    before, after = [51.0, 55.0, 49.0], [141.0, 150.0, 139.0, 144.0]
    found = spike_recovery(before, after, 80.0, level=0.8)
    between = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.8)
    assert (found.low, found.high) == approx((between.low / 80.0, between.high / 80.0))
    # On paper: an addition known to 5.5 % adds that share of the recovery.
    wide = spike_recovery(before, after, 80.0, added_sd=4.4)
    assert wide.sd == approx(math.hypot(found.sd, found.fraction * 4.4 / 80.0))


def test_limits_solve_what_defines_them() -> None:
    # On paper: a content at the detection limit is missed with risk beta, one at the quantification limit has the wanted cv.
    found = limits_from_model(2.3, 0.11, readings=2, blanks=5.0, bias_sd=0.8, alpha=0.03, beta=0.08, relative_sd=0.21)

    def sd(level: float) -> float:
        return math.sqrt((2.3**2 + (0.11 * level) ** 2) / 2.0 + 2.3**2 / 5.0 + 0.8**2)

    assert found.critical == approx(stats.norm.isf(0.03) * sd(0.0))
    assert stats.norm.cdf((found.critical - found.detection) / sd(found.detection)) == approx(0.08)
    assert sd(found.quantification) / found.quantification == approx(0.21)


def test_the_mean_of_a_lognormal_has_coxs_interval() -> None:
    # On paper (Zhou and Gao 1997): exp(m + s2/2 -/+ t root(s2/n + s2^2 / (2 (n - 1)))).
    y = np.array([3.1, 4.4, 2.0, 5.2, 7.9, 9.6, 1.4])
    m, s2 = np.log(y).mean(), np.log(y).var(ddof=1)
    half = stats.t.ppf(0.9, 6) * math.sqrt(s2 / 7.0 + s2**2 / 12.0)
    found = lognormal_mean(y, np.zeros(7, dtype=bool), 0.8)
    mean = math.exp(m + s2 / 2.0)
    assert found == approx((mean, mean * math.sqrt(math.exp(s2) - 1.0), mean * math.exp(-half), mean * math.exp(half)), rel=1e-5)


def test_scatter_of_groups_has_ends_where_the_likelihood_has_fallen_by_its_quantile() -> None:
    # Independent: the likelihood of the variances on a fine grid of the other part.
    groups = [[4.1, 6.3, 5.0], [23.0, 19.5, 25.2, 21.1], [61.0, 70.5], [118.0, 139.0, 127.0], [210.0, 262.0, 240.0]]
    found = fit_two_component(groups, background=3.3, level=0.8)
    x = np.array([np.mean(group) - 3.3 for group in groups])
    variances, df = np.array([np.var(group, ddof=1) for group in groups]), np.array([len(group) - 1.0 for group in groups])

    def deviance(constant: np.ndarray, cv: np.ndarray) -> np.ndarray:
        v = constant[..., None] ** 2 + (cv[..., None] * x) ** 2
        return (df * (np.log(v) + variances / v)).sum(axis=-1)

    lowest = deviance(np.array(found.constant_sd), np.array(found.proportional_cv))
    assert -2.0 * found.log_likelihood == approx(float(lowest))
    fine = np.geomspace(1e-4, 30.0, 40_000)
    for end in (found.proportional_low, found.proportional_high):
        assert deviance(fine, np.full(fine.size, end)).min() - lowest == approx(stats.chi2.ppf(0.8, 1), abs=1e-3)
    assert deviance(np.full(fine.size, found.constant_high), fine).min() - lowest == approx(stats.chi2.ppf(0.8, 1), abs=1e-3)


def test_components_have_the_restricted_likelihood_written_out() -> None:
    # Independent: V as a full matrix, Harville's (1977) formula, generalised least squares; the slope by differences.
    logs = np.array([0.1, 0.3, 0.25, 0.62, 0.5, 0.71, 0.2, 0.44, 0.9, 1.1, 0.77, 0.95])
    effects = _indicators({"day": list("aaabbbcccddd"), "operator": list("uvwuvwuvwuvw")}, 12)[0]
    design = np.column_stack([np.ones(12), np.arange(12.0) % 2])
    model, sd = _Restricted(logs, design, effects), np.array([0.21, 0.07, 0.11])

    def written(sds: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        v = sds[-1] ** 2 * np.eye(12) + sum(s**2 * z @ z.T for s, z in zip(sds, effects, strict=False))
        weight = np.linalg.inv(v)
        information = design.T @ weight @ design
        beta = np.linalg.solve(information, design.T @ weight @ logs)
        rest = logs - design @ beta
        value = (
            10.0 * math.log(2.0 * math.pi) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + rest @ weight @ rest
        )
        return float(value), beta, np.linalg.inv(information)

    value, beta, cover = written(sd)
    assert model.deviance(sd)[0] == approx(value)
    assert model.deviance(sd)[1] == approx(approx_fprime(sd, lambda at: written(at)[0], 1e-7), rel=1e-4)
    found = model.fixed_part(sd)
    assert found[0] == approx(beta) and found[1] == approx(cover)
    best = components(list(logs), {"day": list("aaabbbcccddd"), "operator": list("uvwuvwuvwuvw")}, fixed=design, intervals=False)
    tried = minimize(
        lambda at: written(np.abs(at))[0], sd, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 3000}
    )
    assert best.deviance == approx(tried.fun, abs=1e-6)
    assert [share.sd for share in best.shares] == approx(np.abs(tried.x), abs=2e-4)


def test_lines_with_some_below_a_limit_are_at_the_top_of_their_likelihood() -> None:
    # Independent: the likelihood written out and maximised by scipy, its curvature by differences.
    design = np.column_stack([np.ones(6), [0.0, 0.0, 0.3, 0.5, 0.8, 1.1]])
    y, sd = np.array([3.0, 4.1, 9.0, 14.9, 21.0, 30.3]), np.array([1.0, 1.2, 1.1, 1.5, 1.9, 2.2])
    below = np.array([True, False, False, True, False, False])

    def minus(beta: np.ndarray) -> float:
        z = (y - design @ beta) / sd
        return -float(stats.norm.logcdf(z[below]).sum() + stats.norm.logpdf(z[~below]).sum())

    beta, cover = censored_lines(design, y, sd, below, np.array([3.0, 20.0]))
    assert beta == approx(minimize(minus, [3.0, 20.0], method="BFGS", options={"gtol": 1e-8}).x, rel=1e-5)
    steps = np.diag([1e-3, 1e-3])
    curve = [
        [(minus(beta + a + b) - minus(beta + a - b) - minus(beta - a + b) + minus(beta - a - b)) / 4e-6 for b in steps]
        for a in steps
    ]
    assert np.linalg.inv(curve) == approx(cover, rel=1e-3)


def test_colour_is_weighed_by_the_scatter_at_its_own_signal() -> None:
    # Independent: numpy's lstsq, reweighted by constant^2 + cv^2 net^2 as many times.
    design = np.column_stack([np.ones(7), [0.0, 0.0, 0.2, 0.4, 0.8, 1.0, 1.3]])
    y, weights = np.array([5.0, 7.1, 14.0, 25.0, 38.0, 61.0, 66.0]), np.ones(7)
    for turn in range(4):
        beta = np.linalg.lstsq(design * np.sqrt(weights)[:, None], y * np.sqrt(weights), rcond=None)[0]
        scale = float((weights * (y - design @ beta) ** 2).sum()) / 5.0
        cover = scale * np.linalg.inv(design.T @ (weights[:, None] * design))
        weights = 1.0 / (1.7**2 + 0.09**2 * np.maximum(design @ beta - beta[0], 0.0) ** 2) if turn < 3 else weights
    found = colour_fit(design, y, np.array(1.7**2), np.array(0.09**2))
    assert found[0] == approx(beta) and found[1] == approx(cover) and float(found[2]) == approx(scale)
    # On paper: three slopes 30, 55, 47, of errors 3, 2.646, 2.449 without covariance: sample variance less the mean of theirs.
    slopes, own = np.array([30.0, 55.0, 47.0]), np.array([9.0, 7.0, 6.0])
    assert _between(slopes, np.diag(own)) == approx(math.sqrt(slopes.var(ddof=1) - own.mean()))


def test_the_cheapest_plan_is_the_cheapest_of_all() -> None:
    # Independent: every number of samples and tests tried, the variance written out.
    error = AssayError(constant_sd=4.3, proportional_cv=0.13, bias_sd=1.9, gain_log_sd=0.05)
    test, sample = 4.3**2 + (0.13 * 61.0) ** 2, (0.22 * 61.0) ** 2
    for same_kit in (True, False):
        shared = 0.0 if same_kit else 1.9**2 + 61.0**2 * (math.exp(0.05**2) - 1.0)
        fit = [
            (k * (7.3 + 3.1 * m), -k, m)
            for k, m in product(range(1, 60), range(1, 60))
            if 1.644854 * math.sqrt(shared + sample / k + test / (k * m)) <= 0.17 * 61.0
        ]
        cost, samples, tests = min(fit)
        found = plan_tests(
            error, expected=61.0, wanted_percent=17.0, test_price=3.1, sample_price=7.3, sample_cv=0.22, same_kit=same_kit
        )
        assert (found.cost, found.samples, found.tests_per_sample) == (approx(cost), -samples, tests)
        assert found.half_width == approx(1.644854 * math.sqrt(shared + sample / -samples + test / (-samples * tests)), rel=1e-6)
        assert found.floor == approx(1.644854 * math.sqrt(shared), rel=1e-6)


def test_second_order_terms_are_exact_for_a_square_and_a_product() -> None:
    # On paper: var(x^2 y) to second order: (2xy ux)^2 + (x^2 uy)^2 + 2 y^2 ux^4 + 4 x^2 ux^2 uy^2 + x^2 2 ux^2 uy^2 (f_y f_yxx).
    x, y, ux, uy = 3.1, 1.7, 0.4, 0.3
    found = propagate(
        lambda a, b: a * a * b, [Input(name="x", value=x, uncertainty=ux), Input(name="y", value=y, uncertainty=uy, df=7.0)]
    )
    first = (2.0 * x * y * ux) ** 2 + (x * x * uy) ** 2
    assert found.uncertainty == approx(math.sqrt(first))
    assert found.second_order**2 == approx(first + 2.0 * y**2 * ux**4 + (4.0 + 2.0) * (x * ux * uy) ** 2)
    assert found.df == approx(first**2 / ((x * x * uy) ** 4 / 7.0))
    assert found.high - found.value == approx(stats.t.ppf(0.975, math.floor(found.df)) * math.sqrt(first))

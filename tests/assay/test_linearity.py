"""Dilution, parallelism, recovery and the range in which results may be quoted."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import linearity, parallelism, spike_recovery, valid_range
from aerobe.errors import NotEnoughData, OutsideValidity, UnusableReading

LEVELS = np.repeat([0.0, 12.5, 25, 50, 100, 200], 3)


def test_a_straight_series_is_called_straight_about_as_often_as_it_should_be() -> None:
    rng = np.random.default_rng(1)
    called = [linearity(LEVELS, 5 + LEVELS + rng.normal(0, 2, 18), constant_sd=2.0).degree == 1 for _ in range(300)]
    assert np.mean(called) > 0.86  # two looks at 5 % each


def test_saturation_is_found_and_the_valid_range_ends_before_it() -> None:
    rng = np.random.default_rng(2)
    found = linearity(LEVELS, 5 + 250 * LEVELS / (250 + LEVELS) + rng.normal(0, 1, 18), constant_sd=1.0, allowed_percent=10)
    assert not found.linear and found.degree > 1 and found.lack_of_fit_p < 0.01
    assert found.valid_high < 200 or found.valid_low > 12.5
    assert "Curved" in found.says


def test_curve_test_agrees_with_nested_regression_in_statsmodels() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    y = 5 + LEVELS - 0.001 * LEVELS**2 + rng.normal(0, 2, 18)
    line = sm.OLS(y, np.column_stack([LEVELS**k for k in range(2)])).fit()
    quadratic = sm.OLS(y, np.column_stack([(LEVELS / 200) ** k for k in range(3)])).fit()
    cubic = sm.OLS(y, np.column_stack([(LEVELS / 200) ** k for k in range(4)])).fit()
    p = min(quadratic.compare_f_test(line)[1], cubic.compare_f_test(line)[1])
    assert linearity(LEVELS, y, constant_sd=2.0).curve_p == approx(p, rel=1e-6)


def test_lack_of_fit_agrees_with_a_full_factor_model_in_statsmodels() -> None:
    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(4)
    frame = pd.DataFrame({"x": LEVELS, "y": 5 + LEVELS + 6 * np.sin(LEVELS / 30) + rng.normal(0, 2, 18)})
    f, p, _ = smf.ols("y ~ C(x)", frame).fit().compare_f_test(smf.ols("y ~ x", frame).fit())
    found = linearity(frame.x, frame.y, constant_sd=1.0)
    assert (found.lack_of_fit_f, found.lack_of_fit_p) == approx((f, p), rel=1e-8)


def series(slope: float, scatter: float, seed: int) -> list[tuple[float, float]]:
    rng = np.random.default_rng(seed)
    return [(x, 100 * x**slope * np.exp(scatter * rng.standard_normal())) for x in (1, 0.5, 0.25, 0.125) for _ in range(3)]


def test_parallel_and_not_parallel_and_not_settled() -> None:
    assert parallelism(series(1.0, 0.05, 1), series(1.0, 0.05, 2)).parallel
    found = parallelism(series(0.6, 0.05, 1), series(1.0, 0.05, 2))
    assert found.shown_not_parallel and "interferes" in found.says and found.slope_ratio == approx(0.6, abs=0.06)
    vague = parallelism(series(1.0, 0.8, 1), series(1.0, 0.8, 2))
    assert not vague.parallel and "Not settled" in vague.says


def test_recovery() -> None:
    found = spike_recovery([50, 54, 52], [128, 133, 129], 100.0)
    assert found.fraction == approx(0.78) and not found.complete and "hides" in found.says
    assert spike_recovery([50, 54, 52], [148, 155, 151], 100.0).complete


def test_recovery_interval_is_the_one_of_welch() -> None:
    from scipy.stats import ttest_ind

    before, after = [50, 54, 52, 49], [140, 160, 151]
    theirs = ttest_ind(after, before, equal_var=False).confidence_interval(0.9)
    ours = spike_recovery(before, after, 100.0)
    assert (ours.low, ours.high) == approx((theirs.low / 100, theirs.high / 100), rel=1e-9)


def test_valid_range_names_what_limits_it() -> None:
    found = valid_range(detection=10, quantification=25, linear_low=12, linear_high=300, highest_tested=250, upper_limit=400)
    assert (found.low, found.limited_below_by, found.high, found.limited_above_by) == (
        25,
        "the quantification limit",
        250,
        "the highest sample tested",
    )


@pytest.mark.parametrize(
    ("call", "fault"),
    [
        (lambda: linearity((1, 1, 2, 2, 3), (1, 1, 2, 2, 3)), NotEnoughData),
        (lambda: linearity((1, 2, 3, 4, 5), (1, 2, 3, 4)), NotEnoughData),
        (lambda: parallelism([(1, 5)], [(1, 5), (0.5, 2)]), NotEnoughData),
        (lambda: parallelism([(1, 5), (0.5, -1), (0.2, 1)], [(1, 5), (0.5, 2)]), OutsideValidity),
        (lambda: spike_recovery([5], [9, 9], 5), NotEnoughData),
        (lambda: spike_recovery([5, 5], [9, 9], 0), UnusableReading),
    ],
)
def test_bad_series(call, fault: type[Exception]) -> None:
    with pytest.raises(fault):
        call()

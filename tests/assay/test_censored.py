"""Means with some results below limits, against reference libraries; and errors taken where nobody has characterised a test."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from pytest import approx
from statsmodels.imputation import ros

from aerobe.assay import assumed_error, censored_summary, deming, passing_bablok
from aerobe.assay._censored import kaplan_meier, order_statistics
from aerobe.cli import run
from aerobe.errors import NotEnoughData
from aerobe.records import Assay
from aerobe.usecases.assay import mean_of_censored


def some(seed: int, n: int = 40) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    true = np.exp(rng.normal(1.0, 1.0, n))
    limit = np.where(np.arange(n) % 2, 1.5, 3.0)
    return np.where(true < limit, limit, true), true < limit


@pytest.mark.parametrize("seed", range(5))
def test_regression_on_order_statistics_agrees_with_statsmodels(seed: int) -> None:
    values, below = some(seed)
    theirs = ros.impute_ros(values, below)  # statsmodels: the method of Helsel and Cohn
    assert order_statistics(values, below) == (approx(theirs.mean()), approx(theirs.std(ddof=1)))


@pytest.mark.parametrize("seed", range(5))
def test_kaplan_meier_agrees_with_scipy_on_turned_values(seed: int) -> None:
    values, below = some(seed)
    top = values.max() + 1.0
    survival = scipy.stats.ecdf(scipy.stats.CensoredData.right_censored(top - values, below)).sf
    steps = -np.diff(np.concatenate([[1.0], survival.probabilities]))
    mean = float((steps * (top - survival.quantiles)).sum() + survival.probabilities[-1] * values.min())
    assert kaplan_meier(values, below)[0] == approx(mean)


def test_the_method_is_chosen_by_the_results_and_said() -> None:
    values, below = some(1)
    found = censored_summary(values, below)
    assert found.method in found.says and found.low < found.mean < found.high
    few = censored_summary([3.0, 5.0, 9.0, 20.0, 70.0], [True, False, False, False, False])
    assert few.method == "lognormal likelihood"
    with pytest.raises(NotEnoughData, match="below"):
        censored_summary([1.0] * 9 + [2.0], [True] * 9 + [False])


def test_intervals_of_lognormal_and_normal_results_hold_the_mean_nine_times_in_ten() -> None:
    rng = np.random.default_rng(5)
    for true, draw in ((np.exp(0.5), lambda: np.exp(rng.normal(0.0, 1.0, 10))), (5.0, lambda: rng.normal(5.0, 1.0, 10))):
        held = []
        for _ in range(120):
            found = censored_summary(draw(), [False] * 10)
            held.append(found.low <= true <= found.high)
        assert 0.83 <= np.mean(held) <= 0.98  # 120 trials of 0.9: three standard errors


def test_counts_have_an_error_on_their_own_scale() -> None:
    counter = Assay(key="c", name="c", method="flow cytometry", quantity="bacteria", unit="cells/mL", to_house=2e-8)
    assert assumed_error(counter).constant_sd == 1000.0  # and not 5 ug C/mL over 20 fg a cell, 2.5e8
    per_litre = Assay(key="l", name="l", method="flow cytometry", quantity="bacteria", unit="cells/L", to_house=2e-11)
    assert assumed_error(per_litre).constant_sd == approx(1e6)
    card = Assay(key="k", name="k", method="colour test", unit="ug C/mL")
    assert (assumed_error(card).constant_sd, assumed_error(card).proportional_cv) == (5.0, 0.25)


def test_two_tests_that_do_not_rise_together_are_refused_and_not_broken(capsys: pytest.CaptureFixture[str]) -> None:
    up, down = [float(n) for n in range(1, 11)], [float(n) for n in range(10, 0, -1)]
    for line in (deming, passing_bablok):
        with pytest.raises(NotEnoughData, match="rise together"):
            line(up, down)
    words = " ".join(f"{n:g}" for n in up), " ".join(f"{n:g}" for n in down)
    assert run(["assay", "compare", *words]) == 3
    assert "same order" in capsys.readouterr().err


# Arsenic in streams of Oahu, ug/L: 24 results, 13 below one of three limits. From memory of Helsel 2012, Helsel & Cohn 1988;
# published with it: mean 0.949 by Kaplan-Meier, 0.972 and sd 0.718 by regression on order statistics.
OAHU = "<1 <1 1.7 <1 <1 <2 3.2 <2 <2 2.8 <2 <2 <2 <2 <2 <0.9 0.5 0.5 0.9 0.5 0.7 0.6 1.5 0.7"


def test_a_published_example_of_results_below_several_limits() -> None:
    by = {method: mean_of_censored(OAHU, method=method) for method in ("Kaplan-Meier", "regression on order statistics")}
    assert round(by["Kaplan-Meier"].mean, 3) == 0.949
    ros_found = by["regression on order statistics"]
    assert (round(ros_found.mean, 3), round(ros_found.sd, 3), ros_found.below) == (0.972, 0.718, 13)


def test_the_command_takes_results_as_people_write_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["assay", "below", "< 10; 34 12 <5,0 80 51"]) == 0
    assert "below" in capsys.readouterr().out
    assert run(["assay", "below", "<10 34 12 >80 51"]) != 0
    assert run(["assay", "below", "<10 34 12 51", "--method", "guess"]) != 0

"""Means with some results below limits, against reference libraries; and errors taken where nobody has characterised a test."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from pytest import approx
from statsmodels.imputation import ros

from aerobe.assay import assumed_error, censored_summary, deming, passing_bablok
from aerobe.assay._censored import _choose, _log_fits_better, kaplan_meier, order_statistics
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


def hidden_of(size: int, below: int) -> np.ndarray:
    return np.arange(size) < below


def test_no_shape_is_assumed_from_twenty_results_on_and_no_mean_told_of_more_than_four_fifths_below() -> None:
    # Helsel 2012: Kaplan-Meier up to a half below, order statistics up to four fifths. Twenty results: our number.
    y = np.exp(np.linspace(0.0, 2.0, 20))
    for below, method in ((1, "Kaplan-Meier"), (10, "Kaplan-Meier"), (11, "regression on order statistics")):
        assert _choose(y, hidden_of(20, below)) == method
    assert _choose(y, hidden_of(20, 0)) == "lognormal likelihood" == _choose(y[:19], hidden_of(19, 3))
    # Results at or under nought have no logs.
    for below, method in ((0, "normal likelihood"), (1, "Kaplan-Meier"), (10, "Kaplan-Meier"), (11, "normal likelihood")):
        assert _choose(y - 1.0, hidden_of(20, below)) == method
    for size, below, told in ((15, 12, True), (16, 13, False), (4, 1, True), (4, 2, False)):
        values = np.where(hidden_of(size, below), 1.0, 1.5 + np.arange(size) ** 1.5)
        if told:
            assert censored_summary(values, hidden_of(size, below), seed=1).below == below
        else:
            with pytest.raises(NotEnoughData, match=f"{below} of {size} results"):
                censored_summary(values, hidden_of(size, below), seed=1)


@pytest.mark.parametrize("below", [0, 2])
def test_a_lognormal_shape_is_taken_unless_a_normal_one_is_likelier_by_a_unit(below: int) -> None:
    # scipy's normal law and its highest likelihood, of results some of which are below a limit and of their logs (a density of
    # logs is one of results over the result).
    steps = np.array([0.0, 0.0, 0.9, 1.7, 2.2, 2.9, 3.6, 4.1, 4.9, 5.2, 6.1, 6.4])
    hidden = hidden_of(12, below)

    def likelihood(x: np.ndarray) -> float:
        def less(at: np.ndarray) -> float:
            z = (x - at[0]) / np.exp(at[1])
            return float(
                at[1] * (~hidden).sum() - scipy.stats.norm.logpdf(z[~hidden]).sum() - scipy.stats.norm.logcdf(z[hidden]).sum()
            )

        return -float(scipy.optimize.minimize(less, [x.mean(), np.log(x.std())]).fun)

    def lead(start: float) -> float:
        y = start + steps
        return likelihood(np.log(y)) - float(np.log(y[~hidden]).sum()) - likelihood(y) + 1.0

    edge = float(scipy.optimize.brentq(lead, 0.2, 20.0, xtol=1e-3))
    assert not _log_fits_better(0.95 * edge + steps, hidden) and _log_fits_better(1.05 * edge + steps, hidden)


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

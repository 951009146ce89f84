"""Counts and shares of plants, against statsmodels where it has the same model, and over many simulated trials."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, fit_rates, judge, lay_out

ARMS = (Arm(key="water", is_standard=True), Arm(key="tea"))
ROW = np.array([[-1.0, 1.0]])


def trial(outcome: str) -> Trial:
    return Trial(key="p", name="x", question="field response", outcome=outcome, arms=ARMS, margin_ratio=1.5)


def test_a_blocked_count_is_the_quasi_poisson_model_of_statsmodels() -> None:
    sm = pytest.importorskip("statsmodels.api")
    counts = np.array([3, 7, 0, 4, 9, 14, 2, 6, 8, 19, 1, 5, 4, 8, 3, 2], dtype=float)
    layout = lay_out([0, 1] * 8, [str(i // 4) for i in range(16)])
    fit = sm.GLM(counts, layout.matrix, family=sm.families.Poisson()).fit(scale="X2")
    found = fit_rates(counts, np.ones(16), layout, ROW, is_share=False)
    assert found.estimate[0] == pytest.approx(fit.params[1] - fit.params[0], abs=1e-7)
    spread = fit.cov_params()[1, 1] + fit.cov_params()[0, 0] - 2 * fit.cov_params()[0, 1]
    assert found.error[0] == pytest.approx(math.sqrt(spread), rel=1e-6)


def test_an_unblocked_share_is_the_log_binomial_estimate_of_statsmodels() -> None:
    sm = pytest.importorskip("statsmodels.api")
    affected, among = np.array([2, 5, 3, 9, 8, 11.0]), np.array([20, 22, 18, 20, 20, 21.0])
    layout = lay_out([0, 0, 0, 1, 1, 1])
    family = sm.families.Binomial(link=sm.families.links.Log())
    fit = sm.GLM(np.column_stack([affected, among - affected]), layout.matrix, family=family).fit(start_params=[-1.0, -1.0])
    found = fit_rates(affected, among, layout, ROW, is_share=True)
    assert found.estimate[0] == pytest.approx(fit.params[1] - fit.params[0], abs=1e-6)


@pytest.mark.parametrize("units", [4, 8])
@pytest.mark.parametrize("shape", [1.0, 5.0])
def test_intervals_of_overdispersed_counts_hold_the_truth(units: int, shape: float) -> None:
    rng = np.random.default_rng(31)
    layout, inside, false = lay_out([0] * units + [1] * units), [], []
    for _ in range(1500):
        rate = 4.0 * rng.gamma(shape, 1 / shape, 2 * units)
        counts = rng.poisson(rate).astype(float)
        if min(counts[:units].sum(), counts[units:].sum()) < 5:
            continue
        found = fit_rates(counts, np.ones(2 * units), layout, ROW, is_share=False)
        inside.append(found.quantile(0.05)[0] < 0 < found.quantile(0.95)[0])
        false.append(found.quantile(0.025)[0] > 0 or found.quantile(0.975)[0] < 0)
    assert 0.87 <= np.mean(inside) <= 0.97 and np.mean(false) <= 0.06


def pots(values: dict[str, list[tuple[float, float | None]]]) -> list[BrewResult]:
    return [BrewResult(brew=f"{a}{i}", arm=a, value=k, of_n=n) for a, row in values.items() for i, (k, n) in enumerate(row)]


def test_fewer_plants_affected_is_better_and_pots_without_any_count() -> None:
    rows = pots({"water": [(9, 20), (12, 20), (8, 20), (11, 20)], "tea": [(2, 20), (0, 20), (3, 20), (2, 20)]})
    only = judge(trial("plants affected"), rows).comparisons[0]
    assert only.call == "better" and math.exp(only.effect) == pytest.approx(7 / 40)


def test_an_arm_without_any_event_is_told_apart_by_no_ratio() -> None:
    rows = pots({"water": [(9, None), (12, None), (8, None)], "tea": [(0, None), (0, None), (0, None)]})
    only = judge(trial("damage count"), rows).comparisons[0]
    assert only.effect is None and "too few events" in only.because


def test_a_share_of_nobody_knows_how_many_is_refused() -> None:
    with pytest.raises(UnusableRecord, match="among how many"):
        judge(trial("plants affected"), pots({"water": [(1, None)] * 3, "tea": [(1, None)] * 3}))

"""Two tests on the same samples."""

from __future__ import annotations

import csv
from collections import defaultdict

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import deming, limits_of_agreement, passing_bablok, phase_bias
from aerobe.errors import NotEnoughData, OutsideValidity
from tests.conftest import DATA

# Bland and Altman 1986, table 1: peak flow by a large and a mini meter, first readings
# (from memory; they give the printed summary).
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)


def test_limits_of_agreement_of_the_1986_paper() -> None:
    found = limits_of_agreement(LARGE, MINI, multiplier=2.0)
    assert (found.bias, found.sd) == approx((-2.1, 38.8), abs=0.05)  # printed
    assert (found.lower, found.upper) == approx((-79.7, 75.5), abs=0.11)  # printed, from rounded sd
    assert (found.bias_low, found.bias_high) == approx((-22.0, 17.8), abs=0.06)  # printed
    assert found.lower_interval == approx((-114.3, -45.1), abs=0.2)  # printed
    assert found.upper_interval == approx((40.9, 110.1), abs=0.2)  # printed
    assert found.trend_p > 0.05


def test_deming_and_passing_bablok_on_those_pairs() -> None:
    # A second implementation, run once; see the creatinine pairs of the R package mcr for the same code on real laboratory data.
    line = deming(LARGE, MINI)
    assert (line.intercept, line.slope) == approx((15.231556, 0.970881), abs=5e-7)
    assert (line.intercept_sd, line.slope_sd) == approx((69.4795, 0.139017), rel=1e-5)
    line = passing_bablok(LARGE, MINI)
    assert (line.intercept, line.slope, line.slope_low, line.slope_high) == approx(
        (-24.305556, 1.064815, 0.837079, 1.396825), rel=1e-6
    )
    assert (line.intercept_low, line.intercept_high) == approx((-178.0317, 82.9382), rel=1e-6)
    assert "no proportional difference" in line.says


def test_deming_agrees_with_orthogonal_regression_in_scipy() -> None:
    from scipy.odr import ODR, Data, unilinear

    rng = np.random.default_rng(1)
    true = rng.uniform(10, 100, 40)
    x, y = true + rng.normal(0, 3, 40), 5 + 1.2 * true + rng.normal(0, 6, 40)
    theirs = ODR(Data(x, y, wd=1.0, we=0.25), unilinear, beta0=[1.0, 0.0]).run()
    ours = deming(x, y, error_ratio=4.0)
    assert (ours.slope, ours.intercept) == approx(tuple(theirs.beta), rel=1e-4)  # it iterates, ours is closed


def test_passing_bablok_turns_round_when_the_tests_change_places() -> None:
    there, back = passing_bablok(LARGE, MINI), passing_bablok(MINI, LARGE)
    assert there.slope * back.slope == approx(1.0, rel=1e-9)


def test_passing_bablok_agrees_with_theil_sen_when_the_slopes_are_all_steep() -> None:
    from scipy.stats import theilslopes

    x = np.arange(1.0, 13.0)
    y = 2 * x + np.array([0.1, -0.2, 0.3, 0, -0.1, 0.2, -0.3, 0.1, 0, 0.2, -0.1, 0.05])
    assert passing_bablok(x, y).slope == approx(theilslopes(y, x).slope, rel=1e-12)


def test_one_wild_sample_moves_deming_more() -> None:
    rng = np.random.default_rng(2)
    x = rng.uniform(10, 100, 30)
    y = x + rng.normal(0, 2, 30)
    y[0] += 300
    assert abs(passing_bablok(x, y).slope - 1) < 0.05 < abs(deming(x, y).slope - 1)


def test_a_growing_difference_is_noticed_and_the_ratio_form_mends_it() -> None:
    rng = np.random.default_rng(30)
    x = np.exp(rng.uniform(2, 6, 60))
    y = 1.3 * x * np.exp(rng.normal(0, 0.1, 60))
    assert "changes with the level" in limits_of_agreement(y, x).says
    found = limits_of_agreement(y, x, relative=True)
    assert found.bias == approx(1.3, rel=0.05) and found.trend_p > 0.05


def counts() -> dict[tuple[str, float], dict[str, list[tuple[float, float]]]]:
    """Cells by flow cytometry and by microscopy for each food and time of the kelp and glucose batch experiment."""
    found: dict[tuple[str, float], dict[str, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
    with (DATA / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv").open() as stream:
        for row in csv.DictReader(stream):
            if row["variable"] == "all_cells":
                found[row["treatment"], float(row["time_h"])][row["method"]].append(
                    (float(row["value"]), float(row["sd"] or "nan"))
                )
    return {key: item for key, item in found.items() if len(item) == 2}


def test_ratio_of_two_counts_changes_with_food_and_phase_of_growth() -> None:
    """Open course data (kelp exudate and glucose, 2021): no fixed factor turns cytometry into microscopy."""
    foods, times, flow, scope, sds = [], [], [], [], []
    for (food, time), item in counts().items():
        bottles = [value for value, _ in item["flow_cytometry"]]
        ((dapi, sd),) = item["DAPI_microscopy"]
        foods.append(food)
        times.append(f"{time:g} h")
        flow.append(float(np.mean(bottles)))
        scope.append(dapi)
        bottle_sd = float(np.std(np.log(bottles), ddof=1)) / len(bottles) ** 0.5 if len(bottles) > 1 else 0.1
        sds.append(float(np.hypot(sd / dapi, bottle_sd)))
    found = phase_bias(flow, scope, foods, times, log_sd=sds)
    ratio = {(food, phase): value for food, phase, value, _, _ in found.ratios}
    # The ranges derived from the file when it was taken in: 1.27 to 1.71 at 0 h; 0.68 to 2.49 at 52 h; 0.33 to 1.01 at 100 h.
    for phase, low, high in (("0 h", 1.27, 1.71), ("52 h", 0.68, 2.49), ("100 h", 0.33, 1.01)):
        values = [value for (_, at), value in ratio.items() if at == phase]
        assert (min(values), max(values)) == approx((low, high), abs=0.03)
    assert found.phase_p < 0.01 and found.together_p < 0.05 and not found.fixed_factor_works
    assert "no fixed factor" in found.says and found.spread > 5


def test_a_constant_ratio_is_left_alone_and_the_tests_agree_with_an_analysis_of_variance() -> None:
    import pandas as pd
    import statsmodels.api as sm
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(5)
    foods, phases = np.repeat(["a", "b"], 12), np.tile(np.repeat(["early", "mid", "late"], 4), 2)
    y = rng.uniform(10, 50, 24)
    x = 1.4 * y * np.exp(rng.normal(0, 0.1, 24))
    found = phase_bias(x, y, foods, phases)
    table = sm.stats.anova_lm(
        smf.ols("r ~ C(f) * C(p)", pd.DataFrame({"r": np.log(x / y), "f": foods, "p": phases})).fit(), typ=2
    )
    assert (found.food_f, found.phase_f, found.together_f) == approx(tuple(table["F"][:3]), rel=1e-8)
    assert found.fixed_factor_works


@pytest.mark.parametrize(
    "call",
    [
        lambda: deming((1, 2), (1, 2)),
        lambda: deming((1, 2, 3), (1, 2)),
        lambda: deming((1, 1, 1), (1, 2, 3)),
        lambda: passing_bablok((1, 2, 3, 4), (1, 2, 3, 4.5)),
        lambda: phase_bias((1, 2, 3, 4), (1, 2, 3, 4), ("a", "b", "a", "b"), ("x", "x", "y", "y")),
    ],
)
def test_too_few_pairs(call) -> None:
    with pytest.raises(NotEnoughData):
        call()


def test_ratios_of_nothing_are_refused() -> None:
    with pytest.raises(OutsideValidity):
        limits_of_agreement((1, 2, 0), (1, 2, 3), relative=True)

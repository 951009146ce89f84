"""Pooling against the R package metafor (3.8-1, R 4.2.2) on the thirteen BCG vaccine trials of Colditz et al. 1994."""

from __future__ import annotations

import csv
import math
from types import SimpleNamespace

import numpy as np
import pytest
from pytest import approx

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence import (
    bayes_pool,
    fades_without,
    leave_one_out,
    pool,
    ratio_of_means,
    regress,
    small_studies,
    spread_interval,
)
from tests.conftest import DATA, truth


def risk_ratio(events: int, others: int, events_against: int, others_against: int) -> tuple[float, float]:
    """Log risk ratio and its variance, as the textbooks have it."""
    all_of, all_against = events + others, events_against + others_against
    ratio = events / all_of * all_against / events_against
    return math.log(ratio), 1 / events - 1 / all_of + 1 / events_against - 1 / all_against


def bcg() -> SimpleNamespace:
    with (DATA / "bcg_colditz_1994.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    pairs = [risk_ratio(*(int(row[key]) for key in ("tpos", "tneg", "cpos", "cneg"))) for row in rows]
    return SimpleNamespace(
        y=[pair[0] for pair in pairs], v=[pair[1] for pair in pairs], latitude=[float(row["ablat"]) for row in rows]
    )


def test_effects_of_the_tables_are_those_of_metafor() -> None:
    data = bcg()
    assert data.y[0] == approx(-0.8893113339, abs=5e-11)  # metafor 3.8-1 escalc(RR)
    assert data.v[0] == approx(0.3255847650, abs=5e-11)
    assert data.y[-1] == approx(-0.0173139482, abs=5e-11)
    assert data.v[-1] == approx(0.0714046597, abs=5e-11)


@pytest.mark.parametrize("row", truth("pooling_bcg.csv"), ids=lambda row: f"{row.method} {row.quantity}")
def test_pool_agrees_with_metafor(row: SimpleNamespace) -> None:
    data = bcg()
    found = pool(data.y, data.v, method=row.method.split()[-1], hartung_knapp=row.method.startswith("HKSJ"))
    value = getattr(found, row.quantity, None)
    value = getattr(found.terms[0], row.quantity) if value is None else value
    assert value == approx(row.value, abs=row.tolerance)


@pytest.mark.parametrize("row", truth("pooling_bcg_leave_one_out.csv"), ids=lambda row: f"{row.left_out:g}")
def test_leave_one_out_agrees_with_metafor(row: SimpleNamespace) -> None:
    data = bcg()
    found = leave_one_out(data.y, data.v, hartung_knapp=False)[int(row.left_out) - 1]
    for name, tolerance in (("estimate", 6e-6), ("se", 6e-6), ("q", 6e-6), ("tau2", 6e-6), ("i2", 2e-5)):
        assert getattr(found, name) == approx(getattr(row, name), abs=tolerance), name


def test_regression_on_latitude_agrees_with_metafor() -> None:
    data = bcg()
    found = regress(data.y, data.v, {"latitude": data.latitude}, hartung_knapp=False)
    # metafor 3.8-1 rma(mods = ~ ablat); its scoring stops at 1e-5, hence 1e-6 relative here
    assert found.terms[0].estimate == approx(0.2514642944, abs=1e-5)
    assert found.terms[1].estimate == approx(-0.0291016609, abs=1e-7)
    assert found.terms[0].se == approx(0.2491036664, abs=1e-5)
    assert found.terms[1].se == approx(0.0071955548, abs=3e-7)
    assert found.tau2 == approx(0.0763546947, abs=1e-5)
    assert found.qm == approx(16.3571255722, abs=2e-3)
    assert found.r2 == approx(75.6244783615, abs=5e-3)
    assert found.q == approx(30.7331, abs=5e-5)
    assert found.i2 == approx(68.39, abs=5e-3)
    assert np.isnan(found.prediction_low)


def test_small_study_checks_agree_with_metafor() -> None:
    data = bcg()
    found = small_studies(data.y, data.v)
    assert found.statistic == approx(-0.8033, abs=5e-5)  # regtest()
    assert found.p == approx(0.4218, abs=5e-5)
    assert (found.limit, found.limit_low, found.limit_high) == approx((-0.5104, -1.1182, 0.0974), abs=5e-5)
    assert (found.rank_tau, found.rank_p) == approx((0.0256, 0.9524), abs=5e-5)  # ranktest()
    assert (found.missing, found.side) == (1, "right")  # trimfill()
    assert found.filled == approx(-0.6571, abs=5e-5)
    assert found.enough


def test_a_funnel_with_missing_small_null_trials_is_noticed() -> None:
    rng = np.random.default_rng(3)
    errors = rng.uniform(0.05, 0.6, 60)
    effects = rng.normal(0.0, errors)
    seen = (effects > 0.6 * errors) | (errors < 0.12)  # small trials are published only if they shine
    found = small_studies(effects[seen], errors[seen] ** 2)
    assert found.p < 0.05
    assert found.missing > 0 and found.side == "left"
    assert "may be missing" in found.in_words()


def test_turning_the_ratio_upside_down_turns_the_answer() -> None:
    data = bcg()
    there, back = pool(data.y, data.v), pool([-y for y in data.y], data.v)
    assert back.estimate == approx(-there.estimate, rel=1e-12)
    assert (back.low, back.high) == approx((-there.high, -there.low), rel=1e-12)
    assert back.tau2 == approx(there.tau2, rel=1e-9)


def test_intervals_hold_their_level_for_few_trials_that_differ() -> None:
    rng = np.random.default_rng(11)
    inside = plain = runs = 0
    for _ in range(300):
        v = rng.uniform(0.02, 0.2, 6)
        y = 0.2 + rng.normal(0.0, 0.4, 6) + rng.normal(0.0, np.sqrt(v))
        runs += 1
        inside += (found := pool(y, v)).low <= 0.2 <= found.high
        plain += (found := pool(y, v, method="EE", hartung_knapp=False)).low <= 0.2 <= found.high
    assert inside / runs >= 0.92
    assert plain / runs < 0.85  # the check notices an interval that ignores how trials differ


def test_like_studies_have_no_spread_and_an_interval_from_zero() -> None:
    found = pool([0.1, 0.1, 0.1, 0.1], [0.01, 0.02, 0.03, 0.04])
    assert found.tau2 == 0.0
    assert spread_interval(np.array([0.1] * 4), np.full(4, 0.01), np.ones((4, 1)))[0] == 0.0
    assert found.i2 == 0.0


@pytest.mark.parametrize(
    ("effects", "variances", "fault"),
    [
        ([0.1], [0.1], NotEnoughData),
        ([0.1, float("nan")], [0.1, 0.1], UnusableRecord),
        ([0.1, 0.2], [0.1, 0.0], UnusableRecord),
        ([0.1, 0.2], [0.1], UnusableRecord),
        ([0.1, 1e300], [0.1, 0.1], UnusableRecord),
        ([0.1, 0.2, 0.3], [0.1, 1e-300, 0.1], UnusableRecord),
    ],
)
def test_what_cannot_be_pooled_is_refused_with_a_remedy(effects: list[float], variances: list[float], fault: type) -> None:
    with pytest.raises(fault) as caught:
        pool(effects, variances)
    assert caught.value.remedy


def test_moderators_that_follow_each_other_are_refused() -> None:
    data = bcg()
    with pytest.raises(NotEnoughData, match="told apart"):
        regress(data.y, data.v, {"one": data.latitude, "two": [2.0 * x for x in data.latitude]})


def test_a_trial_on_which_the_answer_hinges_is_named() -> None:
    y, v = [0.30, 0.32, 0.31, -0.9], [0.004, 0.004, 0.004, 0.004]
    whole = pool(y, v)
    assert fades_without(whole, leave_one_out(y, v)) == (3,)


def test_ratio_of_means_is_the_log_response_ratio() -> None:
    # Hedges, Gurevitch & Curtis 1999, equation 1: arithmetic by hand
    effect, variance = ratio_of_means(20.0, 4.0, 5, 10.0, 3.0, 4)
    assert effect == approx(0.6931471805599453)
    assert variance == approx(16 / (5 * 400) + 9 / (4 * 100))
    with pytest.raises(UnusableRecord, match="One brew"):
        ratio_of_means(20.0, 4.0, 1, 10.0, 3.0, 4)


# Eight schools (Rubin 1981), mu normal(0, 5), tau half-Cauchy(0, 5): integration and draws of a public posterior collection
EIGHT_Y = (28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0)
EIGHT_SE = (15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0)


def test_eight_schools_posterior_by_integration_and_reference_draws() -> None:
    found = bayes_pool(EIGHT_Y, [se**2 for se in EIGHT_SE], prior_sd=5.0, tau_scale=5.0, tau_prior="half-Cauchy")
    # a separate script's one-dimensional integration
    assert (found.pooled.mean, found.pooled.sd) == approx((4.39680933, 3.31771202), abs=3e-5)
    assert (found.tau.mean, found.tau.sd) == approx((3.59788819, 3.21993797), abs=3e-4)
    means = (6.21197, 4.94019, 3.92697, 4.75711, 3.61543, 4.04258, 6.29681, 4.85427)
    assert [one.mean for one in found.studies] == approx(means, abs=2e-4)
    # posteriordb, eight_schools_noncentered, ten chains of 1000 reference draws: within four Monte Carlo errors
    assert found.pooled.mean == approx(4.41052, abs=4 * 0.033)
    assert (found.pooled.low, found.pooled.high) == approx((-0.936, 9.832), abs=0.2)
    assert found.tau.mean == approx(3.60206, abs=4 * 0.032)
    drawn = (6.1505, 4.93958, 3.90591, 4.79602, 3.61444, 4.05115, 6.31717, 4.884)
    assert [one.mean for one in found.studies] == approx(drawn, abs=4 * 0.056)
    drawn_sd = (5.61558, 4.64535, 5.28045, 4.7707, 4.61449, 4.79601, 5.00261, 5.31743)
    assert [one.sd for one in found.studies] == approx(drawn_sd, abs=0.2)
    assert (found.studies[0].low, found.studies[0].high) == approx((-1.68069, 16.3294), abs=0.45)


def test_a_pool_of_precise_like_studies_forgets_its_prior() -> None:
    found = bayes_pool([0.4] * 30, [1e-4] * 30)
    assert found.pooled.mean == approx(0.4, abs=2e-3)
    assert found.next_study.high - found.next_study.low < 0.1
    assert found.probability_above == approx(1.0)

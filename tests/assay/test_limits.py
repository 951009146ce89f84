"""Error model and limits of detection."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    censored_mean,
    characterise,
    fit_two_component,
    fit_variances,
    limits_from_blanks,
    limits_from_model,
    noncentrality,
    study_from_table,
)
from aerobe.errors import NotEnoughData


def test_variances_alone_give_the_same_answer_as_a_gamma_regression() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    means, df = np.array([0.0, 10, 30, 80, 200]), np.full(5, 9.0)
    variances = (9 + (0.12 * means) ** 2) * rng.chisquare(9, 5) / 9
    a, b, _ = fit_variances(means, variances, df)
    glm = sm.GLM(
        variances, sm.add_constant(means**2), family=sm.families.Gamma(sm.families.links.Identity()), freq_weights=df / 2
    ).fit(start_params=[9.0, 0.0144], tol=1e-12)
    assert (float(a), float(b)) == approx(tuple(glm.params), rel=1e-6)


def test_intervals_of_both_components_hold_the_truth() -> None:
    rng = np.random.default_rng(4)
    levels = np.array([0, 0, 10, 40, 100, 250.0])
    hits = np.zeros(2)
    for _ in range(60):
        groups = [list(5 + level + np.hypot(3.0, 0.12 * level) * rng.standard_normal(5)) for level in levels]
        found = fit_two_component(groups, background=5.0)
        hits += [found.constant_low <= 3.0 <= found.constant_high, found.proportional_low <= 0.12 <= found.proportional_high]
    assert np.all(hits >= 46)  # 54 expected of 60 at 90 %


# Currie 1968 and IUPAC 1995 (from memory), in units of the blank's sd: known blank 1.645, 3.290, 10; paired 2.326, 4.653, 14.14.
def test_currie_constants() -> None:
    known, paired = limits_from_model(1.0, 0.0), limits_from_model(1.0, 0.0, blanks=1)
    assert (known.critical, known.detection, known.quantification) == approx((1.6448536, 3.2897073, 10.0), rel=1e-7)
    assert (paired.critical, paired.detection, paired.quantification) == approx((2.3261743, 4.6523486, 14.1421356), rel=1e-7)


# ISO 11843 with sd unknown: noncentral Student, scipy's distribution as the reference.
@pytest.mark.parametrize(("df", "value"), [(4, 4.067276), (6, 3.751604), (9, 3.575385)])
def test_detection_with_few_blanks(df: float, value: float) -> None:
    from scipy.stats import nct, t

    assert noncentrality(df) == approx(value, abs=1e-6)
    assert nct.cdf(t.ppf(0.95, df), df, noncentrality(df)) == approx(0.05, abs=1e-9)


def test_false_alarms_and_misses_happen_as_often_as_stated() -> None:
    rng = np.random.default_rng(6)
    blanks = rng.normal(10, 2, (4000, 6))
    found = [limits_from_blanks(row) for row in blanks]
    zero, weak = rng.normal(10, 2, 4000), rng.normal(10, 2, 4000)
    alarms = np.mean([y - row.mean() > item.critical for y, row, item in zip(zero, blanks, found, strict=True)])
    true_detection = noncentrality(5) * 2 * math.sqrt(1 + 1 / 6)
    missed = np.mean([y + true_detection - row.mean() <= item.critical for y, row, item in zip(weak, blanks, found, strict=True)])
    assert alarms == approx(0.05, abs=0.012) and missed == approx(0.05, abs=0.012)


def test_a_proportional_part_raises_the_detection_limit() -> None:
    assert limits_from_model(3.0, 0.2).detection > limits_from_model(3.0, 0.0).detection
    assert limits_from_model(3.0, 0.2, relative_sd=0.1).quantification == math.inf
    found = limits_from_model(3.0, 0.2)
    assert found.detection - found.critical == approx(1.6448536 * math.hypot(3.0, 0.2 * found.detection), rel=1e-6)


def test_censored_readings_stay_below_and_are_not_zero() -> None:
    rng = np.random.default_rng(7)
    y = rng.normal(10, 3, 4000)
    below = y < 9
    mean, sd, low, high = censored_mean(np.where(below, 9.0, y), below)
    assert mean == approx(10, abs=0.2) and sd == approx(3, abs=0.15) and low < mean < high
    assert np.where(below, 0.0, y).mean() < 8 and np.where(below, 9.0, y).mean() > 10.5  # what zeros or the limit would say


def test_censored_mean_without_censoring_is_the_mean() -> None:
    y = [4.0, 5.5, 7.0, 6.1]
    mean, sd, _, _ = censored_mean(y, [False] * 4)
    assert (mean, sd) == approx((np.mean(y), np.std(y)), rel=1e-5)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: limits_from_blanks([1.0, 2.0]), "blanks"),
        (lambda: limits_from_blanks([3.0, 3.0, 3.0]), "rounding"),
        (lambda: fit_two_component([[5.0], [9.0]]), "repeated"),
        (lambda: fit_two_component([[5.0, 5.0, 5.0], [9.0, 9.0, 9.0]]), "rounding"),
        (lambda: censored_mean([3.0, 3.0, 4.0], [True, True, False]), "detection limit"),
    ],
)
def test_too_little_is_said_to_be_too_little(call, word: str) -> None:
    with pytest.raises(NotEnoughData, match=word) as caught:
        call()
    assert caught.value.remedy


def test_equal_readings_with_a_limit_beside_them_show_no_scatter() -> None:
    # On paper: with 5, 5 and "below 5" the likelihood grows without end as the width goes to nought.
    with pytest.raises(NotEnoughData, match="hidden by rounding"):
        censored_mean([5.0, 5.0, 5.0], [False, False, True])
    assert censored_mean([5.0, 5.0, 3.0], [False, False, True])[0] < 5.0  # one below 3 is not of the same value
    table = "role,signal,unit,what\n" + "water blank,5,x,\n" * 2 + "water blank,<5,x,\n"
    table += "".join(f"sample,{value},x,tea\n" for value in (90, 103, 97, 88))
    found = characterise(study_from_table(table, name="cards", method="colour test"))
    assert found.background == 5.0

"""Numbers of a surface and of a scatter by laws of the textbook."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from pytest import approx
from scipy import stats

from aerobe.verdicts import fit_effects, judge, lay_out, share_luck, together_on_days
from aerobe.verdicts._days import most_trusted
from aerobe.verdicts._judge_surface import _go_together
from aerobe.verdicts._small_trials import _scatters
from aerobe.verdicts._surface_brews import farthest_brew
from tests.verdicts.kept_inputs import surface_trial


def test_the_scatter_about_a_surface_has_the_interval_of_its_chi_squared() -> None:
    # On paper: df s^2 / sigma^2 is chi-squared; 5 and 95 %.
    found = judge(*surface_trial())
    assert found.brew_sd is not None
    for share, bound in ((0.95, found.brew_sd_low), (0.05, found.brew_sd_high)):
        assert bound == approx(found.brew_sd * math.sqrt(found.df / stats.chi2.ppf(share, found.df)))


def test_the_chance_of_a_gain_of_a_surface_is_read_off_its_t_law() -> None:
    found = judge(*surface_trial())
    (one,) = found.comparisons
    assert one.effect is not None and one.error is not None and one.probability_same is not None
    bound = math.log(found.margin)
    better, over = (float(stats.t.sf((at - one.effect) / one.error, found.df)) for at in (bound, -bound))
    assert (one.probability_better, one.probability_worse) == approx((better, 1.0 - over))
    assert one.probability_same == approx(over - better)


def test_factors_go_together_with_labels_by_the_adjusted_share_of_an_analysis_of_variance() -> None:
    # By hand: levels 0, 2 | 1, 5 have 4 of 14 between the labels, adjusted for one label more 1 - (10/14)(3/2) < 0: by lot.
    levels = np.array([[0.0, 1.0], [2.0, 1.0], [1.0, 0.0], [5.0, 3.0]])
    assert not _go_together(levels, ["a", "a", "b", "b"])
    # 0, 0.1, 0 | 5, 5.1, 5: nearly all of it lies between them.
    assert _go_together(np.array([[0.0], [0.1], [0.0], [5.0], [5.1], [5.0]]), ["a", "a", "a", "b", "b", "b"])


def test_the_brew_farthest_off_is_the_one_of_statsmodels() -> None:
    # Externally studentised residuals: the brew left out of its own scatter.
    along = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    matrix = np.column_stack([np.ones(7), along])
    logs = np.array([0.1, 1.3, 1.8, 3.2, 2.1, 5.2, 5.9])
    design = SimpleNamespace(matrix=matrix, inverse=np.linalg.pinv(matrix), df=5)
    place, chance, off = farthest_brew(design, logs)  # type: ignore[arg-type]
    influence = sm.OLS(logs, matrix).fit().get_influence()
    t = influence.resid_studentized_external
    assert place == np.argmax(np.abs(t)) == 4
    assert chance == approx(7 * 2.0 * stats.t.sf(abs(t[4]), 4))
    without = np.delete(np.arange(7), 4)
    fitted = np.linalg.lstsq(matrix[without], logs[without], rcond=None)[0]
    assert off == approx(logs[4] - matrix[4] @ fitted)
    few = SimpleNamespace(matrix=matrix[:3], inverse=np.linalg.pinv(matrix[:3]), df=1)
    assert farthest_brew(few, logs[:3])[1:] == (1.0, 0.0)  # type: ignore[arg-type]


def test_scatters_tried_are_all_alike_one_noisy_and_all_but_one() -> None:
    three = [[1, 1, 1], [4.5, 1, 1], [1, 4.5, 4.5], [1, 4.5, 1], [4.5, 1, 4.5], [1, 1, 4.5], [4.5, 4.5, 1]]
    assert np.array(_scatters(3)) == approx(np.array(three))
    assert np.array(_scatters(2)) == approx(np.array([[1, 1], [4.5, 1], [1, 4.5]]))


def test_an_interval_in_few_days_holds_though_one_arm_is_four_times_as_noisy() -> None:
    """Counted in 8,000 trials, standard error 0.4 points: 85 to 86 % where no heed is given to what stands out."""
    layout = lay_out([0, 1, 2] * 3, [day for day in "abc" for _ in range(3)])
    draws, rows = np.random.default_rng(5).normal(size=(8000, 9)), np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    held = {}
    for sds in ((1.0, 1.0, 1.0), (4.0, 1.0, 1.0), (1.0, 4.0, 1.0)):
        found = fit_effects(draws * np.tile(sds, 3), layout, rows)
        held[sds] = float(((found.quantile(0.05) < 0.0) & (found.quantile(0.95) > 0.0))[:, 0].mean())
    assert min(held.values()) > 0.865 and held[1.0, 1.0, 1.0] < 0.94


def test_brews_of_a_day_are_believed_where_the_analysis_of_variance_finds_days_alike() -> None:
    arms, days = [0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1], [day for day in "abc" for _ in range(4)]
    own = np.array([0.0, 0.3, 1.0, 1.1, 0.5, 0.1, 0.8, 1.4, 0.2, 0.6, 1.5, 1.2])
    luck = np.repeat([0.5, -0.4, -0.3, 0.4, 0.1, 0.6], 2)
    found = []
    for share in (-0.2, 0.0, 0.1, 0.25, 0.4, 1.0):
        table = pd.DataFrame({"y": own + share * luck, "arm": arms, "day": days})
        fit = smf.ols("y ~ C(arm) * C(day)", table).fit()
        ratio = sm.stats.anova_lm(fit, typ=2).loc["C(arm):C(day)", "F"]
        found.append(ratio >= most_trusted(2, 6))
        assert share_luck(table.y.to_numpy(), arms, days) == found[-1], (share, ratio)
    assert set(found) == {True, False}
    both = share_luck(np.array([own + share * luck for share in (-0.2, 1.0)]), arms, days)
    assert both.tolist() == [found[0], True]
    assert together_on_days([1, 0, 1, 0], ["b", "a", "b", "b"]) == [[0, 2], [1], [3]]
    assert not share_luck(own[:4], [0, 0, 1, 1], list("aaaa")) and not share_luck(own[:4], [0, 1, 0, 1], list("aabb"))


@pytest.mark.parametrize(("between", "within"), [(2, 6), (3, 8), (5, 12)])
def test_days_are_trusted_as_far_as_no_luck_makes_more_than_six_claims_in_a_hundred_false(between: int, within: int) -> None:
    """Counted by drawing, with scipy's tests; without the look at the scatters the worst luck makes 30 in 100 false."""
    rng = np.random.default_rng(7)
    worst, bound = 0.0, most_trusted(between, within)
    own, rest, away = rng.chisquare(between, 100000) / between, rng.chisquare(within, 100000) / within, rng.normal(size=100000)
    for luck in (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0):
        days, both = luck * own, (between * luck * own + within * rest) / (between + within)
        alone = np.abs(away) * np.sqrt(luck / days) > stats.t.isf(0.025, between)
        pooled = np.abs(away) * np.sqrt(luck / both) > stats.t.isf(0.025, between + within)
        worst = max(worst, float(np.where(days >= bound * rest, alone, pooled).mean()))
    assert 0.054 < worst < 0.061
    assert most_trusted(1, within) == 0.0  # two days show nothing of their luck

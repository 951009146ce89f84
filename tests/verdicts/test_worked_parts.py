"""Numbers of a surface and of a scatter by laws of the textbook."""

from __future__ import annotations

import math

import numpy as np
from pytest import approx
from scipy import stats

from aerobe.verdicts import judge
from aerobe.verdicts._judge_surface import _go_together
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

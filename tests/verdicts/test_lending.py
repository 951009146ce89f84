"""Arms lend each other what they know of the scatter: power comes back where all is fair, and a noisy arm is not believed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from aerobe.verdicts import call_contrasts, filled_in, fit_effects, hull, lay_out

TRIALS = 8000  # standard error of a rate near 5 %: 0.25 points


def told(counts: tuple[int, ...], sds: tuple[float, ...], effect: float = 0.0, *, blocked: bool = False) -> tuple[float, float]:
    """Share of trials with any claim, and with the second arm told above the first."""
    arms = [arm for i in range(max(counts)) for arm, count in enumerate(counts) if i < count]
    days = [str(i) for i in range(max(counts)) for count in counts if i < count]
    rows = np.array([[-1.0, *(float(i == j) for j in range(1, len(counts)))] for i in range(1, len(counts))])
    draw = np.random.default_rng(11).normal(size=(TRIALS, len(arms))) * np.array(sds)[arms]
    effects = fit_effects(draw + effect * (np.array(arms) == 1), lay_out(arms, days if blocked else [""] * len(arms)), rows)
    calls = call_contrasts(effects, math.log(1.25))
    return float((calls.above | calls.below).any(axis=1).mean()), float(calls.above[:, 0].mean())


@pytest.mark.parametrize(
    ("counts", "sds", "blocked"),
    [
        ((4, 4), (1.0, 4.0), False),
        ((5, 5), (1.0, 3.0), False),
        ((3, 3, 3), (3.0, 1.0, 1.0), False),
        ((4, 4, 4), (1.0, 5.0, 5.0), False),
        ((5,) * 5, (3.0, 1.0, 1.0, 1.0, 1.0), False),
        ((4,) * 5, (1.0, 3.0, 3.0, 3.0, 3.0), False),
        ((3,) * 7, (3.0, *(1.0,) * 6), False),
        ((8, 4, 4, 4, 4), (1.0, 1.0, 3.0, 3.0, 3.0), False),
        ((10, 5, 5), (1.0, 3.0, 3.0), False),
        ((3,) * 5, (5.0, 1.0, 1.0, 1.0, 1.0), True),
        ((4,) * 5, (3.0, 1.0, 1.0, 1.0, 1.0), True),
        ((2, 2, 2), (1.0, 4.0, 1.0), True),
        ((2, 2, 2, 2), (4.0, 1.0, 1.0, 1.0), False),
        ((4, 4, 4), (4.0, 1.0, 1.0), True),
        ((2, 4, 4), (4.0, 1.0, 1.0), True),
        ((4, 2, 4), (1.0, 4.0, 4.0), True),
    ],
)
def test_a_noisy_arm_is_not_believed(counts: tuple[int, ...], sds: tuple[float, ...], blocked: bool) -> None:
    assert told(counts, sds, blocked=blocked)[0] <= 0.06 + 0.006


# Brews of each day by their arms; a noisy arm, and the power of the paired or of Welch's comparison of earlier versions, where
# one scatter for both (or all) arms tells 80 % and holds its level only if they scatter alike.
UNEVEN = (("abb ab b", 0.40), ("ab ab bb", 0.40), ("aab bb b", 0.50), ("ab ab aba b", 0.57), ("abb abb", 0.20), ("abc abc", 0.62))


@pytest.mark.parametrize(("days", "least"), UNEVEN)
def test_few_brews_in_unequal_days_tell_what_the_layout_can_bear(days: str, least: float) -> None:
    labels = [(arm, str(day)) for day, arms in enumerate(days.split()) for arm in arms]
    arms = np.array(["abc".index(arm) for arm, _ in labels])
    layout = lay_out(arms.tolist(), [day for _, day in labels])
    rows = np.array([[-1.0, *(float(i == j) for j in range(1, layout.n_arms))] for i in range(1, layout.n_arms)])
    draw = np.random.default_rng(13).normal(size=(TRIALS, len(arms)))
    for noisy in range(layout.n_arms):
        calls = call_contrasts(fit_effects(draw * np.where(arms == noisy, 4.0, 1.0), layout, rows), math.log(1.25))
        assert (calls.above | calls.below).any(axis=1).mean() <= 0.06 + 0.006
    weights = np.linalg.pinv(layout.matrix)
    unit = float(np.linalg.norm(weights[1] - weights[0]))
    # Student's two-sided bar, and the shift at which it is passed four times in five (scipy).
    bar = stats.t.ppf(1.0 - 0.025 / len(rows), layout.df)
    shift = next(d for d in np.arange(1.0, 20.0, 0.05) if stats.nct.sf(bar, layout.df, d) > 0.8)
    told = call_contrasts(fit_effects(draw + shift * unit * (arms == 1), layout, rows), math.log(1.25)).above[:, 0].mean()
    assert least < told < 0.8


def test_two_like_arms_of_four_brews_lose_three_points_at_most_against_one_scatter() -> None:
    # Student's t test of scipy on the same trials.
    draw = np.random.default_rng(11).normal(size=(TRIALS, 8))
    order = [0, 1] * 4
    shifted = draw + 2.4 * np.array(order)
    test = stats.ttest_ind(shifted[:, 1::2], shifted[:, 0::2], axis=1)
    student = float(((test.pvalue < 0.05) & (test.statistic > 0)).mean())
    assert told((4, 4), (1.0, 1.0), 2.4)[1] > student - 0.032


def test_seven_arms_of_three_brews_gain_from_each_other() -> None:
    # Each by its own three brews: 28 % (counted over 10,000 trials).
    assert told((3,) * 7, (1.0,) * 7, 3.4)[1] > 0.42


def test_a_lost_brew_stands_at_the_end_of_its_arm_that_speaks_against_the_contrast() -> None:
    values = np.array([1.0, 2.0, 4.0, 10.0, 20.0])  # three brews of arm 0, two of arm 1
    arms, blocks, filled = filled_in([0, 0, 0, 1, 1], [""] * 5, values, [(1, "")], np.array([-1.0, 1.0]), towards=-1.0)
    assert arms == [0, 0, 0, 1, 1, 1] and len(blocks) == 6
    assert filled.tolist() == [1.0, 2.0, 4.0, 10.0, 20.0, 10.0]  # by hand: the lower of 10 and 20
    many = np.tile(np.arange(21.0), (2, 1))  # the outer tenth of 21 results is the third from the end
    _, _, spread = filled_in([0] * 21, [""] * 21, many, [(0, "")], np.array([1.0]), towards=1.0)
    assert spread[:, -1].tolist() == [18.0, 18.0]


def test_several_answers_hold_what_all_of_them_do() -> None:
    layout, row = lay_out([0, 0, 0, 1, 1, 1]), np.array([[-1.0, 1.0]])
    one = call_contrasts(fit_effects(np.array([0.0, 0.1, -0.1, 1.0, 1.1, 0.9]), layout, row), 0.2)
    two = call_contrasts(fit_effects(np.array([0.0, 0.1, -0.1, 0.0, 0.1, -0.1]), layout, row), 0.2)
    both = hull([one, two])
    assert bool(one.above[0]) and not bool(both.above[0])
    # 0.0816 = sqrt(2 * 0.01 / 3); 2.132 is the table of t at 5 % and 4 degrees of freedom (from memory; scipy agrees).
    assert both.low[0] == pytest.approx(-2.132 * 0.0816, abs=2e-3)
    assert both.high[0] == pytest.approx(1.0 + 2.132 * 0.0816, abs=2e-3)

"""Numbers of brews that are too alike and of brews that died: by scipy and statsmodels, or on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from pytest import approx
from scipy import optimize, stats

from aerobe.verdicts import BrewResult, lay_out
from aerobe.verdicts._implausible import _Gap, _gaps, _in_sets, _step_of, _tail, _twins, too_alike
from aerobe.verdicts._layout import Layout
from aerobe.verdicts._outliers import _by_its_own_arm, dead_brew


def brews(values: Sequence[float], test_sd: float = 0.0) -> list[BrewResult]:
    return [
        BrewResult(brew=f"b{i}", arm="a", value=value, test_log_sd=test_sd, test_is_measured=test_sd > 0.0)
        for i, value in enumerate(values)
    ]


def gaps(*shares: float, arm: int = 0) -> list[_Gap]:
    return [_Gap(share, arm, place, place, place + 1) for place, share in enumerate(shares)]


def test_each_gap_is_measured_against_those_beside_it() -> None:
    # On paper: gaps of 1, 1/2 and 2. A gap at the end is uniform in itself and its one neighbour, 1 / 1.5 and 2 / 2.5; one
    # with two neighbours is the least of three, 1 - (1 - 0.5 / 3.5)^2.
    order = np.array([3, 0, 2, 1])
    found = _gaps(np.array([0.0, 1.0, 1.5, 3.5]), np.zeros(3), 7, order)
    assert [gap.share for gap in found] == approx([1.0 / 1.5, 1.0 - (6.0 / 7.0) ** 2, 0.8])
    assert [(gap.arm, gap.place, gap.below, gap.above) for gap in found] == [(7, 0, 3, 0), (7, 1, 0, 2), (7, 2, 2, 1)]
    # A step of 0.1: the gap may be a step more, its neighbours a step less, and never below nought.
    coarse = _gaps(np.array([0.0, 1.0, 1.5, 3.5]), np.full(3, 0.1), 0, order)
    assert [gap.share for gap in coarse] == approx([1.1 / 1.5, 1.0 - (2.8 / 3.4) ** 2, 2.1 / 2.5])
    assert [gap.share for gap in _gaps(np.array([0.0, 1.0, 1.05]), np.full(2, 0.1), 0, order)] == approx([1.0, 0.15 / 1.05])


def test_small_gaps_are_counted_by_the_binomial() -> None:
    # scipy's binomial: at least k of five as small as the k-th smallest, the least of the five chances, five times.
    shares = [0.02, 0.9, 0.03, 0.5, 0.04]
    tails = [float(stats.binom.sf(k - 1, 5, share)) for k, share in enumerate(sorted(shares), start=1)]
    assert _tail(gaps(*shares)) == approx(5.0 * min(tails)) and np.argmin(tails) == 2
    assert _tail(gaps(0.2)) == approx(0.2)


def test_gaps_inside_sets_add_up_to_a_sum_of_uniforms() -> None:
    # On paper (Irwin 1927, Hall 1927, from memory): two uniforms are under 0.3 together in 0.3^2 / 2, under 1.5 in 1 - 0.5^2 / 2;
    # three under 1.5 in a half; four under 1 in 1 / 24.
    assert _in_sets(gaps(0.1, 0.9, 0.2), 2) == approx(0.045)
    assert _in_sets(gaps(0.7, 0.9, 0.8), 2) == approx(0.875)
    assert _in_sets(gaps(0.4, 0.9, 0.5, 0.9, 0.6), 2) == approx(0.5)
    assert _in_sets(gaps(0.2, 0.3, 0.9, 0.4, 0.1), 3) == approx(1.0 / 24.0)
    # Two arms of four: all four inner gaps.
    assert _in_sets([*gaps(0.2, 0.9, 0.3), *gaps(0.4, 0.9, 0.1, arm=1)], 2) == approx(1.0 / 24.0)
    # Five brews make no pairs, two make one set only, and either arm must divide.
    assert _in_sets(gaps(0.1, 0.1, 0.1, 0.1), 2) == 1.0 == _in_sets(gaps(0.1), 2) == _in_sets(gaps(0.1, 0.1, 0.1), 3)
    assert _in_sets([*gaps(0.1, 0.9, 0.1), *gaps(0.1, 0.9, arm=1)], 2) == 1.0
    # Twenty-two small gaps, or a sum beyond four, are left to the other way of counting.
    assert _in_sets(gaps(*[0.1, 0.9] * 19, 0.1), 2) == approx((2.0**20 - 20.0) / math.factorial(20), abs=1e-18)
    assert _in_sets(gaps(*[0.1, 0.9] * 20, 0.1), 2) == 1.0
    assert _in_sets(gaps(*[0.81, 0.9] * 4, 0.81), 2) == 1.0
    assert _in_sets(gaps(*[0.79, 0.9] * 4, 0.79), 2) == approx(1.0 - 1.05**5 / 120.0 + 5.0 * 0.05**5 / 120.0)


def test_the_step_of_a_scale_is_the_coarsest_that_all_readings_fall_on() -> None:
    for values, step in (([0.25, 0.5], 0.25), ([0.3, 0.7], 0.1), ([4.0, 6.0], 2.0), ([30.0, 20.0], 10.0), ([1.0, 2.5, 3.1], 0.1)):
        assert _step_of(values) == approx(step)
    # Means of three readings to a tenth; cells at 0.021 each; brews with nothing in them; no step.
    assert _step_of([1.2 / 3.0, 1.6 / 3.0, 0.0, 2.3 / 3.0]) == approx(0.1 / 3.0)
    assert _step_of([0.021 * count for count in (12, 31, 8, 45)]) == approx(0.021)
    # Euclid's algorithm on whole numbers, for sets long and short; rounding must not add up over the remainders.
    assert _step_of([91.95, 105.9, 105.9, 60.099999999999994, 63.25, 57.85]) == approx(0.05)
    rng = np.random.default_rng(5)
    for _ in range(400):
        counts = rng.integers(1, 20_000, rng.integers(2, 25))
        unit = rng.choice([0.01, 0.05, 0.1, 0.25, 1.0, 7.3, 0.1 / 3.0])
        assert _step_of([unit * int(count) for count in counts]) == approx(unit * math.gcd(*map(int, counts)))
    assert _step_of([0.0, 0.0]) == 1.0 and _step_of([math.pi, math.e]) < 1e-6


def test_small_readings_typed_twice_are_told_like_large_ones() -> None:
    # On paper: to 0.01, pairs 0.16 and 0.27 apart: 0.01 / 0.16 twice and 0.01 / 0.27 twice, (0.199)^4 / 24 = 0.00007.
    layout, once = lay_out([0] * 4 + [1] * 4), np.array([0.31, 0.31, 0.47, 0.47, 0.28, 0.28, 0.55, 0.55])
    for size in (0.01, 1.0, 1000.0):
        found = too_alike(brews(list(size * once)), size * once, layout, are_logs=False)
        assert found is not None and found.name == "double entry"


@pytest.mark.parametrize("arm", [0, 1, 2])
def test_pairs_of_one_arm_among_three_in_blocks_are_told_at_one_in_a_thousand(arm: int) -> None:
    # On paper: four brews at 0, e, 1, 1 + e: each outer gap is e of itself and its neighbour; both are as small with chance
    # (2e)^2 / 2, and three arms are tried: e = root(0.001 / 6) = 0.01291.
    blocks = [str(i % 4) for i in range(12)]
    layout = lay_out([i // 4 for i in range(12)], blocks)
    for e, told in ((0.0128, True), (0.0130, False)):
        rows = [np.array([0.0, 1.0, 2.1, 3.3]), np.array([2.2, 0.3, 3.7, 1.1]), np.array([1.3, 3.1, 0.4, 2.0])]
        rows[arm] = np.array([1.0, 0.0, 1.0 + e, e])
        found = too_alike(brews([math.pi + i for i in range(12)]), np.concatenate(rows), layout, are_logs=False)
        assert (found is not None) is told
        if found is not None:
            first = 4 * arm
            assert found.name == "double entry" and found.blocks_claim
            assert f"(b{first + 1} and b{first + 3}, for" in found.words or f"(b{first} and b{first + 2}, for" in found.words


def test_arms_without_blocks_speak_together() -> None:
    # On paper: two arms of four in pairs, each outer gap e: four uniforms are under 4e together in (4e)^4 / 24 = 0.001: 0.0984.
    layout = lay_out([0] * 4 + [1] * 4)
    for e, told in ((0.098, True), (0.099, False)):
        row = np.array([0.0, e, 1.0, 1.0 + e])
        values = np.concatenate([row, 5.0 + row])
        results = brews([math.pi + i for i in range(8)])
        assert (_twins(results, values, layout, are_logs=False) is not None) is told
    # Readings to whole numbers: equal ones are alike by the scale, 1 in 12 - 1; as logs the step is 1 / 3, of 3.
    whole = [3.0, 3.0, 4.0, 4.0, 15.0, 15.0, 17.0, 17.0]
    assert too_alike(brews(whole), np.array(whole), layout, are_logs=False) is None
    assert too_alike(brews(whole), np.log(whole), layout, are_logs=True) is None
    fine = [3001.0, 3001.0, 4003.0, 4003.0, 1507.0, 1507.0, 1709.0, 1709.0]
    assert too_alike(brews(fine), np.array(fine), layout, are_logs=False) is not None
    assert too_alike(brews(fine), np.log(fine), layout, are_logs=True) is not None


def test_brews_cannot_scatter_less_than_their_test_errs() -> None:
    # scipy's chi-square: six brews of two arms leave four degrees; their sum of squares over the least known variance of a test.
    layout = lay_out([0, 0, 0, 1, 1, 1])
    shape = np.array([-1.0, 0.1, 0.9, 0.9, -1.0, 0.1])
    squares = float(np.sum((shape - np.repeat([shape[:3].mean(), shape[3:].mean()], 3)) ** 2))
    edge = 0.2 * math.sqrt(float(stats.chi2.ppf(0.001, 4)) / squares)
    values = [math.pi * 10.0**i for i in range(6)]
    for factor, told in ((0.99, "likeness of brews"), (1.01, None)):
        found = too_alike(brews(values, 0.2), factor * edge * shape + [1, 1, 1, 4, 4, 4], layout, are_logs=True)
        assert (found.name if found else None) == told
    results = [*brews(values, 0.3)[:5], *brews(values, 0.2)[5:]]
    assert too_alike(results, 1.01 * edge * shape, layout, are_logs=True) is None  # the best of the tests is asked
    assert too_alike(results, 0.99 * edge * shape, layout, are_logs=True) is not None
    unknown = [*brews(values, 0.2)[:5], *brews(values)[5:]]
    assert too_alike(unknown, 0.5 * edge * shape, layout, are_logs=True) is None
    assert too_alike(brews([1.1, 2.3], 0.2), np.array([0.0, 0.0]), lay_out([0, 1]), are_logs=True) is None


NOISE = np.random.default_rng(4).normal(0.0, 0.3, 24)


def _by_statsmodels(values: np.ndarray, layout: Layout, place: int) -> tuple[float, float]:
    """Chance of the brew by the residuals of all others, and by those of its own arm, each for any of the brews."""
    sm = pytest.importorskip("statsmodels.api")
    influence = sm.OLS(values, layout.matrix).fit().get_influence()
    t, df = float(influence.resid_studentized_external[place]), layout.df - 1
    keep = np.arange(len(values)) != place
    rest = sm.OLS(values[keep], layout.matrix[keep]).fit()
    arm = int(np.argmax(layout.membership[place]))
    mates = layout.membership[keep, arm] == 1.0
    own_df = df * mates.sum() / len(mates)
    foretold = layout.matrix[place] @ rest.params
    width = 1.0 + layout.matrix[place] @ np.linalg.pinv(layout.matrix[keep].T @ layout.matrix[keep]) @ layout.matrix[place]
    own_t = (values[place] - foretold) / math.sqrt(width * float(np.sum(rest.resid[mates] ** 2)) / own_df)
    n = len(values)
    return 2.0 * float(stats.t.sf(abs(t), df)) * n, 2.0 * float(stats.t.sf(abs(own_t), own_df)) * n


def test_a_brew_that_died_in_blocks_is_far_by_all_and_by_its_own_arm() -> None:
    # statsmodels' externally studentised residual, and the same with the residuals of the arm alone; both below 1 in 100.
    layout = lay_out([i % 3 for i in range(24)], [str(i // 3) for i in range(24)])

    def values(off: float) -> np.ndarray:
        moved = NOISE.copy()
        moved[10] -= off
        return moved

    edge = float(optimize.brentq(lambda off: max(_by_statsmodels(values(off), layout, 10)) - 0.01, 0.5, 9.0))
    everyone, own = _by_statsmodels(values(edge), layout, 10)
    assert everyone != approx(own, rel=0.1)
    assert dead_brew(values(1.01 * edge), layout) == 10 and dead_brew(values(0.99 * edge), layout) is None
    hat = layout.matrix @ np.linalg.pinv(layout.matrix)
    free = 1.0 - float(hat[10, 10])
    off = float((values(3.0) - hat @ values(3.0))[10]) / free
    assert _by_its_own_arm(values(3.0), layout, 10, off, free) == approx(_by_statsmodels(values(3.0), layout, 10)[1], rel=1e-9)


def test_of_two_arms_in_blocks_half_as_many_brews_are_tried() -> None:
    # As above; brews in pairs have residuals in pairs, so that the chance is for half of them.
    layout = lay_out([i % 2 for i in range(16)], [str(i // 2) for i in range(16)])

    def values(off: float) -> np.ndarray:
        moved = NOISE[:16].copy()
        moved[5] -= off
        return moved

    edge = float(optimize.brentq(lambda off: _by_statsmodels(values(off), layout, 5)[0] / 2.0 - 0.01, 0.5, 9.0))
    assert dead_brew(values(1.01 * edge), layout) == 5 and dead_brew(values(0.99 * edge), layout) is None


def test_of_two_arms_in_blocks_without_pairs_all_brews_are_tried() -> None:
    # As above, with one brew of the first arm and two of the second on each day: no two residuals are the same.
    layout = lay_out([0, 1, 1] * 8, [str(i // 3) for i in range(24)])

    def values(off: float) -> np.ndarray:
        moved = NOISE.copy()
        moved[10] -= off
        return moved

    edge = float(optimize.brentq(lambda off: _by_statsmodels(values(off), layout, 10)[0] - 0.01, 0.5, 9.0))
    assert dead_brew(values(1.01 * edge), layout) == 10 and dead_brew(values(0.99 * edge), layout) is None

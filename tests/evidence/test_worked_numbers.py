"""Numbers behind a pool of many trials: by hand, or computed another way and named so."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import optimize, special, stats

from aerobe.errors import ImportFault, UnusableRecord
from aerobe.evidence import (
    TrialContrast,
    contrasts_from_table,
    flags,
    pool_brews,
    prediction_interval,
    ratio_of_means,
    selection,
    site_means,
    small_studies,
    spread_interval,
    too_alike,
    weigh,
)
from aerobe.evidence._blocks import Blocks, given_spreads
from aerobe.evidence._checks import trim_and_fill
from aerobe.evidence._copies import _distance
from aerobe.evidence._hierarchical import mixture
from aerobe.evidence._many import _mode
from aerobe.evidence._spread import spread
from tests.evidence.test_headline import trial
from tests.evidence.test_many_and_network import brews_of
from tests.evidence.test_pooling import bcg


def test_a_trial_enters_a_pool_with_the_normal_law_of_its_own_interval() -> None:
    # By hand: t of 4 degrees at 95 % of one side is 2.131847, the normal 1.644854 (from memory; scipy agrees).
    few = trial("t", 0.1, 0.04, df=4.0)
    assert few.pool_variance() == approx(0.04 * (2.131847 / 1.644854) ** 2, rel=1e-6)
    assert replace(few, df=0.0, brews=0, brews_against=0).pool_variance() == approx(0.04)
    # Brews stand in for degrees that are not told: 3 and 3 leave 4; one of each leaves none.
    assert replace(few, df=0.0, brews=3, brews_against=3).pool_variance() == approx(few.pool_variance())
    assert replace(few, df=0.0, brews=1, brews_against=1).error_df() == 0.0
    told = replace(few, low=-0.3, high=0.7)
    assert told.pool_variance() == approx((1.0 / (2.0 * 1.644854)) ** 2, rel=1e-6)
    turned = replace(told, brews=3, brews_against=5, shared_variance=0.01).turned()
    assert (turned.recipe, turned.against, turned.effect, turned.low, turned.high) == ("plain", "kelp", -0.1, -0.7, 0.3)
    assert (turned.brews, turned.brews_against, turned.shared_variance) == (5, 3, 0.0)


def test_effects_from_printed_means_and_counts() -> None:
    # By hand: ln(20 / 10); (4 / 20)^2 / 5 + (3 / 10)^2 / 4 = 0.008 + 0.0225. Two brews of each are enough, one is not.
    assert ratio_of_means(20.0, 4.0, 5, 10.0, 3.0, 4) == approx((math.log(2.0), 0.0305))
    assert ratio_of_means(20.0, 4.0, 2, 10.0, 3.0, 2) == approx((math.log(2.0), 0.02 + 0.045))
    for few in ((1, 2), (2, 1)):
        with pytest.raises(UnusableRecord):
            ratio_of_means(20.0, 4.0, few[0], 10.0, 3.0, few[1])


def test_the_chance_that_trials_agree_so_closely() -> None:
    # Independent computation with scipy's chi-squared: effects 0.002 apart, errors of 4 degrees that differ by a hundredth.
    pair = [trial("a", 0.5, 0.04, df=4.0), trial("b", 0.502, 0.0404, df=4.0)]
    within = 0.002**2 / (0.04 + 0.0404)
    errors = 2.0 * (0.5 * math.log(0.0404 / 0.04)) ** 2 * 4.0 / 2.0
    assert too_alike(pair)[0].places == (0, 1)
    assert too_alike(pair)[0].p == approx(stats.chi2.cdf(within + errors, 2), rel=1e-6)
    # The same error to the last digit was assumed, not estimated: only the effects speak, with one degree.
    alike = [trial("a", 0.5, 0.04, df=4.0), trial("b", 0.502, 0.04, df=4.0)]
    assert too_alike(alike)[0].p == approx(stats.chi2.cdf(0.002**2 / 0.08, 1), rel=1e-6)
    # Of five trials ten pairs could have been looked at.
    others = [
        trial(f"c{i}", effect, variance, df=4.0) for i, (effect, variance) in enumerate([(-2.0, 0.02), (4.0, 0.1), (9.0, 0.3)])
    ]
    assert too_alike([*others, *pair])[0].places == (3, 4)
    assert too_alike([*others, *pair])[0].p == approx(10.0 * stats.chi2.cdf(within + errors, 2), rel=1e-6)
    # One in a hundred is the line: a pair of one error whose effects are d apart has chi2.cdf(d^2 / 0.08, 1).
    line = math.sqrt(0.08 * stats.chi2.ppf(0.01, 1))
    for share, found in ((0.99, 1), (1.01, 0)):
        assert len(too_alike([alike[0], replace(alike[1], effect=0.5 + share * line)])) == found


def test_near_trials_are_those_close_in_effect_and_in_error() -> None:
    # By hand: 0.3^2 / (0.04 + 0.05) = 1; ln(0.05 / 0.04) = 0.2231, its variance 2/4 + 2/8 = 0.75: 0.0664.
    found = _distance(np.array([0.2, 0.5]), np.array([0.04, 0.05]), np.array([4.0, 8.0]))
    assert found[0] == approx([0.0, 1.0 + math.log(1.25) ** 2 / 0.75])
    # Without degrees the errors say nothing.
    assert _distance(np.array([0.2, 0.5]), np.array([0.04, 0.05]), np.array([4.0, 0.0]))[0, 1] == approx(1.0)


def test_the_spread_within_places_by_hand() -> None:
    # By hand (DerSimonian and Laird, summed over places). A: 0.1 and 0.5 with 0.02 each: Q 4, size 100 - 5000/100 = 50.
    # B: 0.0 and 0.3 with 0.03 and 0.06: mean 0.1, Q 1, size 50 - 1388.9/50 = 22.22. Together (5 - 2) / 72.22 = 0.041538.
    many = {"df": 1e9}
    items = [
        trial("a1", 0.1, 0.02, site="A", **many),
        trial("a2", 0.5, 0.02, site="A", **many),
        trial("b1", 0.0, 0.03, site="B", **many),
        trial("b2", 0.3, 0.06, site="B", **many),
        trial("c", 0.7, 0.05, df=4.0),
    ]
    found = site_means(items)
    tau2 = 3.0 / (50.0 + 50.0 - (33.0 + 1.0 / 3.0) ** 2 / 50.0 - (16.0 + 2.0 / 3.0) ** 2 / 50.0)
    assert found.within_tau2 == approx(tau2, rel=1e-6) and tau2 == approx(0.041538, abs=1e-6)
    one, two = 1.0 / (0.03 + tau2), 1.0 / (0.06 + tau2)
    assert found.effects == approx([0.3, 0.3 * two / (one + two), 0.7], rel=1e-6)
    assert found.variances[:2] == approx([(0.02 + tau2) / 2.0, 1.0 / (one + two)], rel=1e-6)
    assert found.members == ((0, 1), (2, 3), (4,)) and found.names == ("A", "B", "place of c")
    # Clear at 5 % of one side, of two, and by its own t of 4 degrees (2.776445) or 1.25 % for a place of several.
    assert found.bars[:, 2] == approx(math.sqrt(0.05) * np.array([1.644854, 1.959964, 2.776445]), rel=1e-6)
    assert found.bars[:, 0] == approx(math.sqrt(found.variances[0]) * np.array([1.644854, 1.959964, 2.241403]), rel=1e-6)
    unknown = site_means([replace(items[4], df=0.0, brews=0, brews_against=0), items[0]])
    assert unknown.bars[2, 0] == approx(math.sqrt(0.05) * 2.241403, rel=1e-6)


def test_where_a_next_trial_lies_agrees_with_a_simulation_of_the_same_argument() -> None:
    # Independent simulation (Nagashima, Noma and Furukawa 2019): four trials of one error, so that the spread that a chi-squared
    # number stands for is S / chi2 - v; a t of three degrees around the mean, and the spread on top.
    y, v = np.array([0.1, 0.9, 0.4, 0.2]), 0.05
    rng = np.random.default_rng(8)
    size = 1_000_000
    scatter = float(np.sum((y - y.mean()) ** 2))
    tau2 = np.maximum(scatter / rng.chisquare(3, size) - v, 0.0)
    error = np.sqrt((v + tau2) / 4.0 * np.maximum(1.0, scatter / (v + tau2) / 3.0))
    new = y.mean() + error * rng.standard_t(3, size) + np.sqrt(tau2) * rng.standard_normal(size)
    for level in (0.90, 0.50):
        found = prediction_interval(y, np.full(4, v), level=level)
        assert found == approx(np.quantile(new, [0.5 - level / 2.0, 0.5 + level / 2.0]), abs=0.02)


@pytest.mark.parametrize(
    ("y", "v"),
    [([0.9, 0.7, 1.2, 0.5, 0.8], [0.10, 0.08, 0.2, 0.05, 0.12]), ([0.6, 0.5, 0.1, 0.7], [0.05, 0.05, 0.02, 0.09])],
)
def test_the_selection_model_agrees_with_a_free_search_of_its_likelihood(y: list[float], v: list[float]) -> None:
    # Independent computation of the likelihood of Hedges 1992 with one step, maximised by scipy from several starts.
    z, variance, bar = np.array(y), np.array(v), 1.959964 * np.sqrt(v)

    def minus(mu: float, tau: float, chance: float) -> float:
        sd = np.sqrt(variance + tau**2)
        clear = special.ndtr((mu - bar) / sd)
        density = -0.5 * ((z - mu) / sd) ** 2 - np.log(sd) + np.where(z > bar, 0.0, math.log(chance))
        return -float(np.sum(density - np.log(clear + chance * (1.0 - clear))))

    def least(fixed: float | None) -> float:
        best = math.inf
        for tau in (0.02, 0.3):
            for chance in (0.05, 0.6):
                start = [tau, chance] if fixed is not None else [0.4, tau, chance]
                bounds = [(0.0, 1.5 * max(float(np.std(z)), 0.1)), (1e-4, 1.0)]
                bounds = bounds if fixed is not None else [(-3.0, 3.0), *bounds]
                found = optimize.minimize(
                    lambda x: minus(fixed, *x) if fixed is not None else minus(*x), start, bounds=bounds, method="L-BFGS-B"
                )
                best = min(best, float(found.fun))
        return best

    root = math.sqrt(2.0 * (least(0.0) - least(None)))
    found = selection(y, v)
    assert abs(found.root) == approx(root, abs=0.03) and found.stands == (found.root > 1.959964)
    assert (found.clear, found.trials) == (int(np.sum(z > bar)), len(z))
    assert minus(found.estimate, 0.0, found.chance_seen) >= least(None) - 1e-9
    lower = selection(y, v, [0.5 * bar, bar])
    assert lower.root <= found.root + 1e-12


def test_a_lopsided_funnel_is_filled_by_the_estimator_l0_worked_by_hand() -> None:
    # Duval and Tweedie 2000, L0 = (4 T - n (n + 1)) / (2 n - 1). Seven trials, small ones to the right, equal-effects pool.
    # metafor's own answer for the vaccine trials, and the same upside down: one missing, at the other side.
    data = bcg()
    there = small_studies(data.y, data.v)
    back = small_studies([-y for y in data.y], data.v)
    assert (there.missing, there.side, back.missing, back.side) == (1, "right", 1, "left")
    assert back.filled == approx(0.6571, abs=5e-5) == -there.filled
    y = np.array([0.0, 0.1, -0.1, 0.05, 1.0, 1.2, 1.4])
    v = np.array([0.001, 0.001, 0.001, 0.001, 0.04, 0.05, 0.06])
    missing, side, filled = trim_and_fill(y, v, method="EE")
    # By hand: the pool of all is 0.0301; above it lie 1.4, 1.2, 1.0 (ranks 7, 6, 5), 0.1 (3) and 0.05 (1): T 22, 32 / 13 = 2.5.
    # Without the last two it is 0.0186, ranks 7, 6, 5, 3, 2: T 23, 36 / 13 = 2.8; without three 0.0125 and T 23 again.
    assert (missing, side) == (3, "left")
    centre = float(np.average(y[:4], weights=1.0 / v[:4]))
    whole = np.concatenate([y, 2.0 * centre - y[4:]])
    assert filled == approx(np.average(whole, weights=1.0 / np.concatenate([v, v[4:]])), rel=1e-9)
    even = trim_and_fill(np.array([-0.2, -0.1, 0.0, 0.1, 0.2]), np.array([0.01, 0.02, 0.03, 0.02, 0.01]), method="EE")
    assert even[:2] == (0, "neither") and even[2] == approx(0.0, abs=1e-12)


def test_a_typed_table_gives_ratios_with_their_errors() -> None:
    # By hand: 1 to 4 at 95 % is ln 4 over 2 x 1.959964; the means as in Hedges, Gurevitch and Curtis 1999.
    first, second = contrasts_from_table(
        "key;recipe;against;ratio;low;high;mean;sd;brews;mean_against;sd_against;brews_against;planned;blinded;temperature_degc\n"
        "t1;kelp;plain;2;1;4;;;;;;;yes;no;20,5\n"
        "t2;kelp;plain;;;;20;4;5;10;3;4;;0;\n"
    )
    assert (first.effect, first.variance) == approx((math.log(2.0), (math.log(4.0) / 3.919928) ** 2), rel=1e-6)
    assert (second.effect, second.variance) == approx((math.log(2.0), 0.0305))
    assert (first.planned, first.blinded, second.planned, second.blinded) == (True, False, None, False)
    assert (second.brews, second.brews_against, first.moderators) == (5, 4, {"temperature_degc": 20.5})
    for row in ("2,0,4", "2,4,1", "5,1,4", "0.5,1,4", "1,1,1.5"):
        with pytest.raises(ImportFault, match="Line 2"):
            contrasts_from_table(f"key,recipe,against,ratio,low,high\nt,a,b,{row}")
    for head in ("key,recipe,against,ratio,low,high", "key,recipe,against,colour\nt,a,b,1", "key,recipe\nt,a"):
        with pytest.raises(ImportFault):
            contrasts_from_table(head)
    for brews in ("2.5", "-1", "1000001"):
        with pytest.raises(ImportFault, match="number of brews"):
            contrasts_from_table(f"key,recipe,against,ratio,low,high,brews\nt,a,b,2,1,4,{brews}")


def test_fifty_times_is_more_than_a_recipe_does() -> None:
    # Common practice, no source: a ratio beyond 50 either way asks for its units.
    def names(effect: float) -> set[str]:
        return {flag.name for flag in flags(trial("t", effect))}

    for sign in (1.0, -1.0):
        assert "implausible" in names(sign * math.log(51.0)) and "implausible" not in names(sign * math.log(49.0))
    made = TrialContrast(key="t", recipe="a", against="b", effect=0.1, variance=0.01)
    assert len(flags(made)) == len({flag.name for flag in flags(made)}) > 2


def test_the_lattice_of_many_brews_stands_on_the_mode_and_its_curvature() -> None:
    # Independent computation of the second differences of the same surface, one pair of spreads at a time and with another step.
    _, data = brews_of(np.random.default_rng(9), 30)
    blocks, scales = Blocks.of(data, "r0", 1.0, np), np.array([1.5, 0.5, 0.7])
    mode, axes = _mode(blocks, scales)

    def height(theta: np.ndarray) -> float:
        return float(given_spreads(blocks, theta[None], scales)[0][0])

    step = 0.03 * np.eye(3)
    curve = np.array(
        [
            [
                sum(s * u * height(mode + s * step[i] + u * step[j]) for s in (1, -1) for u in (1, -1)) / (4.0 * 0.03**2)
                for j in range(3)
            ]
            for i in range(3)
        ]
    )
    assert all(height(mode) >= height(mode + sign * 0.1 * row) for row in np.eye(3) for sign in (1, -1))
    size, turn = np.linalg.eigh(-curve)
    assert axes @ axes.T == approx((turn / np.maximum(size, 1.0)) @ turn.T, rel=0.03, abs=1e-3)
    found = pool_brews(data, reference="r0")
    for one in found.recipes:
        # Close to normal: the chance of a gain is that of its mean over its sd.
        assert one.probability_better == approx(stats.norm.cdf(one.effect.mean / one.effect.sd), abs=0.01)
        assert one.next_trial.sd > one.effect.sd and one.next_trial.mean == approx(one.effect.mean)
    assert found.brews == len(data.outcome) and found.trials == 30


def test_trials_that_look_like_one_are_said_to_be_no_more_than_likely_copies() -> None:
    found = weigh([trial("a", 0.5, 0.04), trial("b", 0.5001, 0.04001), trial("c", 0.1, 0.06)], "kelp", "plain")
    assert [one.certain for one in found.duplicates] == [False]
    assert len(found.contrasts) == 2


def test_moments_of_a_spread_by_hand() -> None:
    # By hand (DerSimonian and Laird 1986): 0.1, 0.5, 0.9 with variance 0.04 each: Q = 0.32 / 0.04 = 8, c = 75 - 25 = 50,
    # tau2 = (8 - 2) / 50 = 0.12. Hunter and Schmidt: (8 - 3) / 75. Equal weights (Hedges and Olkin): 0.16 - 0.04.
    y, v, ones = np.array([0.1, 0.5, 0.9]), np.full(3, 0.04), np.ones((3, 1))
    found = {method: spread(method, y, v, ones)[0] for method in ("DL", "HS", "HE", "PM", "REML", "ML", "SJ")}
    assert (found["DL"], found["HS"], found["HE"]) == approx((0.12, 5.0 / 75.0, 0.12))
    # With equal errors Paule and Mandel, and restricted likelihood, take off the error from the variance: 0.16 - 0.04.
    assert (found["PM"], found["REML"]) == approx((0.12, 0.12), abs=1e-6) and found["ML"] == approx(0.32 / 3.0 - 0.04, abs=1e-6)
    # Sidik and Jonkman: the variance over three, 0.1067, as first guess; 0.1067 x 0.32 / (0.04 + 0.1067) / 2.
    first = 0.32 / 3.0
    assert found["SJ"] == approx(first * 0.32 / (0.04 + first) / 2.0)
    none = [spread(method, np.array([0.1, 0.1, 0.1]), v, ones)[0] for method in ("DL", "HS", "HE", "PM", "REML", "ML", "SJ")]
    assert none == [0.0] * 7
    for method in ("DL", "HE"):
        assert spread(method, y[:1], v[:1], ones[:1])[0] == 0.0
    # On paper: (y' P y with two degrees)/(v + tau2) is chi-squared: 8 / 5.9915 = (v + tau2) / v at the lower end of 90 %.
    low, high = spread_interval(y, v, ones, level=0.90)
    assert low == approx(max(0.0, 0.32 / stats.chi2.ppf(0.95, 2) - 0.04)) and high == approx(
        0.32 / stats.chi2.ppf(0.05, 2) - 0.04
    )
    assert spread_interval(y[:1], v[:1], ones[:1]) == (0.0, math.inf)


@pytest.mark.parametrize("size", [0.1, 1000.0, -0.1, -1000.0])
def test_an_interval_of_a_mixture_reaches_parts_far_off(size: float) -> None:
    # On paper: 5.5 % of the weight lies at -size, more than four sds from the mean: the 5 % point lies in that part, where
    # 10/11 of
    # it are passed; and the same the other way round.
    sd = 0.001 * abs(size)
    weight, mean, variance = np.array([0.055, 0.945]), np.array([-size, 0.0]), np.full(2, sd**2)
    found = mixture(weight, mean, variance, 0.90)
    far = -size + math.copysign(sd, size) * stats.norm.ppf(10.0 / 11.0)
    near = math.copysign(sd, size) * stats.norm.ppf((0.95 - 0.055) / 0.945)
    assert (found.low, found.high) == approx((far, near) if size > 0.0 else (near, far), rel=1e-6)
    assert (found.mean, found.sd) == approx((-0.055 * size, abs(size) * math.sqrt(0.055 * 0.945 + 1e-6)))

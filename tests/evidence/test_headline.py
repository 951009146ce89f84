"""What may be claimed of a pool: places as one voice, copies, ratios that cannot be, weak trials, filters of publication."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.evidence import (
    TrialContrast,
    carries_a_headline,
    pool,
    prediction_interval,
    selection,
    site_means,
    too_alike,
    weigh,
)
from benchmarks.how_honest_is_a_pool import FILTERS, filtered_pool, honest_trial, kinds, shaken

CLAIMS = ("better", "worse")  # with no difference, "about the same" is the truth


def trial(key: str, effect: float, variance: float = 0.04, *, site: str = "", **more: object) -> TrialContrast:
    made: dict[str, object] = {"planned": True, "blinded": True, "killed_control": True, "randomised": True}
    return TrialContrast(
        key=key,
        recipe="kelp",
        against="plain",
        effect=effect,
        variance=variance,
        site=site or f"place of {key}",
        brews=4,
        brews_against=4,
        **{**made, **more},  # type: ignore[arg-type]
    )


def test_four_nulls_and_four_forged_trials_of_one_place_are_no_finding() -> None:
    rng = np.random.default_rng(8)
    for _ in range(15):
        nulls = [honest_trial(rng, 0.0, f"n{i}", site=f"place {i}") for i in range(4)]
        forged = [
            trial(f"f{i}", 0.9 + float(rng.normal(0.0, 0.1)), float(rng.uniform(0.01, 0.03)), site="forger") for i in range(4)
        ]
        found = weigh([*nulls, *forged], "kelp", "plain")
        assert found.answer == "cannot tell"
        assert len(found.sites) == 5
    assert sum(share for share in found.shares if share is not None) == approx(100.0)


def test_each_place_has_one_voice_with_its_trials_combined() -> None:
    # by hand: trials of equal error in one place agree exactly, so the place says their mean with half the variance
    many = {"df": 1e6}  # errors as good as known
    items = [trial("a", 0.3, 0.02, site="A", **many), trial("b", 0.3, 0.02, site="a ", **many), trial("c", 0.1, 0.05, **many)]
    found = site_means(items)
    assert found.names == ("A", "place of c") and found.within_tau2 == 0.0
    assert found.effects.tolist() == approx([0.3, 0.1]) and found.variances.tolist() == approx([0.01, 0.05], rel=1e-5)


def test_trials_of_one_place_only_are_not_repeated() -> None:
    found = weigh([trial(f"t{i}", 0.8 + 0.2 * i, 0.02, site="here") for i in range(3)], "kelp", "plain")
    assert found.answer == "cannot tell" and "one place" in found.says and found.pooled is None


@pytest.mark.parametrize(("copies", "shake"), [(2, 0.0), (3, 0.0), (4, 0.0), (4, 0.01), (8, 0.0), (8, 0.02), (8, 0.05)])
def test_one_trial_sent_again_with_its_numbers_shaken_is_found(copies: int, shake: float) -> None:
    rng = np.random.default_rng(3)
    for _ in range(5):
        sent = shaken(rng, 0.6, copies, shake)
        found = weigh(sent, "kelp", "plain")
        assert found.answer == "cannot tell"
        assert len(found.contrasts) == 1 and found.duplicates


def test_copies_among_honest_trials_are_found_and_the_honest_ones_stay() -> None:
    rng = np.random.default_rng(14)
    kept = 0
    for _ in range(8):
        honest = [honest_trial(rng, 0.0, f"n{i}", site=f"place {i}") for i in range(4)]
        found = weigh([*honest, *shaken(rng, 0.8, 4, 0.01)], "kelp", "plain")
        assert found.answer == "cannot tell" and found.duplicates
        kept += len(found.contrasts)
    assert kept >= 8 * 4.5


def test_honest_trials_are_seldom_taken_for_copies() -> None:
    rng = np.random.default_rng(6)
    for places in (3, 6):
        wrong = sum(bool(too_alike([honest_trial(rng, 0.3, f"n{i}", spread=0.0) for i in range(places)])) for _ in range(200))
        assert wrong <= 6  # at most one pool in a hundred; 200 pools


def test_a_ratio_that_cannot_be_is_left_out_with_its_reason() -> None:
    items = [trial(f"t{i}", math.log(ratio), 0.05) for i, ratio in enumerate((1.4, 9e5, 1.1e6, 1.2))]
    found = weigh(items, "kelp", "plain")
    assert [item.key for item in found.left_out] == ["t1", "t2"]
    assert found.answer == "cannot tell"
    assert any("check units" in flag.words for flag in found.flags)


@pytest.mark.parametrize("silent", [False, None])
def test_trials_without_any_guard_make_no_headline(silent: bool | None) -> None:
    weak = {"planned": silent, "blinded": silent, "killed_control": silent}
    items = [trial(f"t{i}", effect, 0.01, **weak) for i, effect in enumerate((0.7, 0.85, 0.95, 0.75))]
    found = weigh(items, "kelp", "plain")
    assert not any(map(carries_a_headline, items))
    assert found.answer == "cannot tell" and found.held_back
    assert found.pooled is not None and found.pooled.low > 0.0  # the number is shown, the claim is not made
    sound = [trial(f"t{i}", item.effect, item.variance) for i, item in enumerate(items)]
    assert weigh(sound, "kelp", "plain").answer == "better"


def test_weak_trials_cannot_carry_sound_ones_over_the_line() -> None:
    weak = [trial(f"w{i}", 0.8 + 0.07 * i, 0.01, planned=False, blinded=False) for i in range(4)]
    sound = [trial("s1", 0.05, 0.03), trial("s2", 0.4, 0.05)]
    assert weigh([*weak, *sound], "kelp", "plain").answer == "cannot tell"


@pytest.mark.parametrize(("chance", "spread"), FILTERS)
def test_a_filter_of_publication_makes_no_finding(chance: float, spread: float) -> None:
    rng = np.random.default_rng(30)
    for places in (3, 8):
        pools = 10
        wrong = sum(
            weigh(filtered_pool(rng, 0.0, places, chance, spread), "kelp", "plain").answer in CLAIMS for _ in range(pools)
        )
        assert wrong <= 3  # more than 3 of 10 would be seen in 1 of 500 rounds at 6 %


def test_honest_pools_still_find_a_gain() -> None:
    rng = np.random.default_rng(31)
    found = [weigh(filtered_pool(rng, math.log(2.0), 8, 1.0, 0.1), "kelp", "plain").answer for _ in range(10)]
    assert found.count("better") >= 6


def test_the_selection_model_without_a_step_is_the_plain_pool() -> None:
    # with every trial clear by far, nothing can be missing: the estimate is that of the random-effects pool
    y, v = [1.5, 1.7, 1.6, 1.9], [0.01, 0.02, 0.015, 0.02]
    found = selection(y, v)
    assert found.estimate == approx(pool(y, v, method="ML", hartung_knapp=False).estimate, abs=0.06)
    assert found.stands
    turned = selection([-one for one in y], v)
    assert (turned.estimate, turned.root) == approx((-found.estimate, found.root))


def test_prediction_intervals_hold_with_few_trials() -> None:
    rng = np.random.default_rng(12)
    for places, spread in ((3, 0.4), (5, 0.3), (8, 0.3)):
        inside = textbook = 0
        for _ in range(80):
            v = rng.uniform(0.15, 0.35, places) ** 2
            y = rng.normal(0.0, np.sqrt(spread**2 + v))
            new = rng.normal(0.0, spread)
            low, high = prediction_interval(y, v, level=0.90)
            inside += low <= new <= high
            plain = pool(y, v, level=0.90)
            textbook += plain.prediction_low <= new <= plain.prediction_high
        assert inside / 80 >= 0.82
        assert inside >= textbook


def test_a_prediction_interval_of_many_like_trials_is_the_normal_one() -> None:
    # known limit: many trials without error, spread 0.3: 0.2 +- 1.645 * 0.3
    rng = np.random.default_rng(4)
    y = 0.2 + 0.3 * np.asarray([*(z := rng.normal(size=200)), *(-z)])
    low, high = prediction_interval(y, np.full(400, 1e-4))
    half = 1.6448536 * float(np.std(y))
    assert (low, high) == approx((0.2 - half, 0.2 + half), abs=0.02)


def test_a_trial_keeps_the_interval_it_was_judged_by() -> None:
    one = trial("t", 0.1, 0.9, df=1.0, low=-6.4, high=6.6)
    assert one.interval() == (-6.4, 6.6) and one.turned().interval() == (-6.6, 6.4)
    # t with 4 degrees of freedom, two-sided 90 %: 2.131847 (tables, from memory; scipy agrees)
    low, high = trial("t", 0.0, 1.0, df=4.0).interval()
    assert (low, high) == approx((-2.131847, 2.131847), abs=1e-5)
    found = weigh([one], "kelp", "plain")
    assert "1.1 (0.0017 to 740)" in found.says and "90 % interval" in found.says


def test_errors_that_no_brewer_has_carry_no_claim() -> None:
    # by hand: four brews each and an error of 0.02 mean that brews differ by 0.02 / sqrt(1/4 + 1/4) = 2.8 %
    forged = [trial(f"f{i}", 0.6 + 0.1 * i, 0.02**2 * (1.0 + 0.5 * i)) for i in range(3)]
    assert not any(carries_a_headline(item) for item in forged)
    honest = [trial(f"h{i}", 0.6 + 0.1 * i, 0.01 * (1.0 + 0.5 * i)) for i in range(3)]
    assert weigh(honest, "kelp", "plain").answer == "better"
    found = weigh(forged, "kelp", "plain")
    assert found.answer == "cannot tell" and found.held_back
    assert any(flag.name == "too precise" and "2.8 %" in flag.words for flag in found.flags)


def pools_claimed(name: str, pools: int) -> float:
    made, _ = kinds()[name]
    rng = np.random.default_rng(3)
    return sum(weigh(made(rng), "kelp", "plain").answer == "better" for _ in range(pools)) / pools


def test_the_better_of_two_answers_from_each_place_is_seldom_a_claim() -> None:
    # 10 % before (benchmarks/how_honest_is_a_pool.py counts many more)
    assert pools_claimed("8 places, each sends the better of two", 40) <= 0.1


def test_one_trial_sent_eight_times_and_shaken_by_a_tenth_is_seldom_a_claim() -> None:
    assert pools_claimed("one trial sent eight times, shaken by 0.1", 40) <= 0.1

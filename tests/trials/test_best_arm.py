"""The search for the best arm: two leaders share the brews, it may stop, and it needs fewer brews than equal shares."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.trials import next_round, propose_next
from aerobe.verdicts import BrewResult, judge
from benchmarks.how_soon_is_the_best_found import brews_to_find_the_best

MARGIN = math.log(1.2)


def test_brews_go_to_the_leaders_and_none_to_an_arm_far_behind() -> None:
    values = [1.0, 1.1, 0.9, 1.0, 0.0, 0.1]
    found = next_round(values, [0, 0, 1, 1, 2, 2], 3, 20, margin=MARGIN, sd=0.2)
    assert sum(found.brews) == 20 and found.brews[2] <= 1 and min(found.brews[:2]) >= 3
    assert found.best == 0 and found.probability_best[2] < 0.01


def test_the_chance_of_being_best_is_that_of_the_normal_law() -> None:
    # two arms of 400 brews, sd 4, difference 0.3, prior wide against the errors: P = Phi(0.3 / (4 * sqrt(2 / 400))) = 0.856
    y = np.array([0.3] * 400 + [0.0] * 400)
    found = next_round(y, [0] * 400 + [1] * 400, 2, 1, margin=MARGIN, sd=4.0)
    assert found.probability_best[0] == pytest.approx(0.855, abs=0.03)


def test_a_clear_best_may_stop_and_equal_arms_within_the_margin_too() -> None:
    clear = next_round([2.0] * 6 + [0.0] * 6, [0] * 6 + [1] * 6, 2, 4, margin=MARGIN, sd=0.3)
    assert clear.may_stop and clear.loss < 0.01
    alike = next_round([0.0] * 100, [0, 1] * 50, 2, 4, margin=MARGIN, sd=0.2)
    assert alike.may_stop  # either will do
    assert not next_round([0.2, 0.0], [0, 1], 2, 4, margin=MARGIN, sd=0.5).may_stop


def test_top_two_needs_fewer_brews_than_equal_shares_and_finds_as_good() -> None:
    truth = [0.0, 0.1, 0.2, 0.3, 0.4, 0.7]
    runs = {
        adaptive: [brews_to_find_the_best(truth, 0.35, margin=MARGIN, per_round=4, adaptive=adaptive, seed=s) for s in range(60)]
        for adaptive in (True, False)
    }
    brews = {adaptive: float(np.mean([count for count, _ in found])) for adaptive, found in runs.items()}
    good = {adaptive: float(np.mean([ok for _, ok in found])) for adaptive, found in runs.items()}
    assert brews[True] < 0.92 * brews[False]
    assert good[True] > 0.8 and good[False] > 0.8  # 90 % promised; 60 runs


def test_what_cannot_be_searched_is_sent_back() -> None:
    with pytest.raises(NotEnoughData, match="brewed twice"):
        next_round([0.1, 0.2], [0, 1], 2, 4, margin=MARGIN)
    with pytest.raises(UnusableRecord):
        next_round([0.1], [0], 1, 4, margin=MARGIN)


def test_after_a_verdict_on_six_recipes_the_next_round_looks_for_the_best_and_may_stop() -> None:
    rng = np.random.default_rng(3)
    arms = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(6))
    trial = Trial(key="t", name="t", question="several against a standard", arms=arms, margin_ratio=1.2)

    def after(truth: list[float]) -> object:
        results = [
            BrewResult(brew=f"{arm.key}-{n}", arm=arm.key, value=100.0 * math.exp(truth[i] + rng.normal(0.0, 0.3)))
            for i, arm in enumerate(arms)
            for n in range(3)
        ]
        return propose_next(trial, judge(trial, results, extent="without check"), key="t2")

    open_one = after([0.0, 0.1, 0.2, 0.3, 0.35, 0.3])
    assert sum(count for _, count in open_one.brews_of) == 12 or open_one.trial is None or len(open_one.trial.arms) == 2
    assert any("find the best" in reason for reason in open_one.because)
    settled = after([0.0, 0.0, 0.0, 0.0, 0.0, 2.5])
    assert settled.may_stop or settled.trial is None

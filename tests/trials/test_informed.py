"""The interval beside the plain one: narrower with two brews of each, honest where the prior holds, nearly so where not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.records import Arm, Trial
from aerobe.trials import ONE_DAY_AND_HEAP, Scatter, informed_interval, informed_words
from aerobe.verdicts import BrewResult, judge


def test_a_prior_worth_nothing_changes_nothing_and_a_strong_one_gives_its_own_interval() -> None:
    # t(0.95, 2) = 2.919986; sd 0.5, error sd * sqrt(2 / 2)
    low, high = 0.2 - 2.919986 * 0.5, 0.2 + 2.919986 * 0.5
    weak = Scatter(brew_log_sd=3.0, test_log_sd=0.0, df=1.0)
    assert informed_interval(0.2, low, high, df=1e5, brew_sd=0.5, prior=weak)[0] == pytest.approx(0.2 - 2.919986 * 0.5, abs=2e-3)
    strong = Scatter(brew_log_sd=0.3, test_log_sd=0.0, df=1e6)
    # normal quantile 1.644854 times 0.3
    assert informed_interval(0.2, low, high, df=2, brew_sd=0.5, prior=strong)[1] == pytest.approx(0.2 + 1.644854 * 0.3, abs=1e-3)


@pytest.mark.parametrize(("sd", "least", "most"), [(0.3, 0.95, 1.0), (0.5, 0.88, 0.97), (0.8, 0.86, 0.93), (1.2, 0.82, 0.90)])
def test_coverage_with_two_brews_of_each(sd: float, least: float, most: float) -> None:
    """90 % is the promise over brews that scatter as the prior says; it gives way where brews scatter twice as much and more."""
    rng = np.random.default_rng(5)
    first, second = rng.normal(0.0, sd, (4000, 2)), rng.normal(0.0, sd, (4000, 2))
    s = np.sqrt((first.var(axis=1, ddof=1) + second.var(axis=1, ddof=1)) / 2.0)
    effect = first.mean(axis=1) - second.mean(axis=1)
    inside = 0
    for one, own in zip(effect, s, strict=True):
        low, high = informed_interval(one, one - 2.919986 * own, one + 2.919986 * own, df=2, brew_sd=own)
        inside += low <= 0.0 <= high
    assert least <= inside / 4000 <= most


def test_few_brews_get_a_second_answer_and_many_do_not() -> None:
    arms = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
    trial = Trial(key="t", name="t", question="two recipes", arms=arms, margin_ratio=1.5)

    def words(each: int) -> tuple[str, ...]:
        rng = np.random.default_rng(1)
        found = [
            BrewResult(brew=f"{arm.key}{i}", arm=arm.key, block=f"d{i}", value=math.exp(4.0 + rng.normal(0.0, 0.3)))
            for arm in arms
            for i in range(each)
        ]
        return informed_words(judge(trial, found, extent="without check"))

    assert len(words(2)) == 1 and "nothing is claimed by it" in words(2)[0] and f"{ONE_DAY_AND_HEAP.brew_log_sd:g}" in words(2)[0]
    assert words(10) == ()

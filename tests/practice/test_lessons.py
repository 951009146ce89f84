"""Lessons: each against a computation that shares nothing with it, its guesses fair, its sentences made from its numbers."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import solve_ivp

from aerobe.errors import NotFound, OutsideValidity
from aerobe.practice import LESSONS, Found, PracticeChoices, hidden_of, lesson_after, lesson_of, work_out
from aerobe.trials import SCATTERS
from aerobe.usecases.practice import learn

NEWCOMER = SCATTERS["one day and heap"]
OF_BREWS, OF_TESTS = NEWCOMER.brew_log_sd, NEWCOMER.test_log_sd


def bar(found: Found, name: str) -> float:
    return next(item.value for item in found.bars if item.name == name)


def share_of_false_claims(brews: int, tests: int) -> float:
    """Exactly: the t of all results is Student's, stretched by what the results of one brew do not show of the brews.

    Worked from the normal model (hurlbert-1984 names the mistake): with n results of one brew the means differ with variance
    2 (B + T/n), the scatter within says 2 T/n.
    """
    if brews == 1:
        stretched = math.sqrt((OF_BREWS**2 + OF_TESTS**2 / tests) / (OF_TESTS**2 / tests))
        df = 2 * (tests - 1)
        return float(2.0 * stats.t.sf(stats.t.ppf(0.975, df) / stretched, df))
    return 0.05


def test_eight_tests_of_one_brew_claim_what_the_normal_model_says() -> None:
    found = work_out("repeats")
    # Four standard errors of a share of 4,000 trials.
    assert found.answer == pytest.approx(share_of_false_claims(1, 8), abs=4 * 0.0062)
    assert bar(found, "4 brews, 2 tests each") == pytest.approx(5.0, abs=100 * 4 * 0.0035)


def test_the_dark_tea_shows_the_colour_that_practice_brews_have() -> None:
    found, dark = work_out("colour"), PracticeChoices(molasses_g_per_l=4.0)
    # What practice brews hide, brew by brew, and not what the lesson takes it to be.
    colour = np.mean([hidden_of(seed, dark).colour for seed in range(800)])
    pale = np.mean([hidden_of(seed, PracticeChoices(molasses_g_per_l=0.0)).colour for seed in range(800)])
    assert found.answer == pytest.approx((60.0 + colour) / (60.0 + pale), rel=0.05)
    assert bar(found, "4 g/L, less a killed control") == pytest.approx(60.0, rel=0.01)


def lowest_oxygen(sugar_mg_c_per_l: float) -> float:
    """Growth on one food after Monod with an oxygen balance, by a general solver; constants of a usual order (from memory)."""
    fastest, half, yielded, kla, full = 0.2, 10.0, 0.4, 16.0, 9.1

    def slopes(_: float, y: np.ndarray) -> list[float]:
        cells, food, oxygen = y
        growth = fastest * cells * food / (half + food) * max(oxygen, 0.0) / (0.3 + max(oxygen, 0.0))
        burnt = growth * (1.0 - yielded) / yielded * 32.0 / 12.0
        return [growth, -growth / yielded, kla * (full - oxygen) - burnt]

    run = solve_ivp(slopes, (0.0, 72.0), [5.0, sugar_mg_c_per_l, full], method="LSODA", max_step=0.1)
    return float(run.y[2].min())


def test_twice_the_sugar_leaves_less_than_half_the_oxygen_by_another_law_too() -> None:
    one, two = lowest_oxygen(250.0), lowest_oxygen(500.0)  # 1 and 2 g/L of molasses, a quarter of it carbon
    assert 1.0 < one < 7.0 and two / one < 0.5
    found = work_out("molasses")
    assert found.answer < 0.5 and [item.value for item in found.bars] == sorted((item.value for item in found.bars), reverse=True)
    again = work_out("molasses", seed=2)
    assert again.answer == pytest.approx(found.answer, abs=0.15)


def test_the_best_hour_moves_as_rates_of_life_do() -> None:
    found = work_out("warmth")
    # Rates of microbes grow two- to threefold with 10 degC: the rule of physiology books (from memory).
    assert 2.0**0.6 * 0.85 < found.answer < 3.0**0.6 * 1.15
    assert bar(found, "14 degC") > bar(found, "20 degC") > bar(found, "26 degC")


def test_the_chance_of_four_brews_is_the_noncentral_t_of_scipy() -> None:
    sd = math.hypot(OF_BREWS, OF_TESTS / math.sqrt(2.0))
    for item in work_out("cannot-tell").bars:
        brews = int(item.name)
        df, far = 2 * brews - 2, math.log(1.25) / sd * math.sqrt(brews / 2)
        assert item.value == pytest.approx(100 * stats.nct.sf(stats.t.ppf(0.975, df), df, far), abs=0.05)


def test_the_brews_needed_are_the_least_that_reach_four_in_five() -> None:
    found = work_out("how-many")
    for name, scatter in (("1.25", NEWCOMER), ("1.25, very alike brews", SCATTERS["same-day bottles"])):
        sd, brews = math.hypot(scatter.brew_log_sd, scatter.test_log_sd / math.sqrt(2.0)), round(bar(found, name))
        for count, enough in ((brews, True), (brews - 1, False)):
            df, far = 2 * count - 2, math.log(1.25) / sd * math.sqrt(count / 2)
            assert bool(stats.nct.sf(stats.t.ppf(0.975, df), df, far) >= 0.8) is enough
    # The textbook's first guess with normal quantiles, cohen-1988: 2 (1.96 + 0.84)^2 sd^2 / d^2.
    sd = math.hypot(OF_BREWS, OF_TESTS / math.sqrt(2.0))
    assert found.answer == pytest.approx(2 * (1.96 + 0.8416) ** 2 * sd**2 / math.log(1.25) ** 2, abs=2)


def test_the_right_guess_is_computed_and_its_place_gives_nothing_away() -> None:
    assert [one.key for one in LESSONS] == ["repeats", "colour", "molasses", "warmth", "cannot-tell", "how-many"]
    places = [one.right_for(work_out(one.key).answer) for one in LESSONS]
    assert len(set(places)) >= 3 and all(len(one.edges) == len(one.guesses) - 1 for one in LESSONS)
    assert all(list(one.edges) == sorted(one.edges) for one in LESSONS)
    assert LESSONS[0].right_for(0.05) == 0 and LESSONS[0].right_for(0.99) == len(LESSONS[0].guesses) - 1


@pytest.mark.parametrize("key", [one.key for one in LESSONS])
def test_a_lesson_is_short_and_says_what_it_computed(key: str) -> None:
    asked = lesson_of(key)
    learnt = learn(key, 1)
    for words in (asked.question, learnt.found.surprise, learnt.found.why, asked.rests_on):
        assert words.endswith((".", "?")) and len(words) < 300
    told = [float(number) for number in re.findall(r"\d+\.?\d*", learnt.found.surprise)]
    values = [*(item.value for item in learnt.found.bars), learnt.found.answer, 100 * learnt.found.answer]
    assert any(abs(number - value) <= 0.51 for number in told for value in values)
    assert learnt.picture.title.startswith("PRACTICE") and learnt.sources
    assert learn(key, learnt.right + 1).said == "You guessed it." and learn(key, None).said == ""


def test_what_does_not_exist_is_said() -> None:
    with pytest.raises(NotFound, match="repeats"):
        lesson_of("magic")
    for number in (0, 9, -1):
        with pytest.raises(OutsideValidity, match="from 1 to 4"):
            learn("repeats", number)
    assert lesson_after("how-many") is None and lesson_after("repeats") is lesson_of("colour")

"""What earlier brews of a recipe teach of the best hour, against the textbook and against brews that were drawn."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.inference import BestHour, Taught, habit_of
from aerobe.inference._courses import Courses
from aerobe.inference._habit import LEAST_SPREAD, SHARES, believed_by_habit, best_hour_of, warm_clock

FIRST = BestHour(mean=np.log(24.0), sd=0.5)


def brew_that_was_best(hour: float, sd: float = 0.05) -> Taught:
    """As if its data had said so: before them the first belief, after them both together."""
    precision = 1.0 / FIRST.sd**2 + 1.0 / sd**2
    mean = (FIRST.mean / FIRST.sd**2 + np.log(hour) / sd**2) / precision
    return Taught(before=FIRST, after=BestHour(mean=float(mean), sd=float(precision**-0.5)))


def test_the_clock_of_warmth_runs_with_hours_at_20_degrees_and_slower_in_the_cold():
    hours = np.arange(0.0, 25.0, 1.0)
    assert warm_clock(hours, np.full(25, 20.0)) == pytest.approx(hours)
    # Growth rises with the square of the degrees above the minimum (ratkowsky-1983): (10 + 7)^2 / (20 + 7)^2, but for
    # the bend towards the upper end, which costs a few thousandths here.
    assert warm_clock(hours, np.full(25, 10.0))[-1] == pytest.approx(24.0 * (17.0 / 27.0) ** 2, rel=5e-3)


def test_one_brew_moves_the_expectation_by_the_share_that_brews_have_in_common():
    # One earlier brew known all but exactly: a normal regression with the share r moves by r of the distance and leaves
    # p^2 (1 - r^2); here r is averaged over what is believed of it (lindley-smith-1972).
    learned = habit_of(FIRST, [brew_that_was_best(36.0, sd=0.01)])
    assert learned is not None
    moved = (learned.mean - FIRST.mean) / np.log(36.0 / 24.0)
    assert 0.4 < moved < 0.6 and learned.sd < FIRST.sd


def test_brews_that_agree_are_followed_and_brews_that_differ_are_not():
    alike = habit_of(FIRST, [brew_that_was_best(hour) for hour in (35.0, 36.0, 37.0, 36.0, 36.0)])
    apart = habit_of(FIRST, [brew_that_was_best(hour) for hour in (12.0, 48.0, 15.0, 60.0, 24.0)])
    assert alike is not None and apart is not None
    assert abs(alike.mean - np.log(36.0)) < 0.12 and alike.sd < 0.35
    assert apart.sd > 0.8 * FIRST.sd and alike.sd >= LEAST_SPREAD


def test_one_odd_brew_does_not_carry_the_others():
    usual = [brew_that_was_best(36.0), brew_that_was_best(35.0), brew_that_was_best(37.0), brew_that_was_best(36.5)]
    without, with_one = habit_of(FIRST, usual), habit_of(FIRST, [*usual, brew_that_was_best(4.0)])
    assert without is not None and with_one is not None
    # A plain mean of the five would fall by a fifth of the log of nine: 0.44.
    assert abs(with_one.mean - without.mean) < 0.25


def test_brews_whose_data_said_nothing_teach_nothing():
    assert habit_of(FIRST, []) is None
    assert habit_of(FIRST, [Taught(before=FIRST, after=FIRST), Taught(before=FIRST, after=BestHour(mean=4.0, sd=0.6))]) is None


def test_intervals_hold_the_best_hour_of_the_next_brew_of_people_who_were_drawn():
    # 400 people of the model itself; 90 % intervals, counting error 1.5 points.
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(400):
        share = rng.choice(SHARES, p=SHARES * (1 - SHARES) / np.sum(SHARES * (1 - SHARES)))
        own = max((1.0 - share) ** 0.5 * FIRST.sd, LEAST_SPREAD)
        best = FIRST.mean + share**0.5 * FIRST.sd * rng.standard_normal() + own * rng.standard_normal(5)
        seen = [brew_that_was_best(float(np.exp(at + 0.2 * rng.standard_normal())), sd=0.2) for at in best[:4]]
        learned = habit_of(FIRST, seen)
        assert learned is not None
        low, _, high = learned.hours()
        inside.append(low <= np.exp(best[4]) <= high)
    assert 0.85 <= np.mean(inside) <= 0.96


def test_courses_are_believed_by_what_was_learned():
    rng = np.random.default_rng(3)
    hours = np.arange(0.0, 73.0, 0.5)
    peaks = np.exp(FIRST.mean + FIRST.sd * rng.standard_normal(4000))
    courses = Courses(
        structure="rise and fall",
        log_mass=-(((hours[None] - peaks[:, None]) / 20.0) ** 2),
        log_ratio=np.zeros((4000, len(hours))),
        oxygen=np.zeros((4000, len(hours))),
        scores=np.zeros((4000, 1)),
        log_weight=np.zeros(4000),
        runs=0,
    )
    learned = BestHour(mean=np.log(36.0), sd=0.2)
    now = best_hour_of(hours, courses.log_mass, np.full(4000, 1 / 4000))
    assert now.mean == pytest.approx(FIRST.mean, abs=0.03) and now.sd == pytest.approx(FIRST.sd, abs=0.03)
    (moved,) = believed_by_habit((courses,), hours, now, learned)
    weight = np.exp(moved.log_weight) / np.exp(moved.log_weight).sum()
    after = best_hour_of(hours, moved.log_mass, weight)
    assert after.mean == pytest.approx(learned.mean, abs=0.04) and after.sd == pytest.approx(learned.sd, abs=0.04)

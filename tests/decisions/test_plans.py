"""From losses to a plan, row by row: what each rule says was worked out here on paper from the rule as it is told."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.decisions import TestValue, advise, missed_by, value_of_looking, value_of_test
from aerobe.decisions._caution import Disagreement
from aerobe.decisions._lookahead import _places
from aerobe.decisions._plan import NextTest, Seen, Window, cautious, choose, next_test, window_of
from aerobe.decisions._trend import Fall, clear_fall, hours_without_oxygen
from aerobe.inference import Measurement, lacking_and_error
from aerobe.records import AimChoice, AssayError, Costs
from aerobe.safety import Gate
from tests.decisions.made import made_posterior

CLOSED = Gate(name="smell", is_open=False, why="It smells of eggs.", how_it_opens="Aerate.", sources=())
LATE = Window(start_h=16.0, best_h=18.0, end_h=20.0, expected_loss=0.10, probability=1.0)
SOON = replace(LATE, best_h=10.4)
TEST = NextTest(at_h=12.0, worth=2.0, price=1.0, loss_avoided=0.05)
VALUE = TestValue(times_h=np.array([10.0, 12.0]), expected_loss=np.array([0.09, 0.05]), without=0.10)
LOOK = TestValue(times_h=np.array([12.0, 14.0]), expected_loss=np.array([0.08, 0.06]), without=0.10)


def test_the_window_is_the_stretch_around_the_best_hour_within_three_hundredths() -> None:
    times = np.arange(7.0) * 2.0
    expected = np.array([0.5, 0.12, 0.1, 0.125, 0.14, 0.11, 0.3])
    # Four courses of this mean, each with an hour of its own that is best: three of the four in the window from 2 to 6 h.
    loss = np.repeat(expected[None], 4, axis=0)
    for course, place in enumerate((1, 2, 3, 5)):
        loss[:, place] += 0.2 / 3.0
        loss[course, place] -= 0.2 + 0.2 / 3.0
    assert loss.mean(axis=0) == approx(expected)
    window = window_of(times, loss, expected)
    assert (window.start_h, window.best_h, window.end_h) == (2.0, 4.0, 6.0)
    assert (window.expected_loss, window.probability) == approx((0.1, 0.75))
    whole = window_of(times, loss, np.full(7, 0.1) + np.arange(7) * 0.001)
    assert (whole.start_h, whole.best_h, whole.end_h, whole.probability) == (0.0, 0.0, 12.0, 1.0)


def test_of_tests_as_good_the_earliest_is_named_and_its_worth_is_in_money() -> None:
    # Losses within 0.0005 of the best are one: 0.0504 is, 0.0506 is not. 5 % of a brew worth 40 is 2.
    value = replace(VALUE, times_h=np.arange(4.0), expected_loss=np.array([0.0506, 0.0504, 0.05, 0.09]))
    found = next_test(value, Costs(worth_of_full_brew=40.0, test=3.0))
    assert found is not None and found.at_h == 1.0 and value.best == 2
    assert (found.worth, found.price, found.loss_avoided) == approx((2.0, 3.0, 0.05))
    assert value.gain == approx(0.05) and value.least == approx(0.05)
    assert replace(value, without=0.01).gain == 0.0 and next_test(None, Costs()) is None


@pytest.mark.parametrize(
    ("window", "now_loss", "test", "look", "closed", "call", "at", "loss"),
    [
        (LATE, 0.30, TEST, None, (), "test at", 12.0, 0.05),  # worth 2, costs 1
        (LATE, 0.30, replace(TEST, price=3.0), None, (), "wait until", 18.0, 0.10),  # not worth its price
        (LATE, 0.30, replace(TEST, price=2.0), None, (), "wait until", 18.0, 0.10),  # no more than its price
        (LATE, 0.30, replace(TEST, loss_avoided=0.00015), None, (), "test at", 12.0, 0.05),
        (LATE, 0.30, replace(TEST, loss_avoided=0.00009), None, (), "wait until", 18.0, 0.10),  # noise of the draws
        (LATE, 0.30, None, LOOK, (), "wait until", 18.0, 0.10),  # the best hour is later than the look anyway
        (SOON, 0.30, None, LOOK, (), "wait until", 12.0, 0.06),  # 0.04 saved by looking
        (SOON, 0.10, None, LOOK, (), "wait until", 12.0, 0.06),
        (SOON, 0.30, None, replace(LOOK, expected_loss=np.array([0.0985, 0.0975])), (), "wait until", 12.0, 0.0975),
        (SOON, 0.30, None, replace(LOOK, expected_loss=np.array([0.0995, 0.0985])), (), "harvest now", 10.0, 0.30),
        (SOON, 0.099, None, replace(LOOK, expected_loss=np.array([0.0995, 0.0975])), (), "harvest now", 10.0, 0.099),
        (replace(SOON, best_h=10.5), 0.30, None, None, (), "harvest now", 10.0, 0.30),
        (replace(SOON, best_h=10.6), 0.30, None, None, (), "wait until", 10.6, 0.10),
        (LATE, 0.1009, None, None, (), "harvest now", 10.0, 0.1009),  # a tenth of a per cent is nothing to wait for
        (LATE, 0.1015, None, None, (), "wait until", 18.0, 0.10),
        (SOON, 0.30, None, None, (CLOSED,), "wait until", 10.5, 0.30),  # half an hour, and ask again
    ],
)
def test_what_is_called_by_losses_alone(window, now_loss, test, look, closed, call, at, loss) -> None:  # type: ignore[no-untyped-def]
    value = VALUE if test is not None else None
    found = choose(window, now_loss, 10.0, test, value, closed, look)
    assert (found[0], found[1], found[3]) == (call, approx(at), approx(loss))


def test_the_reason_names_its_numbers() -> None:
    # On paper: 0.30 - 0.10 = 20 %; 1 - 0.30 = 70 %; 0.10 - 0.06 = 4 %.
    assert "catch 20 % more" in choose(LATE, 0.30, 10.0, None, None, ())[2]
    assert "catch 70 % of" in choose(SOON, 0.30, 10.0, None, None, ())[2]
    assert "save 4 % of" in choose(SOON, 0.30, 10.0, None, None, (), LOOK)[2]
    assert "costs 1 in your currency and is worth 2 in your currency to you." in choose(LATE, 0.30, 10.0, TEST, VALUE, ())[2]
    assert "it smells of eggs." in choose(SOON, 0.30, 10.0, None, None, (CLOSED,))[2]


WAIT = ("wait until", 18.0, "waiting helps.", 0.10)
HARVEST = ("harvest now", 10.0, "now.", 0.30)
ASK = ("test at", 12.0, "a test.", 0.05)
FALL = Fall(hours=(1.0, 4.0, 8.0), values=(90.0, 70.0, 50.0))
AGREED = Disagreement(first_h=18.0, last_h=18.0, regret=0.0)
APART = Disagreement(first_h=14.0, last_h=32.0, regret=0.2)


@pytest.mark.parametrize(
    ("plan", "left", "more", "call", "at", "loss"),
    [
        (WAIT, 1, {}, "wait until", 18.0, 0.10),
        (WAIT, 1, {"repeat": True}, "test at", 10.0, 0.10),
        (WAIT, 0, {"repeat": True}, "wait until", 18.0, 0.10),
        (ASK, 1, {"repeat": True}, "test at", 12.0, 0.05),
        (WAIT, 0, {"fall": FALL}, "harvest now", 10.0, 0.30),
        (("wait until", 10.4, "soon.", 0.1), 0, {"fall": FALL}, "wait until", 10.4, 0.1),
        (WAIT, 0, {"fall": FALL, "closed": (CLOSED,)}, "wait until", 18.0, 0.10),
        (ASK, 1, {"fall": FALL}, "test at", 12.0, 0.05),
        (WAIT, 0, {"air_off_since_h": 9.0}, "wait until", 11.0, 0.10),
        (HARVEST, 0, {"air_off_since_h": 10.0}, "wait until", 11.0, 0.30),
        (HARVEST, 0, {"air_off_since_h": 10.5}, "harvest now", 10.0, 0.30),
        (ASK, 1, {"air_off_since_h": 9.0}, "test at", 12.0, 0.05),
        (WAIT, 0, {"starved_h": 3.9}, "wait until", 18.0, 0.10),
        (WAIT, 0, {"starved_h": 4.0}, "wait until", 12.0, 0.10),
        (("wait until", 11.0, "soon.", 0.1), 0, {"starved_h": 5.0}, "wait until", 11.0, 0.1),
        (HARVEST, 0, {"starved_h": 5.0}, "harvest now", 10.0, 0.30),
        (WAIT, 0, {"starved_h": 5.0, "air_off_since_h": 5.0}, "wait until", 12.0, 0.10),
        (ASK, 1, {"starved_h": 5.0, "air_off_since_h": 5.0}, "test at", 12.0, 0.05),
        (WAIT, 1, {"apart": APART}, "wait until", 14.0, 0.10),
        (WAIT, 0, {"apart": APART}, "wait until", 18.0, 0.10),
        (WAIT, 1, {"apart": replace(APART, first_h=9.0)}, "wait until", 10.5, 0.10),
        (WAIT, 1, {"apart": replace(APART, first_h=20.0)}, "wait until", 18.0, 0.10),
        (HARVEST, 1, {"apart": APART}, "harvest now", 10.0, 0.30),
        (("wait until", 10.4, "soon.", 0.1), 1, {"apart": APART}, "wait until", 10.4, 0.1),
    ],
)
def test_what_readings_say_by_themselves_changes_the_plan(plan, left, more, call, at, loss) -> None:  # type: ignore[no-untyped-def]
    said = {"fall": None, "apart": AGREED, "repeat": False, "closed": ()} | more
    closed = said.pop("closed")
    found = cautious(plan, 0.30, 10.0, left, closed, Seen(**said))
    assert (found[0], found[1], found[3]) == (call, approx(at), approx(loss))


def test_structures_disagree_beyond_a_twentieth_and_two_hours() -> None:
    # As told in the room: a loss of more than a twentieth, and best hours more than two apart.
    rows = [(0.051, 2.1), (0.049, 2.1), (0.051, 1.9)]
    assert [Disagreement(first_h=4.0, last_h=4.0 + apart, regret=regret).is_large for regret, apart in rows] == [
        True,
        False,
        False,
    ]


def test_words_of_caution_name_their_hours() -> None:
    blind = cautious(WAIT, 0.3, 10.0, 0, (), Seen(fall=None, apart=APART, repeat=False))[2]
    assert blind == "waiting helps; two ways to see this brew disagree (best at 14 h or at 32 h), and only a test could tell."
    assert "since 9.0 h" in cautious(WAIT, 0.3, 10.0, 0, (), Seen(fall=None, apart=AGREED, repeat=False, air_off_since_h=9.0))[2]
    assert "for 5 h" in cautious(WAIT, 0.3, 10.0, 0, (), Seen(fall=None, apart=AGREED, repeat=False, starved_h=5.0))[2]
    assert (
        "90 at 1.0 h, 70 at 4.0 h, 50 at 8.0 h"
        in cautious(WAIT, 0.3, 10.0, 0, (), Seen(fall=FALL, apart=AGREED, repeat=False))[2]
    )


def test_places_of_tests_are_the_first_hours_not_before_those_wanted() -> None:
    # On paper: wanted 1, 2.5, 4, 5.5 on a grid of 0, 1, 3, 4, 5, 7: the hours 1, 3, 4, 7; beyond the grid its last.
    grid = np.array([0.0, 1.0, 3.0, 4.0, 5.0, 7.0])
    assert list(_places(grid, 1.0, 5.5, 1.5)) == [1, 2, 3, 5]
    assert list(_places(grid, 6.9, 8.4, 1.5)) == [5] and list(_places(grid, 5.0, 4.0, 1.5)) == []


@pytest.mark.parametrize(
    ("last_h", "looks"), [(30.0, [12.0, 14.0, 16.0, 19.0, 22.0]), (19.0, [12.0, 14.0, 16.0]), (16.0, [12.0, 14.0])]
)
def test_a_log_is_looked_at_after_2_4_6_9_and_12_hours_while_the_course_lasts(last_h: float, looks: list[float]) -> None:
    times = np.arange(0.0, last_h + 1.0)
    post = replace(made_posterior(times, np.ones((200, len(times)))), logged_until_h=9.0)
    loss = np.tile(np.linspace(0.0, 0.5, len(times)), (200, 1))
    found = value_of_looking(post, loss, 10.0, seed=1)
    assert found is not None and list(found.times_h) == looks
    # Nothing to learn, and the loss rises: each look costs what its hour costs.
    assert found.expected_loss == approx(0.5 * np.array(looks) / last_h) and found.without == approx(5.0 / last_h)
    # The same where next to no oxygen is left, and the probe's own noise counts most.
    gone = value_of_looking(replace(post, oxygen=np.full(post.oxygen.shape, 0.1)), loss, 10.0, seed=1)
    assert gone is not None and gone.expected_loss == approx(found.expected_loss)
    assert value_of_looking(post, loss, 11.1, seed=1) is None and value_of_looking(post, loss, 11.0, seed=1) is not None
    assert value_of_looking(post, loss, last_h - 1.0, seed=1) is None


def test_what_two_looks_at_a_log_tell_agrees_with_a_grid_of_what_they_may_show() -> None:
    # Independent computation (Raiffa and Schlaifer 1961, expected value of sample information, on a product grid of standard
    # normals): two worlds, what lacks of oxygen grows on in one. Weights are those of a t of five degrees.
    hours = np.array([0.0, 1.0, 2.0, 4.0, 5.0, 6.0])
    odd = np.arange(1000)[:, None] % 2
    oxygen = np.where(odd, [6.0, 6.0, 5.6, 5.2, 5.0, 5.0], 6.0)
    oxygen[0, 0] = 9.0  # the fullest of all courses stands for saturation; its hour is not used
    post = replace(made_posterior(hours, np.ones((1000, 6)), oxygen=oxygen), logged_until_h=1.0)
    loss = np.where(odd, [0.9, 0.9, 0.9, 0.4, 0.4, 0.0], [0.9, 0.9, 0.9, 0.0, 0.0, 0.3])
    found = value_of_looking(post, loss, 0.5, seed=7)
    assert found is not None

    def log_gap(value: float) -> tuple[float, float]:
        gap, size = lacking_and_error(np.array(value), np.array(9.0))
        return float(gap), float(size)

    def course(values: list[float]) -> tuple[list[float], list[float]]:
        gaps, sizes = zip(*(log_gap(value) for value in values), strict=True)
        at = [np.interp([0.5, 2.5, 4.5], hours, row) for row in (gaps, sizes)]
        moved = np.diff(at[0])
        drift = 0.35**2 * (1.0 - math.exp(-2.0 / 6.0))
        return list(moved), [math.sqrt(drift + (0.1 * size) ** 2) for size in at[1][1:]]

    still, falls = course([6.0] * 6), course([6.0, 6.0, 5.6, 5.2, 5.0, 5.0])
    z, share = np.polynomial.hermite_e.hermegauss(60)
    share = share / share.sum()

    def expected(looks: int) -> float:
        total = 0.0
        for moved, noise in (still, falls):
            for chosen in itertools.product(range(60), repeat=looks):
                far = [0.0, 0.0]
                for look, place in enumerate(chosen):
                    seen = moved[look] + noise[look] * z[place]
                    for world, (middle, size) in enumerate((still, falls)):
                        far[world] += ((seen - middle[look]) / size[look]) ** 2
                a, b = ((1.0 + item / 3.0) ** -3.0 for item in far)
                now, later = 0.4 * b / (a + b), 0.3 * a / (a + b)
                total += 0.5 * math.prod(share[place] for place in chosen) * min(now, later)
        return total

    assert found.times_h == approx([4.0, 5.0])  # the first hours not before 2.5 and 4.5 h
    assert found.expected_loss[0] == approx(expected(1), abs=0.008)
    assert found.expected_loss[1] == approx(expected(2), abs=0.008)
    assert found.without == approx(0.15)


def test_readings_above_the_range_are_no_fall_and_air_that_stands_counts_from_a_fifth() -> None:
    hours = np.arange(0.0, 11.0)
    error = AssayError(constant_sd=1.0, proportional_cv=0.1, gain_log_sd=0.01)
    rows = tuple(Measurement(elapsed_h=h, value=v, error=error) for h, v in ((1.0, 90.0), (3.0, 60.0), (5.0, 40.0)))
    brew = replace(made_posterior(hours, np.ones((3, 11))), measurements=rows)
    assert clear_fall(brew) == Fall(hours=(1.0, 3.0, 5.0), values=(90.0, 60.0, 40.0))
    assert clear_fall(replace(brew, measurements=(replace(rows[0], above_range=True), *rows[1:]))) is None
    other = (replace(rows[0], quantity="fungi"), *rows[1:])
    assert clear_fall(replace(brew, measurements=other)) is None
    # Without a log hours count where the air stood under a fifth and next to no oxygen follows.
    starved = replace(brew, oxygen=np.full((3, 11), 0.4), air=np.where(hours < 4.0, 0.19, 0.21))
    assert hours_without_oxygen(starved, 10.0) == approx(4.0)
    assert hours_without_oxygen(replace(starved, oxygen=np.full((3, 11), 0.6)), 10.0) == 0.0


def test_what_the_draws_expect_is_told_at_seven_tenths_and_from_now_on_only() -> None:
    # On paper: a course of 40, 80, 100, 60: at 1 h 0.2 is lost, of which 0.7 came true; looked at from 1 h on.
    post = made_posterior([0.0, 1.0, 2.0, 3.0], np.tile([40.0, 80.0, 100.0, 60.0], (50, 1)))
    advice = advise(post, now_h=1.0, costs=Costs(hour_of_waiting=0.0))
    assert list(advice.times_h) == [1.0, 2.0, 3.0] and advice.loss_by_time == approx([0.14, 0.0, 0.28])
    assert (advice.expected_loss_now, advice.expected_loss) == approx((0.14, 0.0))
    # While a log runs on, eleven twentieths came true.
    logged = advise(replace(post, logged_until_h=1.0), now_h=1.0, costs=Costs(hour_of_waiting=0.0))
    assert logged.loss_by_time == approx([0.11, 0.0, 0.22])
    assert advice.window.best_h == 2.0 and advice.call == "wait until" and advice.at_h == 2.0
    assert len(advice.test_times_h) == 0 and advise(post, now_h=9.0).now_h == 3.0 and advise(post, now_h=-1.0).now_h == 0.0
    asked = advise(post, now_h=0.0, tests_left=1, costs=Costs(hour_of_waiting=0.0))
    assert list(asked.test_times_h) == [0.0, 2.0, 3.0] and len(asked.test_loss_by_time) == 3


def test_a_last_reading_is_repeated_within_three_hours_only() -> None:
    post = made_posterior(np.arange(0.0, 21.0), np.tile(np.linspace(10.0, 100.0, 21), (50, 1)))
    odd = replace(post, last_tail=0.001, last_result_h=6.0)
    assert advise(odd, now_h=9.0, tests_left=1, costs=Costs(test=1e6)).call == "test at"
    assert advise(odd, now_h=9.2, tests_left=1, costs=Costs(test=1e6)).call == "wait until"
    assert advise(replace(odd, last_result_h=None), now_h=9.0, tests_left=1, costs=Costs(test=1e6)).call == "wait until"


def test_what_a_harvest_missed_has_its_90_percent_interval() -> None:
    # On paper: course i of 101 stands at i % of its peak at 1 h: it missed 1 - i %, of which 5 to 95 % are 0.05 and 0.95.
    courses = np.stack([np.zeros(101), np.linspace(0.0, 1.0, 101), np.ones(101)], axis=1)
    found = missed_by(made_posterior([0.0, 1.0, 2.0], courses), 1.0, AimChoice(), Costs(hour_of_waiting=0.0))
    assert (found.mean, found.low, found.high) == approx((0.5, 0.05, 0.95))


def test_a_test_is_valued_over_the_hours_ahead() -> None:
    # On paper: a test that tells nothing leaves the least of what is still to come: 0.1 at 3 h, then what the hour costs.
    loss = np.tile([0.0, 0.4, 0.3, 0.1, 0.2, 0.5], (120, 1))
    post = made_posterior(np.arange(6.0), np.ones((120, 6)))
    kit = Measurement(elapsed_h=0.0, value=0.0, error=AssayError(constant_sd=1.0, proportional_cv=0.1, gain_log_sd=0.0))
    found = value_of_test(post, loss, 1.0, kit, until_h=5.0, seed=1)
    assert found is not None and list(found.times_h) == [1.0, 3.0, 4.0]
    assert found.expected_loss == approx([0.1, 0.1, 0.2]) and found.without == approx(0.1)
    assert value_of_test(post, loss, 5.0, kit, until_h=5.0, seed=1) is None

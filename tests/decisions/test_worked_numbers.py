"""Numbers behind the call, worked out here on paper for hand-made courses."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad

from aerobe.decisions import best_in_hindsight, forecast_of, losses, missed_by, oxygen_outlook, value_of_test
from aerobe.decisions._caution import Disagreement, disagreement_of
from aerobe.decisions._loss import attainment
from aerobe.decisions._trend import clear_fall, hours_without_oxygen, is_far_off
from aerobe.inference import Measurement
from aerobe.records import AimChoice, AssayError, Costs
from tests.decisions.made import made_posterior

HOURS = np.arange(0.0, 11.0)
ONE = made_posterior(HOURS, [[10.0, 20.0, 40.0, 80.0, 100.0, 90.0, 80.0, 70.0, 60.0, 50.0, 40.0]])


def test_what_is_forgone_is_the_share_of_the_peak_that_is_missed() -> None:
    free = losses(ONE, AimChoice(), Costs(hour_of_waiting=0.0))
    assert free[0] == approx([0.9, 0.8, 0.6, 0.2, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])


def test_an_hour_of_waiting_costs_its_price_over_the_worth_of_a_full_brew() -> None:
    # On paper: 0.5 an hour of a brew worth 40 is 1.25 % an hour: 5 % at the peak after four.
    priced = losses(ONE, AimChoice(), Costs(hour_of_waiting=0.5, worth_of_full_brew=40.0))
    assert priced[0, [0, 4, 10]] == approx([0.9, 0.05, 0.725])


def test_the_other_aims_have_their_numbers() -> None:
    course = replace(ONE, fungi=ONE.bacteria * 0.5, bacteria=ONE.bacteria * 0.5, oxygen=np.full((1, 11), 4.5))
    # Fungal over bacterial is 1; a target of 2 is ln 2 away: 1 - 0.693.
    assert attainment(course, AimChoice(aim="fungal to bacterial target", ratio_target=2.0), Costs())[0] == approx(
        1.0 - math.log(2.0)
    )
    # 50 of 80 enough, and 4.5 of a floor of 6 mg/L.
    wanted = AimChoice(aim="enough biomass with oxygen", biomass_at_least=160.0, oxygen_floor_mg_per_l=6.0)
    assert attainment(course, wanted, Costs())[0, 3:5] == approx([80.0 / 160.0 * 0.75, 100.0 / 160.0 * 0.75])
    # Above its floor oxygen counts as one, not more, and without any as nought.
    airy = replace(course, oxygen=np.array([[9.0, 6.0, 3.0, 0.0, *[9.0] * 7]]))
    assert attainment(airy, wanted, Costs())[0, :5] == approx(
        [10.0 / 160.0, 20.0 / 160.0, 0.5 * 40.0 / 160.0, 0.0, 100.0 / 160.0]
    )
    # Biomass per money: 80 / (10 + 3) is the most of the course; at 5 h 90 / 15.
    per_cost = attainment(course, AimChoice(aim="most per cost"), Costs(brew=10.0, hour_of_waiting=1.0))
    best = max(value / (10.0 + hour) for hour, value in zip(HOURS, ONE.biomass[0], strict=True))
    assert per_cost[0, 5] == approx(90.0 / 15.0 / best)


def test_how_long_a_tea_holds_once_the_air_stops_middle_and_careful() -> None:
    # On paper: 101 courses with 3.0 to 8.0 mg/L now, floor 2, uptake 5 mg/L/h: 0.2 to 1.2 h, the middle 0.7 h, and 95 of 100 hold
    # longer than 0.25 h.
    oxygen = np.repeat(np.linspace(3.0, 8.0, 101)[:, None], 11, axis=1)
    many = made_posterior(HOURS, np.ones((101, 11)), oxygen=oxygen)
    outlook = oxygen_outlook(many, 4.0, 2.0)
    assert outlook.holding_time_h == approx(0.7) and outlook.holding_time_low_h == approx(0.25)
    assert (outlook.now_low, outlook.now_mg_per_l, outlook.now_high) == approx((3.25, 5.5, 7.75))
    assert outlook.uptake_mg_per_l_h == 5.0 and outlook.probability_below == 0.0 and outlook.crosses_at_h is None


def test_when_oxygen_crosses_the_floor() -> None:
    # On paper: course i falls by 1 mg/L an hour from 4 + i/25; with a floor of 2.05 a quarter has crossed before 3 h.
    start = 4.0 + np.arange(101) / 25.0
    many = made_posterior(HOURS, np.ones((101, 11)), oxygen=start[:, None] - HOURS)
    outlook = oxygen_outlook(many, 1.0, 2.05, within_h=5.0)
    falls = start - 6.0 < 2.05
    assert outlook.probability_below == approx(falls.mean())
    assert outlook.crosses_at_h == approx(np.median(np.floor(start[falls] - 2.05) + 1.0))
    assert outlook.lowest_mg_per_l == approx(np.median(start) - 6.0) and outlook.lowest_at_h == 6.0
    # Beyond the forecast its last hour stands for what lies ahead.
    late = oxygen_outlook(made_posterior(HOURS, np.ones((101, 11)), oxygen=np.tile(HOURS, (101, 1))), 12.0, 2.0)
    assert (late.lowest_mg_per_l, late.lowest_at_h, late.probability_below) == (10.0, 10.0, 0.0)


def reading(hour: float, value: float, cv: float = 0.1, **more: object) -> Measurement:
    return Measurement(
        elapsed_h=hour, value=value, error=AssayError(constant_sd=1.0, proportional_cv=cv, gain_log_sd=0.01), **more
    )  # type: ignore[arg-type]


def test_three_readings_fall_clearly_beyond_1_3_standard_errors_of_their_difference() -> None:
    # On paper: each has root(ln(1.01) + (1/value)^2); 200 and 165 differ by 0.192, over 1.3 x 0.141 = 0.184;
    # 200 and 170 by 0.163.
    def fall(last: float, **more: object) -> bool:
        readings = (reading(1.0, 200.0), reading(3.0, 190.0), reading(5.0, last, **more))
        return clear_fall(replace(ONE, measurements=readings)) is not None

    assert fall(165.0) and not fall(170.0) and not fall(195.0)
    small = tuple(reading(hour, value) for hour, value in ((1.0, 4.0), (3.0, 3.0), (5.0, 2.6)))
    # Near nought the constant part counts: root(0.0998^2 + 0.25^2 + 0.0998^2 + 0.385^2) x 1.3 = 0.62 > ln(4 / 2.6) = 0.43.
    assert clear_fall(replace(ONE, measurements=small)) is None
    three = (reading(1.0, 200.0), reading(3.0, 190.0), reading(5.0, 120.0))
    assert clear_fall(replace(ONE, measurements=three, feeds_h=(2.0,))) is None
    assert clear_fall(replace(ONE, measurements=three, feeds_h=(0.5,))) is not None
    assert clear_fall(replace(ONE, measurements=three[1:])) is None


def test_a_reading_less_likely_than_one_in_a_hundred_is_asked_about() -> None:
    assert [is_far_off(replace(ONE, last_tail=tail)) for tail in (None, 0.009, 0.011)] == [False, True, False]


def test_hours_without_oxygen_are_those_logged_under_half_a_milligram() -> None:
    oxygen = np.where((HOURS >= 3.0) & (HOURS <= 6.0), 0.4, 6.0)[None, :]
    brew = replace(ONE, oxygen=oxygen, logged_until_h=10.0)
    assert hours_without_oxygen(brew, 9.0) == approx(4.0) and hours_without_oxygen(brew, 4.0) == approx(2.0)
    assert hours_without_oxygen(replace(brew, logged_until_h=None), 9.0) == 0.0
    assert hours_without_oxygen(replace(brew, oxygen=oxygen + 0.2), 9.0) == 0.0


def test_structures_disagree_by_what_one_would_lose_by_the_common_choice() -> None:
    # On paper: the first structure is best at 2 h, the second at 8 h and would lose 0.3 by harvesting at 2 h.
    loss = np.array([[0.5, 0.0, 0.2], [0.6, 0.3, 0.0]]).repeat(10, axis=0)
    two = replace(made_posterior([0.0, 2.0, 8.0], np.ones((20, 3))), structure=np.repeat([0, 1], 10))
    found = disagreement_of(two, np.array([0.0, 2.0, 8.0]), loss, 2.0)
    assert (found.first_h, found.last_h, found.regret) == approx((2.0, 8.0, 0.3)) and found.is_large
    small = replace(two, structure=np.repeat([0, 1], [18, 2]))  # a tenth is not asked
    assert disagreement_of(small, np.array([0.0, 2.0, 8.0]), loss[np.repeat([0, 10], [18, 2])], 2.0).last_h == 2.0
    alone = disagreement_of(replace(two, structure=None), np.array([0.0, 2.0, 8.0]), loss, 2.0)
    assert (alone.first_h, alone.last_h, alone.regret) == (2.0, 2.0, 0.0)
    assert not Disagreement(first_h=0.0, last_h=1.9, regret=0.3).is_large
    assert not Disagreement(first_h=0.0, last_h=9.0, regret=0.04).is_large


def test_the_worth_of_a_test_between_two_worlds_agrees_with_the_integral() -> None:
    # Independent computation of the expected value of sample information (Raiffa and Schlaifer 1961): in world A biomass is 100
    # and harvest now is right, in world B it is 100 exp(0.6) and waiting is right; a mistake costs 0.4 in A and 0.2 in B. The
    # result has a normal error and is weighed by a t of five degrees and unit variance.
    biomass = np.where(np.arange(1000)[:, None] % 2, 100.0 * math.exp(0.6), 100.0) * np.ones((1000, 2))
    post = made_posterior([0.0, 1.0], biomass)
    loss = np.where(np.arange(1000)[:, None] % 2, [0.2, 0.0], [0.0, 0.4])
    kit = reading(0.0, 100.0, cv=0.5)
    found = value_of_test(post, loss, 0.0, kit, until_h=0.0, seed=4)
    assert found is not None and found.without == approx(0.1)

    from aerobe.inference import expected_result, result_errors

    inside, noise = result_errors(kit, expected_result(post, kit)[:, :1])
    low, high = inside[0, 0], inside[1, 0]

    def forgone(z: float, truth: float) -> float:
        seen = truth + noise * z
        a, b = ((1.0 + ((seen - middle) / noise) ** 2 / 3.0) ** -3.0 for middle in (low, high))
        return float(math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * min(0.2 * b, 0.4 * a) / (a + b))

    exact = sum(0.5 * quad(forgone, -8.0, 8.0, args=(truth,))[0] for truth in (low, high))
    # A hundred truths: the mean of so many is uncertain by some 0.006.
    assert found.expected_loss[0] == approx(exact, abs=0.02) and exact < 0.1
    assert found.gain == approx(0.1 - found.expected_loss[0])


@pytest.mark.parametrize(("now", "last", "times"), [(0.0, None, [0, 2, 3, 5, 6]), (0.0, 1.0, [3, 4, 6])])
def test_a_test_is_looked_at_every_hour_and_a_half_and_not_at_once_after_another(
    now: float, last: float | None, times: list[int]
) -> None:
    post = replace(ONE, last_result_h=last) if last is not None else ONE
    found = value_of_test(post, losses(ONE, AimChoice(), Costs()), now, reading(0.0, 50.0), until_h=6.0, seed=1)
    assert found is not None and list(found.times_h) == times


def test_what_another_hour_missed_and_the_best_hours_in_hindsight() -> None:
    # On paper: harvested at 6 h instead of 4 h the course of the first test misses 0.2; at 4.5 h, halfway, 0.05.
    free = Costs(hour_of_waiting=0.0)
    assert missed_by(ONE, 6.0, AimChoice(), free).mean == approx(0.2)
    assert missed_by(ONE, 4.5, AimChoice(), free).high == approx(0.05)
    window = best_in_hindsight(ONE, AimChoice(), free)
    assert window.best_h == 4.0 and window.start_h <= 4.0 <= window.end_h
    many = made_posterior(HOURS, np.outer(np.ones(101), ONE.biomass[0]))
    assert forecast_of(many).biomass[1] == approx(ONE.biomass[0])


def test_a_crossing_is_timed_where_one_course_in_twenty_crosses() -> None:
    # On paper: of 100 courses 4 or 6 sink below the floor at 5 h.
    for sinking, at in ((4, None), (6, 5.0)):
        oxygen = np.full((100, 11), 6.0)
        oxygen[:sinking, 5:] = 1.0
        found = oxygen_outlook(made_posterior(HOURS, np.ones((100, 11)), oxygen=oxygen), 1.0, 2.0)
        assert found.crosses_at_h == at and found.probability_below == approx(sinking / 100.0)

"""Numbers at the edges of the rules, worked out on paper: hours that meet the grid to a hair, caps, prices that are nought."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.decisions import _replay as replaying
from aerobe.decisions import advise, attainment, best_in_hindsight, losses, missed_by, oxygen_outlook, replay, value_of_looking
from aerobe.decisions._caution import disagreement_of
from aerobe.decisions._lookahead import _places, _weights
from aerobe.decisions._trend import hours_without_oxygen
from aerobe.inference import BrewStory, Measurement, Posterior, story_of
from aerobe.records import AimChoice, Costs
from tests.decisions.made import made_posterior

COURSE = made_posterior([0.0, 1.0, 2.0, 3.0], np.tile([40.0, 80.0, 100.0, 60.0], (50, 1)))


def test_tests_are_looked_for_two_days_ahead() -> None:
    hours = np.arange(0.0, 97.0)
    post = made_posterior(hours, np.tile(10.0 + hours, (40, 1)))
    asked = advise(post, now_h=10.5, tests_left=1)
    # On paper: every hour and a half from 10.5 h up to 58.5 h, each at the first whole hour that is not before it.
    assert list(asked.test_times_h) == sorted({float(np.ceil(10.5 + 1.5 * k)) for k in range(33)})
    assert asked.test_times_h[-1] == 59.0


def test_an_hour_a_hair_after_one_of_the_grid_is_that_hour() -> None:
    late = 0.1 + 0.2  # 0.30000000000000004
    assert list(_places(np.array([0.0, 0.3, 0.6]), late, 0.5, 1.5)) == [1]
    assert list(_places(np.array([0.0, 0.3, 1.8, 2.0]), 0.3, 1.8 - 1e-12, 1.5)) == [1, 2]
    post = made_posterior([0.0, 0.3, 2.3, 4.3, 5.0], np.tile([1.0, 2.0, 3.0, 2.0, 1.0], (120, 1)))
    assert advise(post, now_h=late).times_h[0] == 0.3
    found = value_of_looking(replace(post, logged_until_h=0.3), losses(post, AimChoice(), Costs()), 0.3 + 1e-12, seed=1)
    assert found is not None and list(found.times_h) == [2.3, 4.3]
    # The log's own last hour, and the hour that is asked for, are counted as well.
    starved = replace(post, oxygen=np.full((120, 5), 0.3), logged_until_h=2.3 - 1e-12)
    assert hours_without_oxygen(starved, 5.0) == approx(0.3 + 1.15 + 2.0)
    assert hours_without_oxygen(replace(starved, logged_until_h=9.0), 2.3 - 1e-12) == approx(0.3 + 1.15 + 2.0)


def test_waiting_costs_only_where_it_has_a_price_and_the_brew_a_worth() -> None:
    # On paper: 2 an hour of a brew worth 40 is a twentieth an hour; per cost, waiting stands in the cost already.
    bare = [0.6, 0.2, 0.0, 0.4]
    priced = [0.6, 0.25, 0.1, 0.55]
    costs = Costs(brew=10.0, hour_of_waiting=2.0, worth_of_full_brew=40.0)
    assert losses(COURSE, AimChoice(), costs)[0] == approx(priced)
    for free in (replace(costs, hour_of_waiting=0.0), replace(costs, worth_of_full_brew=0.0)):
        assert losses(COURSE, AimChoice(), free)[0] == approx(bare)
    # 40 / 10, 80 / 12, 100 / 14 and 60 / 16, over the best of them.
    assert 1.0 - losses(COURSE, AimChoice(aim="most per cost"), costs)[0] == approx([0.56, 14.0 / 15.0, 1.0, 0.525])


def test_more_than_enough_is_no_more_than_all_and_far_off_is_nothing() -> None:
    enough = AimChoice(aim="enough biomass with oxygen", biomass_at_least=70.0, oxygen_floor_mg_per_l=5.0)
    assert attainment(COURSE, enough, Costs())[0] == approx([4.0 / 7.0, 1.0, 1.0, 6.0 / 7.0])  # 7 mg/L over a floor of 5
    # A factor e off the target or more is nothing: log ratios of -2, -0.5, 0.25 and 1.5 to it.
    logs = np.array([-2.0, -0.5, 0.25, 1.5])
    mixed = replace(COURSE, bacteria=np.ones((1, 4)), fungi=0.4 * np.exp(logs)[None])
    target = AimChoice(aim="fungal to bacterial target", ratio_target=0.4)
    assert attainment(mixed, target, Costs())[0] == approx([0.0, 0.5, 0.75, 0.0])


def test_what_was_missed_is_told_over_the_best_that_waiting_leaves() -> None:
    # On paper: at one per cent an hour the losses are 0.60, 0.21, 0.02 and 0.43; at 2.5 h 0.225.
    costs = Costs(hour_of_waiting=1.0, worth_of_full_brew=100.0)
    for hour, missed in ((3.0, 0.41), (2.5, 0.205), (0.0, 0.58)):
        found = missed_by(COURSE, hour, AimChoice(), costs)
        assert (found.mean, found.low, found.high) == approx((missed, missed, missed))
    window = best_in_hindsight(COURSE, AimChoice(), costs)
    assert (window.start_h, window.best_h, window.end_h, window.probability) == (2.0, 2.0, 2.0, 1.0)
    assert window.expected_loss == approx(0.02)


def test_oxygen_is_looked_at_for_a_day() -> None:
    hours = np.arange(0.0, 40.0)
    for low_at, below in ((26.0, 1.0), (27.0, 0.0)):
        oxygen = np.tile(np.where(hours == low_at, 1.0, 6.0), (60, 1))
        found = oxygen_outlook(made_posterior(hours, np.ones((60, 40)), oxygen=oxygen), 2.0, 2.0)
        assert found is not None and found.probability_below == below
    unknown = replace(made_posterior(hours, np.ones((60, 40))), oxygen_known=False)
    assert oxygen_outlook(unknown, 2.0, 2.0) is None


def test_a_structure_loses_what_lies_between_its_choice_and_its_own_best() -> None:
    # On paper: by the common choice (2 h) the first would lose 0.10 against its best of 0.10 and the second 0.35 against 0.15.
    loss = np.array([[0.5, 0.10, 0.2], [0.6, 0.35, 0.15]]).repeat(10, axis=0)
    two = replace(made_posterior([0.0, 2.0, 8.0], np.ones((20, 3))), structure=np.repeat([0, 1], 10))
    found = disagreement_of(two, np.array([0.0, 2.0, 8.0]), loss, 2.3)
    assert (found.first_h, found.last_h, found.regret) == approx((2.0, 8.0, 0.2))
    # Three draws of twenty are heard, a share of 0.15; two are not.
    for heard, last in ((3, 8.0), (2, 2.0)):
        few = replace(two, structure=np.repeat([0, 1], [20 - heard, heard]))
        part = loss[np.repeat([0, 10], [20 - heard, heard])]
        assert disagreement_of(few, np.array([0.0, 2.0, 8.0]), part, 2.0).last_h == last


def test_draws_are_weighed_by_a_t_of_five_degrees() -> None:
    # On paper, with a generator that draws the errors 0.5 and -1: what is seen is 1 + 0.25 and 3 - 0.5 at a noise of a half.
    class Fixed:
        def standard_normal(self, count: int) -> np.ndarray:
            return np.array([0.5, -1.0])

    inside = np.array([1.0, 1.8, 3.0])
    found = _weights(inside, 0.5, np.array([0, 2]), Fixed())  # type: ignore[arg-type]
    for row, seen in zip(found, (1.25, 2.5), strict=True):
        dense = (1.0 + ((seen - inside) / 0.5) ** 2 / 3.0) ** -3
        assert row == approx(dense / dense.sum())


def test_a_replay_asks_at_each_hour_with_the_tests_that_were_still_to_come(monkeypatch: pytest.MonkeyPatch) -> None:
    # On paper: readings at 4, 9 and 15 h: at 3 h three were to come, at 9 h one, at 20 h none; the person names 2 at 9 h.
    told: list[tuple[float, int]] = []
    seen: list[int] = []

    def known(story: BrewStory, **_: object) -> Posterior:
        seen.append(len(story.measurements))
        return COURSE

    def ask(posterior: Posterior, *, now_h: float, tests_left: int, **_: object) -> None:
        told.append((now_h, tests_left))

    monkeypatch.setattr(replaying, "infer_brew", known)
    monkeypatch.setattr(replaying, "advise", ask)
    story = story_of(compost_g_per_l=30.0, measurements=[Measurement(elapsed_h=h, value=9.0) for h in (4.0, 9.0, 15.0)])
    shares: list[float] = []
    replay(story, [3.0, 9.0, 20.0], tests_left_at=lambda hour: 2 if hour == 9.0 else 0, progress=shares.append)
    assert told == [(3.0, 3), (9.0, 2), (20.0, 0)] and seen == [0, 2, 3] and shares == approx([1.0 / 3.0, 2.0 / 3.0, 1.0])

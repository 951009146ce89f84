"""A practice brew: the same again from its seed, honest noise and colour, a pump that waits to be looked at, a fair score."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aerobe.errors import NotAllowed, OutsideValidity
from aerobe.practice import (
    MOST_TESTS,
    Practice,
    PracticeChoices,
    Score,
    begun,
    drawn_choices,
    expected_colour,
    hidden_of,
    moved,
    outcome_of,
    series_of,
    waited,
    world_of,
)
from aerobe.practice._brew import STOP_H, attainable, caught_at, pump_on_h, shown_by_test
from aerobe.practice._rivals import error_known, moments_of, story_until
from aerobe.worlds import END_H, TEST_CONSTANT, TEST_ERROR, TEST_SCALE, WORLDS


def played(practice: Practice, *steps: tuple[float, str]) -> Practice:
    """A practice brew after moves at hours."""
    for hour, kind in steps:
        practice = moved(waited(practice, hour), kind)
    return practice


def with_trouble(kind: str) -> Practice:
    return begun("practice-1", 11, PracticeChoices(trouble=kind, probe=True))


def test_the_same_seed_choices_and_moves_are_the_same_brew() -> None:
    one, two = (played(begun("practice-1", 3, drawn_choices(3)), (12.0, "test"), (20.0, "test"), (24.0, "harvest")) for _ in "ab")
    assert one == two and outcome_of(one).points == outcome_of(two).points
    assert played(begun("practice-1", 4, drawn_choices(3)), (12.0, "test")).moves != one.moves[:1]


def test_every_world_is_drawn_and_nothing_is_drawn_twice_as_often_as_it_should() -> None:
    drawn = [hidden_of(seed, PracticeChoices()).law for seed in range(600)]
    counts = [drawn.count(key) for key in WORLDS]
    # 50 of each expected; four standard errors of a binomial.
    assert min(counts) > 50 - 4 * np.sqrt(50) and max(counts) < 50 + 4 * np.sqrt(50)


def test_a_test_shows_cells_and_colour_with_the_error_that_is_told() -> None:
    for seed in range(4):
        one = waited(begun("practice-1", seed, PracticeChoices()), 20.0)
        true, colour = world_of(one).biomass_at(0, 20.0), hidden_of(seed, PracticeChoices()).colour
        shown = np.array([shown_by_test(one, 20.0, nth) for nth in range(120)])
        each = np.log((shown - colour) / true)
        # The scale is the brew's own; the error within is that of the test, with a little more near zero.
        assert np.std(each) == pytest.approx(np.hypot(TEST_ERROR, TEST_CONSTANT / true), rel=0.25)
        assert abs(np.mean(each)) < 4.0 * TEST_SCALE
        assert moved(one, "test").moves[0].value == shown[0]


def test_a_control_shows_colour_and_narrows_what_is_known_of_it() -> None:
    dark = begun("practice-1", 9, PracticeChoices(molasses_g_per_l=4.0))
    truth, told = hidden_of(9, dark.choices).colour, moved(dark, "control").moves[-1].value
    assert told == pytest.approx(truth, abs=8.0)
    blind, seen = error_known(dark, 0), error_known(dark, 1)
    assert (blind.bias, blind.bias_sd) == pytest.approx(expected_colour(dark.choices))
    assert seen.bias_sd < 0.2 * blind.bias_sd and seen.bias == pytest.approx(told, abs=2.0)


def test_a_pump_that_is_looked_at_runs_again_and_the_past_stays_as_it_was() -> None:
    left, off = with_trouble("pump"), hidden_of(11, with_trouble("pump").choices).pump_off_h
    assert off is not None and pump_on_h(left) == off + STOP_H
    before, looked = moved(waited(left, off - 1.0), "pump"), moved(waited(left, off + 2.0), "pump")
    assert before.moves[-1].value == 0.0 and pump_on_h(before) == off + STOP_H
    assert looked.moves[-1].value == 1.0 and pump_on_h(looked) == off + 2.0
    a, b = world_of(left), world_of(looked)
    until, after = a.times_h < off + 1.95, (a.times_h > off + 2.2) & (a.times_h < off + STOP_H - 0.5)
    assert np.array_equal(a.probe[0, until], b.probe[0, until]) and np.array_equal(a.biomass[0, until], b.biomass[0, until])
    assert b.courses.oxygen[0, after].mean() > a.courses.oxygen[0, after].mean() + 1.0
    assert attainable(left) == attainable(looked) and a.biomass.max() <= attainable(left)


def test_a_cold_night_is_cold_and_only_then() -> None:
    cold, mild = with_trouble("cold"), with_trouble("none")
    at = hidden_of(11, cold.choices).cold_at_h
    assert at is not None
    apart = world_of(mild).temperature[0] - world_of(cold).temperature[0]
    hours = world_of(cold).times_h
    assert apart[np.argmin(np.abs(hours - at))] == pytest.approx(7.0, abs=0.1) and apart[np.abs(hours - at) > 14.0].max() < 0.01


def test_what_cannot_be_done_is_said_and_changes_nothing() -> None:
    done = played(begun("practice-1", 3, PracticeChoices()), (20.0, "harvest"))
    for kind in ("test", "harvest", "stir"):
        with pytest.raises(NotAllowed):
            moved(done, kind)
    assert waited(done, 50.0) == done
    full = begun("practice-1", 3, PracticeChoices())
    for _ in range(MOST_TESTS):
        full = moved(full, "test")
    with pytest.raises(NotAllowed, match="used"):
        moved(full, "control")
    with pytest.raises(NotAllowed, match="curtain"):
        outcome_of(full)
    assert waited(waited(full, 12.0), 3.0).now_h == 12.0
    assert waited(full, 500.0).harvested_h == END_H
    with pytest.raises(OutsideValidity):
        PracticeChoices(molasses_g_per_l=60.0)
    with pytest.raises(OutsideValidity):
        PracticeChoices(trouble="storm")


def test_the_score_is_the_share_caught_less_the_tests() -> None:
    one = played(begun("practice-1", 5, PracticeChoices()), (14.0, "test"), (20.0, "harvest"))
    out = outcome_of(one)
    assert out.caught == pytest.approx(world_of(one).biomass_at(0, 20.0) / world_of(one).biomass.max())
    assert out.points == pytest.approx(100.0 * out.caught - 1.0) and out.clock_points == pytest.approx(
        100.0 * caught_at(one, 24.0)
    )
    best = max(caught_at(one, float(hour)) for hour in world_of(one).times_h)
    assert best == pytest.approx(1.0)


def test_the_call_is_given_the_same_data_and_no_more() -> None:
    one = played(with_trouble("none"), (10.0, "test"), (14.0, "control"), (18.0, "test"), (22.0, "harvest"))
    assert moments_of(one) == [0.0, 10.0, 14.0, 18.0, 22.0]
    early, late = story_until(one, 10.0), story_until(one, 18.0)
    assert [item.value for item in early.measurements] == [one.moves[0].value] and len(late.measurements) == 2
    assert early.oxygen is not None and early.oxygen.elapsed_h.max() <= 10.0
    errors = [story.measurements[0].error.bias_sd for story in (early, late)]
    assert errors[1] < 0.5 * errors[0]  # the control came between
    unlogged = replace(one, choices=replace(one.choices, probe=False))
    assert story_until(unlogged, 18.0).oxygen is None


@pytest.mark.parametrize(("seed", "moves", "word"), [
    (11, ((30.0, "harvest"),), "Without a test"),
    (5, tuple((float(h), "test") for h in range(10, 18)), "nearly all|tests cost|early|late"),
])  # fmt: skip
def test_one_sentence_to_learn(seed: int, moves: tuple[tuple[float, str], ...], word: str) -> None:
    import re

    one = played(begun("practice-1", seed, PracticeChoices(molasses_g_per_l=0.2)), *moves)
    one = one if one.harvested_h is not None else moved(waited(one, 20.0), "harvest")
    said = outcome_of(one).to_learn
    assert said.endswith(".") and len(said) < 200
    assert outcome_of(one).caught > 0.95 or re.search(word, said)


def test_a_series_says_no_more_than_its_scores_carry() -> None:
    def scores(*apart: float) -> list[Score]:
        return [Score(key=f"practice-{i}", learner=80 + d, call=80, clock=70, knowing=85) for i, d in enumerate(apart)]

    assert series_of([]) is None
    few, even, clear = series_of(scores(3, 4)), series_of(scores(9, -8, 7, -6)), series_of(scores(-9, -8, -10, -9, -8))
    assert few and even and clear
    assert "Too few" in few.says and "can't be told from luck" in even.says and "9 points behind" in clear.says
    eleven = series_of(scores(*range(11)))
    assert eleven is not None and len(eleven.scores) == 1 and eleven.scores[0].key == "practice-10"
    ten = series_of(scores(*range(10)))
    assert ten is not None and ten.full

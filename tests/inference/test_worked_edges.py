"""Numbers of guards, edges and small parts of the room, each worked out on paper or by scipy."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.special import logsumexp, ndtr

from aerobe.errors import UnusableReading
from aerobe.inference import PRIOR, Log, Measurement, SimulatedBrew, learn_from, peak_times, simulate_brews, story_of
from aerobe.inference import _conditional as compiled
from aerobe.inference import _infer as inferring
from aerobe.inference._alone import FUNGAL, HEIGHT, LAG, RATE, Given, _level
from aerobe.inference._clouds import ENOUGH, _flattened
from aerobe.inference._courses import Courses, bacteria_and_fungi, of_bacteria_and_fungi
from aerobe.inference._empirical import after_the_rise, step_up
from aerobe.inference._forcing import SAME_TIME_H, Forcing, _entered_stops
from aerobe.inference._habit import BestHour, Taught, believed_by_habit, best_hour_of, habit_of
from aerobe.inference._likelihood import OxygenErrors, oxygen_residuals, results_of
from aerobe.inference._logs import thin_temperature
from aerobe.inference._mixing import _log_sum
from aerobe.inference._modes import _slopes
from aerobe.inference._pooling import Past, Shift
from aerobe.inference._posterior import horizon_for
from aerobe.inference._regression import _at
from aerobe.inference._target import BrewTarget, Setting, around_each, setting_of
from aerobe.inference._unknowns import Guess, widenings
from aerobe.kinetics import decay_factor, growth_factor
from aerobe.records import AssayError, Recipe
from tests.decisions.made import made_posterior
from tests.inference.kept_courses import made
from tests.inference.kept_story import event, story
from tests.kinetics.plain import as_written


@pytest.fixture
def plain() -> Iterator[None]:
    with as_written(compiled):
        yield


def test_factors_and_solutions_are_those_of_numpy(plain: None) -> None:
    root = np.random.default_rng(2).normal(size=(4, 4))
    matrix, right = root @ root.T + np.eye(4), np.array([0.7, -1.3, 2.1, 0.4])
    factor, x = matrix.copy(), right.copy()
    compiled._cholesky(factor, 4)
    compiled._solve(factor, 4, x)
    assert np.tril(factor) == approx(np.linalg.cholesky(matrix)) and x == approx(np.linalg.solve(matrix, right))


def test_logs_of_mass_and_ratio_lead_back() -> None:
    # On paper: 3 and 1.2 are 4.2 together, at a ratio of 0.4.
    mass, ratio = of_bacteria_and_fungi(np.log(3.0), np.log(1.2))
    assert (math.exp(mass), math.exp(ratio)) == approx((4.2, 0.4)) and bacteria_and_fungi(mass, ratio) == approx((3.0, 1.2))


def test_a_sum_of_logs_is_scipys() -> None:
    values = np.array([-3.0, 710.0, 709.0, 2.0])
    assert _log_sum(values) == approx(float(logsumexp(values))) and _log_sum(np.full(3, -np.inf)) == -math.inf


def test_weights_are_flattened_until_twenty_five_count() -> None:
    w = np.random.default_rng(1).normal(size=300)
    assert _flattened(w) == approx(w)  # e^w of a unit normal: some 300 / e count
    flat = _flattened(50.0 * w)
    share = np.exp(flat - flat.max())
    # A dozen halvings leave the power known to a few thousandths.
    assert share.sum() ** 2 / np.sum(share**2) == approx(ENOUGH, rel=0.05) and flat[0] / w[0] == approx(flat[7] / w[7])
    assert ENOUGH == 25.0


def test_how_a_brew_of_unknown_recipe_takes_its_numbers() -> None:
    # On paper: each column of scores in turn; a score of 1.3 lies a spread of 1.3 from the middle on the log scale.
    given = Given(np.array([[1.3, -0.4, 0.9]]))
    assert given.spread((2.0, 0.6))[0, 0] == approx(2.0 * math.exp(0.78))
    assert given.uniform()[0, 0] == approx(float(ndtr(-0.4))) and given.normal()[0, 0] == 0.9
    assert (RATE, LAG, HEIGHT, FUNGAL) == ((0.27, 0.6), (1.0, 0.9), (2.0, 0.6), (0.35, 0.6))


def test_the_level_of_a_course_is_drawn_around_what_the_readings_say() -> None:
    # On paper: two readings of one assay, trusted by 1 / (0.25^2 + gain^2 + (constant / seen)^2), and a t of two degrees by its
    # closed quantile (2 p - 1) / root(2 p (1 - p)) times the least of the two errors.
    error = AssayError(constant_sd=4.0, proportional_cv=0.1, gain_log_sd=0.3)
    rows = tuple(Measurement(elapsed_h=h, value=v, error=error, assay="kit") for h, v in ((2.0, 20.0), (4.0, 90.0)))
    results, grid = results_of(rows), np.array([0.0, 2.0, 4.0])
    shape = np.array([[0.0, 0.5, 1.4], [0.0, 0.2, 0.3]])
    bias, free = np.array([[1.0], [-2.0]]), np.array([[0.6], [-1.1]])
    level, log_weight = _level(results, shape, np.full((2, 3), -1.0), grid, bias, free)
    for i in range(2):
        seen = np.array([20.0, 90.0]) - bias[i, 0]
        size = np.sqrt(0.25**2 + 0.3**2 + (4.0 / seen) ** 2)
        p = float(ndtr(free[i, 0]))
        far = (2.0 * p - 1.0) / math.sqrt(2.0 * p * (1.0 - p))
        middle = np.sum((np.log(seen) - shape[i, 1:]) / size**2) / np.sum(size**-2.0)
        assert level[i, 0] == approx(middle + size.min() * far)
        off = 0.5 * ((level[i, 0] - 1.0) / 4.0) ** 2
        assert log_weight[i] == approx(1.5 * math.log(2.0 + far**2) + math.log(size.min()) - off)


def test_after_the_rise_come_a_fall_a_slope_and_a_second_rise() -> None:
    # On paper, with scores 0.5, -1, 2 (plateau, fall, slope), a chance of 0.1 that is under a fifth, and 1, -0.5 (size and hour).
    class Chosen(Given):
        def uniform(self) -> np.ndarray:
            return np.full((1, 1), 0.1)

    grown = np.arange(0.0, 60.0)
    rise = np.minimum(0.25 * grown, 2.0)[None]
    height, rate = np.array([[2.0]]), np.array([[0.25]])
    found = after_the_rise(rise, height, rate, grown, 0.8 * grown, Chosen(np.array([[0.5, -1.0, 2.0, 1.0, -0.5]])))[0]
    full, hour = 7.2, 45  # nine tenths of the height at 1.8 / 0.25 h
    begins = full + 4.0 * math.exp(0.45) - 3.0

    def ramp(at: float, since: float) -> float:
        return 2.0 * (math.log1p(math.exp((at - since) / 2.0)) - math.log1p(math.exp(-since / 2.0)))

    fall = 0.016 * math.exp(-0.8) * ramp(0.8 * hour, 0.8 * begins)
    again = 0.3 * math.exp(0.6) / (1.0 + math.exp(-(hour - full - 14.0 * math.exp(-0.35)) / 2.0))
    assert found[hour] == approx(0.004 * 2.0 * ramp(hour, full) - fall + again)
    assert step_up(np.array([1.0]), np.array([0.5]), np.array([0.1]))[0] == approx(1.0 / (1.0 + math.exp(-0.5 / 0.3)))


def test_warmth_is_expected_from_its_hour_on_to_a_hair() -> None:
    told = Forcing(recipe=story().recipe, air=(), watered=(), warmth=((2.0, 25.0), (4.0, 15.0)), found=(), notes=())
    grid = np.array([0.0, 2.0 - 0.9 * SAME_TIME_H, 3.0, 4.0 - 1.1 * SAME_TIME_H, 4.0])
    assert list(told.expected_degc(grid, 19.0)) == [19.0, 25.0, 25.0, 25.0, 15.0]
    assert told.air_on(grid) is None and told.kept_on(grid) is None and told.times_h() == [2.0, 4.0]


def test_stops_that_were_entered_are_pairs() -> None:
    on, off = event("air on", 1.0), event("air off", 2.0)
    rows = (on, off, event("air off", 2.5), event("air flow", 3.0, amount=4.0), event("air on", 4.0), event("air off", 5.0))
    assert _entered_stops(rows) == [(2.0, 3.0), (5.0, math.inf)] and _entered_stops((on,)) == []


def test_expected_warmth_steps_after_the_log_and_glides_before() -> None:
    # On paper: the log ends at 10 h with 22 degC, its last day's mean is 21; two hours later 21 + exp(-1); from 16 h on the step.
    grid = np.arange(0.0, 24.0, 2.0)
    log = Log(elapsed_h=np.array([0.0, 5.0, 10.0]), values=np.array([20.0, 21.0, 22.0]))
    found, notes = thin_temperature(log, grid, np.where(grid < 16.0, 18.0, 26.0))
    assert found[6] == approx(21.0 + math.exp(-1.0)) and list(found[8:]) == [26.0] * 4
    assert found[7] == approx(21.0 + math.exp(-2.0)) and len(notes) == 1  # silent for five hours


def test_means_around_each_hour_of_an_uneven_grid() -> None:
    # On paper: 8 over 0.7 h and 3 over 0.3 h are 6.5 around 1.2 h; then a quarter of each neighbour.
    found = around_each(np.array([[5.0, 6.0, 8.0, 3.0]]), np.array([0.0, 0.5, 1.2, 1.5]))[0]
    middle = (0.5 * 6.0 + 0.7 * 8.0) / 1.2
    assert found == approx([6.0, 0.25 * 6.0 + 0.5 * middle + 0.25 * 6.5, 0.25 * middle + 0.5 * 6.5 + 0.25 * 3.0, 3.0])


def test_values_between_the_hours_of_an_uneven_grid() -> None:
    found = _at(np.array([[1.0, 5.0, 9.0]]), np.array([0.0, 4.0, 6.0]), np.array([-1.0, 1.0, 5.5, 9.0]))
    assert found[0] == approx([1.0, 2.0, 8.0, 9.0])


def test_slopes_by_either_difference() -> None:
    # On paper: of x^2 y, at (3, 2) with a step of 0.1: forwards 12.2 and 9; centrally 12 and 9; relative steps of 0.3 and 0.2.
    def cube(points: np.ndarray) -> np.ndarray:
        return np.stack([points[:, 0] ** 2 * points[:, 1], points[:, 1]], axis=1)

    at = np.array([[3.0, 2.0], [1.0, 5.0]])
    rows = ((False, False, [12.2, 9.0]), (False, True, [12.0, 9.0]), (True, False, [12.6, 9.0]))
    for relative, central, expected in rows:
        found = _slopes(cube, at, cube(at), 0.1, relative, central)
        assert found.shape == (2, 2, 2) and found[0, 0] == approx(expected) and found[0, 1] == approx([0.0, 1.0])


def test_a_peak_at_the_end_or_on_a_plateau_stands_where_it_is() -> None:
    # On paper: 1, 4, 3 bend by -4 and lean by -2: a quarter of an hour late; at either end the hour itself.
    rows = np.array([[0.0, 1.0, 4.0, 3.0], [5.0, 4.0, 3.0, 2.0], [0.0, 1.0, 2.0, 3.0], [2.0, 2.0, 2.0, 2.0]])
    assert list(peak_times(np.arange(4.0), rows)) == approx([2.25, 0.0, 3.0, 0.0])
    assert list(peak_times(np.array([0.0, 1.0, 2.0, 2.5]), rows[:1])) == [2.0]  # no parabola over uneven hours
    hours = np.arange(0.0, 121.0)
    for peak, found in ((69.0, 72.0), (70.0, 120.0)):
        assert horizon_for(made_posterior(hours, np.tile(np.exp(-((hours - peak) ** 2)), (40, 1))), 72.0) == found


def test_a_log_and_a_story_until_an_hour() -> None:
    for times, values in (([1.0, 2.0], [1.0]), ([[1.0]], [[1.0]])):
        with pytest.raises(UnusableReading):
            Log(elapsed_h=np.array(times), values=np.array(values))
    told = replace(story(), oxygen=Log(elapsed_h=np.array([1.0, 4.0, 9.0]), values=np.array([8.0, 7.0, 6.0])))
    then = told.until(6.7)
    assert [item.elapsed_h for item in then.measurements] == [2.2, 6.7, 6.7] and [item.elapsed_h for item in then.events] == [
        3.0,
        5.0,
        6.3,
    ]
    assert then.oxygen is not None and list(then.oxygen.values) == [8.0, 7.0] and told.until(0.5).oxygen is None


def test_misses_of_a_log_are_told_by_what_is_new_in_them() -> None:
    # On paper: gaps of 1 and 2 (0.5 remembered), over sizes 2 and 3.
    errors = OxygenErrors(memory=np.array([0.0, 0.5]), size=np.array([1.0, 1.0]))
    found = oxygen_residuals(errors, np.array([[2.0, 3.0]]), np.array([6.0, 8.0]), np.array([[5.0, 6.0]]))
    assert found[0] == approx([0.5, 0.5])


def test_a_guess_widens_by_the_law_of_each_rate() -> None:
    # On paper: two degrees to either side of 18 degC; 1.1 a degree for decay; 90 % of a quantity within exp(1.645 sd).
    recipe = Recipe(key="r", name="r", compost="c", compost_g_per_l=30.0, guessed=("weight of compost", "food molasses"))
    found = widenings(recipe, temperature_degc=18.0, temperature_guessed=True)
    growth = math.log(float(growth_factor(20.0, -7.0)) / float(growth_factor(16.0, -7.0)))
    assert float(decay_factor(20.0)) / float(decay_factor(16.0)) == approx(1.1**4)
    assert found["bacteria_growth_per_h"] == found["fungi_growth_per_h"] == approx(growth)
    assert found["decay_per_h"] == found["starvation_per_h"] == approx(4.0 * math.log(1.1))
    assert found["food_factor"] == 0.8 and found["bacteria_mg_c_per_g_compost"] == 0.2 and len(found) == 8
    assert Guess(middle=20.0, sd=0.4).span() == approx((20.0 / math.exp(0.658), 20.0 * math.exp(0.658)))


def test_scores_of_a_simulated_brew_go_to_scale_and_bias_of_each_test_in_turn() -> None:
    # On paper: two scores a test, first the scale's, then the bias's; a third test beyond those drawn for gets noughts.
    own = np.arange(1.0, len(PRIOR) + 6.0)  # the terms, two tests with two scores each, the probe
    hours = np.arange(0.0, 60.5, 0.5)
    bare = story_of(compost_g_per_l=30.0)
    level = np.full(len(hours), 50.0)
    truth = SimulatedBrew(times_h=hours, bacteria=level, fungi=level, oxygen=level, logged=level, scores=own, story=bare)
    rows = [Measurement(elapsed_h=2.0, value=9.0, assay=name) for name in ("a", "b", "c")]
    target = BrewTarget(setting_of(replace(bare, measurements=tuple(rows))))
    found = truth._scores_for(target)[0]
    size = len(PRIOR)
    assert list(found[:size]) == list(own[:size])
    assert list(found[size:]) == [size + 1.0, size + 3.0, 0.0, size + 2.0, size + 4.0, 0.0, 0.0]


def test_a_brew_like_another_shares_nineteen_twentieths_of_what_nobody_knew() -> None:
    # On paper: root 0.95 of the other's score and root 0.05 of its own, drawn as without the other.
    bare = story_of(compost_g_per_l=30.0, horizon_h=2.0)
    fresh = simulate_brews(bare, 2, seed=5)
    alike = simulate_brews(bare, 2, seed=5, like=fresh[0])
    assert alike[1].scores == approx(math.sqrt(0.95) * fresh[0].scores + math.sqrt(0.05) * fresh[1].scores)
    assert len(fresh[0].scores) == len(PRIOR) + 2 * 4 + 1


def test_a_first_brew_of_the_kind_is_told_by_512_courses_before_what_was_learned(monkeypatch: pytest.MonkeyPatch) -> None:
    # What earlier brews taught of the hour is put to what recipe and vessel alone let expect, not to the prior they moved.
    setting, courses = made()
    taught = Taught(before=BestHour(mean=2.2, sd=0.4), after=BestHour(mean=2.6, sd=0.1))
    size = len(PRIOR)
    past = Past(
        mean=np.zeros(size), covariance=0.8 * np.eye(size), same_compost=True, same_recipe=True, same_vessel=True, taught=taught
    )
    shift, asked = learn_from([past]), []

    def bare(setting: Setting, shift: Shift | None, seed: int, *, count: int) -> tuple[Courses, ...]:
        asked.append((shift, seed, count))
        return (courses,)

    monkeypatch.setattr(inferring, "prior_courses", bare)
    habit = inferring._Habit(setting, [past, replace(past, same_vessel=False)], shift, 3)
    moved = habit.applied((courses,))[0]
    assert asked == [(None, 3, 512)] and len(habit.taught) == 1
    weight = np.exp(courses.log_weight - courses.log_weight.max())
    first = best_hour_of(habit.clock_h, courses.log_mass, weight / weight.sum())
    assert habit.now == first and habit.learned == habit_of(first, [taught])
    assert habit.learned is not None
    expected = believed_by_habit((courses,), habit.clock_h, first, habit.learned)[0].log_weight
    assert moved.log_weight == approx(expected) and habit.also(courses).log_weight == approx(expected)
    low, middle, high = (f"{hour:.0f}" for hour in habit.learned.hours())
    assert f"at {middle} h ({low} to {high})" in habit.notes()[0] and "By 1 earlier brew of" in habit.notes()[0]
    assert inferring._Habit(setting, [], None, 3).notes() == ()

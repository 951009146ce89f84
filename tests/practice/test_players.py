"""The players of the benchmark beside aerobe: their weights are the likelihoods they claim, and they follow their rule."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from aerobe.practice import _players as agents
from aerobe.worlds import TEST_CONSTANT, TEST_SCALE, TUNING, make_world
from benchmarks.elsewhere.curves import PEAK, curves, play_curve

TIMES = np.arange(145) * 0.5


def humps(peaks: list[float]) -> agents.Ensemble:
    """Courses that rise and fall about some hours."""
    biomass = np.stack([100.0 * np.exp(-0.5 * ((TIMES - peak) / 12.0) ** 2) + 5.0 for peak in peaks])
    return agents.Ensemble(times_h=TIMES, biomass=biomass, oxygen=None)


def test_weights_of_tests_are_a_normal_with_a_shared_scale() -> None:
    have, tests = humps([20.0, 26.0, 40.0]), [(12.0, 80.0), (20.0, 95.0), (30.0, 70.0)]
    hours, values = np.array(tests).T
    for row, weight in zip(have.biomass, agents.log_weight_of_tests(have, tests, 0.12, 0.0), strict=True):
        shown = np.interp(hours, TIMES, row)
        spread = np.diag(0.12**2 + (TEST_CONSTANT / shown) ** 2) + TEST_SCALE**2
        right = multivariate_normal(np.log(shown), spread).logpdf(np.log(values)) + 1.5 * np.log(2.0 * np.pi)
        assert weight == pytest.approx(right, abs=1e-9)


def test_tempered_weights_keep_enough_draws() -> None:
    sharp = -0.5 * np.linspace(0.0, 400.0, 500)
    weight = agents.tempered(sharp)
    assert weight.sum() == pytest.approx(1.0) and 1.0 / np.sum(weight**2) == pytest.approx(agents.LEAST_EFFECTIVE, rel=0.01)
    assert np.allclose(agents.tempered(np.zeros(100)), 0.01)


def test_the_rule_waits_for_a_peak_it_knows_and_tests_when_it_does_not() -> None:
    sure, torn = humps([30.0] * 40), humps([16.0] * 20 + [48.0] * 20)
    even = np.full(40, 1.0 / 40.0)
    assert agents.move(sure, sure.loss, even, 0.0, 3, None, 0.12, 1)[:2] == ("wait", 30.0)
    assert agents.move(sure, sure.loss, even, 31.0, 3, None, 0.12, 1)[0] == "harvest"
    what, at, _ = agents.move(torn, torn.loss, even, 0.0, 3, None, 0.12, 1)
    assert what == "test" and at <= 24.0


def test_the_plain_player_rises_and_falls_within_its_priors() -> None:
    have = agents.plain(TIMES, 1)
    fold = have.biomass.max(axis=1) / have.biomass[:, 0]
    assert np.isfinite(have.biomass).all() and (have.biomass > 0.0).all()
    assert np.quantile(fold, 0.9) < 45.0 and np.mean(have.biomass[:, -1] < have.biomass.max(axis=1)) > 0.9


def test_knowing_more_loses_less() -> None:
    world = make_world(TUNING["particles"], 6, 3)
    recipe, tests = np.zeros(6), np.zeros(6)
    for brew in range(6):
        have = agents.knowing(world, brew, 150, 9)
        recipe[brew] = world.forgone(brew, agents.play(have, world, brew, 0, False, 3).hour)
        went = agents.play(have, world, brew, 3, False, 3)
        tests[brew] = world.forgone(brew, went.hour)
        assert went.tests <= 3
    assert tests.mean() < recipe.mean() + 0.01 and tests.mean() < 0.15


def test_measured_cultures_are_on_the_scale_of_a_brew_and_fall() -> None:
    kept = curves()
    assert len(kept) == len({curve.name for curve in kept}) >= 25
    for curve in kept:
        assert curve.values.max() == pytest.approx(PEAK) and (curve.values > 0.0).all()
        assert curve.times_h[-1] <= 72.0 and (np.diff(curve.times_h) > 0.0).all()
    assert np.mean([curve.values[-1] < 0.93 * PEAK for curve in kept]) > 0.85


def test_a_culture_is_played_like_a_brew() -> None:
    some = curves()[0]
    for way in ("drop", "plain-dense", "plain-tests3"):
        assert 0.0 <= some.forgone(0, play_curve(some, way).hour) <= 0.9

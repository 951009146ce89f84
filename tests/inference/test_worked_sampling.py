"""Numbers of the sampler's parts: weights, their tail, draws by weight, and the descent to a mode."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.inference import Measurement, Past, infer_brew, story_of, tail_shape
from aerobe.inference import _infer as infer
from aerobe.inference._courses import Courses
from aerobe.inference._infer import tail_of_last
from aerobe.inference._likelihood import results_of
from aerobe.inference._modes import descend
from aerobe.inference._prior import N_TERMS
from aerobe.inference._sampler import _flattened, _systematic
from aerobe.inference._target import setting_of
from aerobe.inference._wander import WANDERS, wander_covariance
from aerobe.records import AssayError


def test_the_shape_of_a_tail_is_zhang_and_stephens_estimate_worked_in_plain_loops() -> None:
    # Independent computation in loops (Zhang and Stephens 2009; prior of ten points at a half, Vehtari 2024; both from memory).
    rng = np.random.default_rng(4)
    weights = rng.pareto(1.6, 400) + 0.2
    tail = int(min(0.2 * 400, 3.0 * math.sqrt(400.0)))
    ordered = sorted(weights)
    excess = [value - ordered[-tail - 1] for value in ordered[-tail:]]
    n = len(excess)
    m = 30 + int(math.sqrt(n))
    quarter = sorted(excess)[int(n / 4 + 0.5) - 1]
    likes, tried = [], []
    for j in range(1, m + 1):
        b = 1.0 / max(excess) + (1.0 - math.sqrt(m / (j - 0.5))) / (3.0 * quarter)
        k = sum(math.log(1.0 - b * x) for x in excess) / n
        tried.append(b)
        likes.append(n * (math.log(-b / k) - k - 1.0))
    share = [math.exp(like - max(likes)) for like in likes]
    b = sum(a * c for a, c in zip(tried, share, strict=True)) / sum(share)
    k = sum(math.log(1.0 - b * x) for x in excess) / n
    assert tail_shape(weights) == approx((n * k + 5.0) / (n + 10.0))
    # Too few different weights: all alike is the best, one that carries all the worst.
    assert tail_shape(np.ones(400)) == 0.0 and tail_shape(np.array([1e6] + [1.0] * 399)) == math.inf


def test_flattened_weights_count_as_many_as_asked() -> None:
    # The power is the one at which (sum w)^2 / sum w^2 is the number asked.
    weights = np.exp(np.linspace(0.0, 12.0, 200))
    weights = weights / weights.sum()
    flat = _flattened(weights, 60.0)
    assert 1.0 / np.sum(flat**2) == approx(60.0, rel=1e-6) and flat.sum() == approx(1.0)
    logs = np.log(flat)
    assert np.diff(logs) == approx(np.full(199, np.diff(logs)[0]), rel=1e-6)
    even = np.full(200, 0.005)
    assert _flattened(even, 60.0) is even


def test_draws_by_weight_are_systematic() -> None:
    # On paper: of 10 draws a point with a third of the weight gets three or four, whatever the start.
    weights = np.array([1.0, 2.0, 3.0, 6.0]) / 12.0
    for seed in range(20):
        counts = np.bincount(_systematic(weights, 12, np.random.default_rng(seed)), minlength=4)
        assert list(counts) == [1, 2, 3, 6]
        odd = np.bincount(_systematic(weights, 10, np.random.default_rng(seed)), minlength=4)
        assert odd.sum() == 10 and all(abs(count - 10.0 * w) < 1.0 for count, w in zip(odd, weights, strict=True))


def test_the_descent_of_a_straight_problem_ends_in_its_least_squares() -> None:
    # numpy's least squares; an unknown that nothing depends on stays where it began.
    rng = np.random.default_rng(7)
    a, y = rng.normal(size=(12, 3)), rng.normal(size=12)
    a[:, 2] = 0.0
    found = descend(lambda w: w @ a.T - y, np.array([[3.0, -2.0, 0.7], [0.0, 0.0, 0.7]]), rounds=60)
    exact = np.linalg.lstsq(a[:, :2], y, rcond=None)[0]
    for point in found.points:
        assert point == approx([*exact, 0.7], abs=1e-5)
    assert found.costs == approx(np.full(2, 0.5 * np.sum((a[:, :2] @ exact - y) ** 2))) and found.settled.all()
    assert found.jacobians[0] == approx(a, abs=1e-5)


def test_how_probable_a_result_so_far_off_was_by_scipy() -> None:
    # Independent computation: every course stands at 10, what strays of it is normal with the covariance held elsewhere, and the
    # error of the test is a t of five degrees on its own scale; no result before.
    setting = setting_of(story_of(compost_g_per_l=40.0, foods={"molasses": 1.0}, horizon_h=24.0))
    grid, n = setting.grid_h, 2048
    made = Courses(
        structure="rise and fall",
        log_mass=np.full((n, len(grid)), math.log(10.0)),
        log_ratio=np.zeros((n, len(grid))),
        oxygen=np.full((n, len(grid)), 7.0),
        scores=np.zeros((n, N_TERMS)),
        log_weight=np.zeros(n),
        runs=0,
    )
    error = AssayError(constant_sd=0.1, proportional_cv=0.15, gain_log_sd=1e-6)
    at = np.array([float(np.interp(20.0, grid, setting.clock_h))])
    scale = float(results_of((Measurement(elapsed_h=20.0, value=9.0, error=error),)).scale[0])
    five, nodes, weights = stats.t(5, scale=math.sqrt(0.6)), *np.polynomial.hermite_e.hermegauss(60)

    def below(value: float) -> float:
        total = 0.0
        for wander in WANDERS:
            logs = math.log(10.0) + math.sqrt(wander_covariance(at, at, wander)[0, 0]) * nodes
            off = (np.arcsinh(scale * value / 0.1) - np.arcsinh(scale * np.exp(logs) / 0.1)) / scale
            total += wander.belief * float(five.cdf(off) @ weights / weights.sum())
        return total

    for value in (7.0, 12.0, 20.0):
        last = Measurement(elapsed_h=20.0, value=value, error=error, assay="kit")
        far = below(value)
        found = tail_of_last(setting, (last,), (made,), 3, draws=3000)
        assert found == approx(2.0 * min(far, 1.0 - far), abs=0.03)
        assert tail_of_last(setting, (replace(last, below_detection=True),), (made,), 3, draws=3000) == approx(far, abs=0.02)
        assert tail_of_last(setting, (replace(last, above_range=True),), (made,), 3, draws=3000) == approx(1.0 - far, abs=0.02)
    assert tail_of_last(setting, (), (made,), 3) is None


class Learned(Exception):
    """What the prior was asked to learn from."""


@pytest.mark.parametrize("many", [0, 2])
def test_the_prior_of_a_brew_learns_from_all_that_came_before(many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def learn(pasts: list[Past]) -> None:
        raise Learned(pasts)

    monkeypatch.setattr(infer, "learn_from", learn)
    one = Past(mean=np.zeros(N_TERMS), covariance=np.eye(N_TERMS), same_compost=True, same_recipe=True, same_vessel=True)
    with pytest.raises(Learned) as found:
        infer_brew(story_of(compost_g_per_l=40.0, foods={}), past=[one] * many if many else None)
    assert found.value.args == ([one] * many,)

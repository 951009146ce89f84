"""Players beside the call: an agent that knows the world's own ranges, a plain one that knows no recipe, and simple habits.

The first two hold an ensemble of courses and weights. Both follow the same rule as the harvest call did when this was
written: harvest where the expected share of the peak forgone is least; test first if one more test, looked ahead once, avoids
more than it costs. The rule is written out here, so that the line to reach stays where it is while the call changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.worlds import TEST_CONSTANT, TEST_ERROR, TEST_SCALE, World, ensemble

Array = NDArray[np.float64]

TEST_PRICE = 0.002  # a test costs so much of a full brew: 0.2 of 100
NEAR_H = 0.5
LOOK_AHEAD_H = 48.0
STEP_H = 1.5
TRUTHS = 100
ASK_AGAIN_H = 2.0  # with a log
LEAST_EFFECTIVE = 30.0  # weights are tempered until so many draws count
PLAIN_DRAWS = 1500


@dataclass(frozen=True, kw_only=True)
class Played:
    """How a brew went: harvest hour, tests used, loss expected then, whether 90 % intervals held, and whether a stop of the
    air was spoken of (nan: does not apply)."""

    hour: float
    tests: int
    expected: float = float("nan")
    in_time: float = float("nan")
    in_biomass: float = float("nan")
    noticed: float = float("nan")


@dataclass(frozen=True, kw_only=True)
class Ensemble:
    """Courses at times, shape (draws, times), and the oxygen that goes with them (None: it has no say)."""

    times_h: Array
    biomass: Array
    oxygen: Array | None

    @property
    def loss(self) -> Array:
        """Share of its own peak that each course forgoes at each time."""
        return 1.0 - self.biomass / self.biomass.max(axis=1, keepdims=True)


def knowing(world: World, brew: int, draws: int, seed: int) -> Ensemble:
    """What an agent believes who knows the law and the ranges of its terms."""
    courses, _ = ensemble(world, brew, draws, seed)
    return Ensemble(times_h=courses.times_h, biomass=courses.biomass, oxygen=courses.oxygen)


def plain(times_h: Array, seed: int) -> Ensemble:
    """Rise, plateau and fall with wide priors: no recipe, no biology."""
    rng = np.random.default_rng([seed, 17])

    def log_even(low: float, high: float) -> Array:
        return np.exp(rng.uniform(np.log(low), np.log(high), (PLAIN_DRAWS, 1)))

    rate, fold, start = log_even(0.08, 0.6), log_even(2.0, 40.0), 20.0 * np.exp(rng.standard_normal((PLAIN_DRAWS, 1)))
    lag, plateau = log_even(0.5, 10.0), log_even(0.5, 30.0)
    fall, floor = log_even(0.005, 0.1), rng.uniform(0.05, 0.7, (PLAIN_DRAWS, 1))
    climb = np.logaddexp(0.0, rate * (times_h[None] - lag)) - np.logaddexp(0.0, rate * (0.0 - lag))
    # A smooth least of the climb and the top, then a smooth beginning of the fall.
    rise = -np.logaddexp(-3.0 * climb, -3.0 * np.log(fold)) / 3.0
    over = np.log1p(np.exp(np.minimum(times_h[None] - lag - np.log(fold) / rate - plateau, 300.0)))
    return Ensemble(times_h=times_h, biomass=start * np.exp(rise) * (floor + (1.0 - floor) * np.exp(-fall * over)), oxygen=None)


def log_weight_of_tests(have: Ensemble, tests: list[tuple[float, float]], error: float, lots: float) -> Array:
    """Log likelihood of results (hour, value) for each course, the scale of the tests integrated out."""
    if not tests:
        return np.zeros(len(have.biomass))
    hours, values = np.array(tests).T
    places = np.clip(np.searchsorted(have.times_h, hours - 1e-9), 0, len(have.times_h) - 1)
    shown = np.maximum(have.biomass[:, places], 1e-3)
    apart = np.log(np.maximum(values, 1.0)) - np.log(shown)
    own = 1.0 / (error**2 + 0.5 * lots**2 + (TEST_CONSTANT / shown) ** 2)
    total = own.sum(axis=1)
    shared = TEST_SCALE**2 / (1.0 + TEST_SCALE**2 * total)
    return -0.5 * ((own * apart**2).sum(axis=1) - shared * (own * apart).sum(axis=1) ** 2) + 0.5 * (
        np.log(own).sum(axis=1) - np.log1p(TEST_SCALE**2 * total)
    )


def log_weight_of_log(have: Ensemble, world: World, brew: int, now_h: float) -> Array:
    """Log likelihood of the probe's hourly means so far; zero, slope and drift of the probe are errors with memory."""
    hours = int(now_h)
    if have.oxygen is None or hours < 1:
        return np.zeros(len(have.biomass))
    every = round(1.0 / (world.times_h[1] - world.times_h[0]))
    seen = world.probe[brew, 1 : hours * every + 1].reshape(hours, every).mean(axis=1)
    half = have.oxygen[:, : 2 * hours + 1]
    expected = 0.25 * half[:, :-2:2] + 0.5 * half[:, 1:-1:2] + 0.25 * half[:, 2::2]
    middle = np.arange(hours) + 0.5
    with_memory = 0.29**2 + 0.15**2 * np.outer(middle, middle) / 24.0**2
    root = np.linalg.cholesky(with_memory + 0.25**2 * np.eye(hours))
    apart = np.linalg.solve(root, (seen - expected).T)
    return -0.5 * (apart**2).sum(axis=0)


def tempered(log_weight: Array) -> Array:
    """Weights that sum to one, flattened until enough draws count."""

    def flat(power: float) -> Array:
        w = np.exp(power * (log_weight - log_weight.max()))
        return w / w.sum()

    low, high = 0.0, 1.0
    if 1.0 / np.sum(flat(1.0) ** 2) >= LEAST_EFFECTIVE:
        return flat(1.0)
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if 1.0 / np.sum(flat(middle) ** 2) >= LEAST_EFFECTIVE else (low, middle)
    return flat(low)


def move(
    have: Ensemble,
    loss: Array,
    weight: Array,
    now_h: float,
    tests_left: int,
    last_h: float | None,
    error: float,
    seed: int,
    price: float = TEST_PRICE,
) -> tuple[str, float, float]:
    """The rule: "harvest", "wait" or "test", when, and the loss expected of a harvest now."""
    ahead = have.times_h >= now_h - 1e-9
    times, cost = have.times_h[ahead], loss[:, ahead]
    expected = weight @ cost
    best = int(expected.argmin())
    if tests_left and len(times) > 1:
        at, with_test = _looked_ahead(have, cost, weight, now_h, last_h, error, seed)
        if expected[best] - with_test > price:
            return "test", at, float(expected[0])
    if times[best] <= now_h + NEAR_H or expected[0] <= expected[best] + 1e-3:
        return "harvest", now_h, float(expected[0])
    return "wait", float(times[best]), float(expected[0])


def _looked_ahead(
    have: Ensemble, cost: Array, weight: Array, now_h: float, last_h: float | None, error: float, seed: int
) -> tuple[float, float]:
    """The best time of one more test and the loss expected after it."""
    ahead = have.times_h >= now_h - 1e-9
    times, shown = have.times_h[ahead], np.log(np.maximum(have.biomass[:, ahead], 1e-3))
    rng = np.random.default_rng([seed, 23])
    noise = float(np.hypot(error, TEST_SCALE))
    first = now_h if last_h is None else max(now_h, last_h + STEP_H)
    wanted = np.arange(first, min(now_h + LOOK_AHEAD_H, times[-1]) + 1e-9, STEP_H)
    places = np.unique(np.clip(np.searchsorted(times, wanted - 1e-9), 0, len(times) - 1))
    if not len(places):
        return now_h, np.inf
    truths = np.searchsorted(np.cumsum(weight), (np.arange(TRUTHS) + 0.5) / TRUTHS * (1.0 - 1e-9))
    keep = weight > 1e-6 * weight.max()
    some, w, known = cost[keep].astype(np.float32), weight[keep].astype(np.float32), shown[keep].astype(np.float32)
    after = np.empty(len(places))
    for i, place in enumerate(places):
        seen = (shown[truths, place] + noise * rng.standard_normal(TRUTHS)).astype(np.float32)
        # A t with few degrees of freedom to the third power of its kernel, as the call had it.
        near = 1.0 + ((seen[:, None] - known[:, place][None]) / noise) ** 2 / 3.0
        both = w / (near * near * near)
        after[i] = ((both / both.sum(axis=1, keepdims=True)) @ some[:, place:]).min(axis=1).mean()
    flat = np.flatnonzero(after <= after.min() + 5e-4)
    return float(times[places[flat[0]]]), float(after.min())


def play(
    have: Ensemble,
    world: World,
    brew: int,
    tests: int,
    with_log: bool,
    seed: int,
    error: float = TEST_ERROR,
    price: float = TEST_PRICE,
) -> Played:
    """A brew harvested by an agent with an ensemble; a test costs it `price` of a full brew. [-]"""
    rng, loss = np.random.default_rng([seed, brew, 5]), have.loss
    now, left = 0.0, tests
    seen: list[tuple[float, float]] = []
    while now < have.times_h[-1] - 0.5:
        weight = log_weight_of_tests(have, seen, error, world.lots)
        if with_log:
            weight = weight + log_weight_of_log(have, world, brew, now)
        weight = tempered(weight)
        last = seen[-1][0] if seen else None
        what, at, expected = move(have, loss, weight, now, left, last, error, seed, price)
        if what == "harvest":
            return Played(hour=now, tests=tests - left, expected=expected, **held(have, weight, world, brew))
        if with_log and at > now + ASK_AGAIN_H:
            now += ASK_AGAIN_H
            continue
        now = max(at, now)
        if what == "test":
            seen, left = [*seen, (now, world.test(brew, now, rng, error=error))], left - 1
    return Played(hour=float(have.times_h[-1]), tests=tests - left)


def held(have: Ensemble, weight: Array, world: World, brew: int) -> dict[str, float]:
    """Whether the weighted 90 % intervals of peak time and biomass hold the truth."""
    out = {}
    truth = {"in_time": world.times_h[world.biomass[brew].argmax()], "in_biomass": world.biomass[brew].max()}
    drawn = {"in_time": have.times_h[have.biomass.argmax(axis=1)], "in_biomass": have.biomass.max(axis=1)}
    for name, values in drawn.items():
        order = np.argsort(values)
        ladder = np.cumsum(weight[order])
        low, high = (values[order][min(np.searchsorted(ladder, q), len(values) - 1)] for q in (0.05, 0.95))
        # Peak times stand on a grid of half an hour here.
        slack = 0.25 if name == "in_time" else 0.0
        out[name] = float(low - slack <= truth[name] <= high + slack)
    return out

"""Courses of a brew of which nobody knows what is in it: no food, no compost, no air to reckon with, only its readings.

The shape is that of `_empirical`, lag, rise, plateau and fall, with a prior so wide that readings rule: where it starts, how high
and how fast it rises are theirs. No oxygen can be forecast, so none is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr

from aerobe.inference._courses import ALONE, Courses
from aerobe.inference._empirical import (
    BEND,
    CEILING,
    FALL,
    Chances,
    after_the_rise,
    felt_clock,
    lagged,
    rising,
    step_up,
)
from aerobe.inference._likelihood import RATIO, Results
from aerobe.inference._prior import N_TERMS
from aerobe.inference._regression import BELIEFS, evidence_under, regression_of
from aerobe.inference._sampler import normal_points
from aerobe.inference._target import Setting
from aerobe.inference._wander import GROWTH_MINIMUM_DEGC, WANDERS
from aerobe.kinetics import decay_factor, growth_factor

Array = NDArray[np.float64]

# Medians and spreads are ours, set wide; checked on brews of foreign laws whose recipe was withheld.
RATE = (0.27, 0.6)  # largest net growth at 20 degC [1/h]
LAG = (1.0, 0.9)  # growth rate times lag [-]
HEIGHT = (2.0, 0.6)  # from the start to the ceiling, on the log scale [-]
FUNGAL = (0.35, 0.6)  # fungi over bacteria [-]
NO_GROWTH = 0.06  # share that never rises
LEVEL = (1.0, 4.0)  # log of living mass at the start, in ug C/mL: from clean water to thick tea
DRAWN = 0.25  # how far around the readings the level is drawn, beside what an assay's scale leaves open [-]
COLUMNS = 14  # numbers that a course is made of
ROUNDS = 4  # of courses drawn, each where the last found the readings
BACK = 0.4  # share of a round that is still drawn from the prior, so that no weight can be large
WIDER = 1.5  # covariance drawn from over that found
LEAST = 60.0  # effective courses that a round learns from


class Given(Chances):
    """Taken from scores, a column after another."""

    def __init__(self, w: Array) -> None:
        self.w, self.next = w, 0

    def normal(self) -> Array:
        """Standard normal."""
        self.next += 1
        return self.w[:, [self.next - 1]]

    def uniform(self) -> Array:
        """Between 0 and 1."""
        return np.asarray(ndtr(self.normal()))


def courses_alone(setting: Setting, seed: int, count: int) -> Courses:
    """Courses drawn where the readings are, with the weight that makes up for it (owen-zhou-2000)."""
    rng = np.random.default_rng([seed, 41])
    size = COLUMNS + len(setting.results.assays)
    w = normal_points(count, size, seed)
    drawn_for = np.zeros(len(w))
    for _ in range(ROUNDS - 1 if len(setting.results.value) else 0):
        courses = course_of_scores(setting, w)
        mean, covariance = _where(w, courses.log_weight + drawn_for + _evidence(setting, courses))
        root = np.linalg.cholesky(WIDER * covariance + 1e-6 * np.eye(size))
        w = rng.standard_normal((count, size))
        near = rng.random(count) >= BACK
        w[near] = mean + w[near] @ root.T
        prior = -0.5 * np.sum(w**2, axis=1)
        off = np.linalg.solve(root, (w - mean).T)
        close = -0.5 * np.sum(off**2, axis=0) - np.log(np.diag(root)).sum()
        drawn_for = prior - np.logaddexp(np.log(BACK) + prior, np.log1p(-BACK) + close)
    courses = course_of_scores(setting, w)
    return replace(courses, log_weight=courses.log_weight + drawn_for)


def course_of_scores(setting: Setting, w: Array) -> Courses:
    """One course for each row of standard normal scores, shape (courses, COLUMNS and one for the bias of each assay)."""
    around, draw = setting.around, Given(w)
    times = around.times_h
    grown = felt_clock(times, np.asarray(growth_factor(around.temperature_degc, GROWTH_MINIMUM_DEGC)), around.running())
    worn = felt_clock(times, np.asarray(decay_factor(around.temperature_degc)), np.ones_like(times))
    unsure = dict(setting.basis.widened).get("bacteria_growth_per_h", 0.0)  # a guessed temperature
    rate, bend = draw.spread((RATE[0], float(np.hypot(RATE[1], unsure)))), draw.spread(BEND)
    lag, height = draw.spread(LAG), draw.spread(HEIGHT)
    rise = rising(height, rate, bend, lagged(grown, rate, lag))
    shape = rise + after_the_rise(rise, height, rate, grown, worn, draw)
    shape = np.where(draw.uniform() < NO_GROWTH, -draw.spread(FALL) * worn[None], shape)
    # Added water thins what is there from just after its time on.
    shape += np.concatenate([[0.0], np.cumsum(np.log(around.shares_kept()))[:-1]])
    log_ratio = np.repeat(np.log(draw.spread(FUNGAL)), len(times), axis=1)
    free, results = draw.normal(), setting.results
    biases = results.bias + results.bias_sd * draw.w[:, draw.next :]
    level, log_weight = _level(results, shape, log_ratio, setting.grid_h, biases, free)
    log_mass = shape + level
    for at, food, slow in setting.basis.later_feeds:
        more = np.log1p(CEILING[0] * (food + 0.5 * slow) / np.exp(level + height))
        log_mass += more * step_up(grown[None], np.interp(at, times, grown) + 2.0 + height / rate * 0.2, 0.5 / rate)
    return Courses(
        structure=ALONE,
        log_mass=log_mass,
        log_ratio=log_ratio,
        oxygen=np.repeat(around.saturation_mg_per_l[None], len(w), axis=0),
        scores=np.zeros((len(w), N_TERMS)),
        log_weight=log_weight,
        runs=0,
        biases=biases,
    )


def _level(results: Results, shape: Array, log_ratio: Array, grid_h: Array, biases: Array, free: Array) -> tuple[Array, Array]:
    """Log of living mass at the start, shape (courses, 1), and prior over density drawn from, on the log scale, (courses,)."""
    middle, sd = LEVEL
    used = (results.kind != RATIO) & ~results.below & ~results.above
    if not used.any():
        return middle + sd * free, np.zeros(len(shape))
    expected = regression_of(results, shape, log_ratio, grid_h, grid_h, biases, WANDERS).mean[:, used]
    assay, constant = results.assay[used], results.constant[used]
    seen = np.maximum(results.value[used] - biases[:, assay], constant)
    # Near nought a constant error is large beside what was seen: such results say little of the level.
    sizes = np.sqrt(DRAWN**2 + results.gain_log_sd[assay] ** 2 + (constant / seen) ** 2)
    trust = sizes**-2 / np.sum(sizes**-2, axis=1, keepdims=True)
    width = sizes.min(axis=1, keepdims=True)
    # Student t of two degrees, for a result that may be all bias leaves the level open far down.
    chance = np.clip(ndtr(free), 1e-9, 1.0 - 1e-9)
    far = (2.0 * chance - 1.0) / np.sqrt(2.0 * chance * (1.0 - chance))
    level = np.sum((np.log(seen) - expected) * trust, axis=1, keepdims=True) + width * far
    return level, (1.5 * np.log(2.0 + far**2) + np.log(width) - 0.5 * ((level - middle) / sd) ** 2)[:, 0]


def _evidence(setting: Setting, courses: Courses) -> Array:
    """Log evidence of the results for each course, shape (courses,)."""
    assert courses.biases is not None
    grid, clock = setting.grid_h, setting.clock_h
    regression = regression_of(setting.results, courses.log_mass, courses.log_ratio, grid, clock, courses.biases, WANDERS)
    found = np.asarray(logsumexp(evidence_under(regression) + BELIEFS, axis=1))
    return np.where(np.isfinite(found), found, -np.inf)


def _where(w: Array, log_weight: Array) -> tuple[Array, Array]:
    """Mean and covariance of weighed scores, the weights flattened until enough courses count."""
    power = 1.0
    while True:
        share = np.exp(power * (log_weight - log_weight.max()))
        share /= share.sum()
        if 1.0 / np.sum(share**2) >= LEAST:
            break
        power *= 0.8
    mean = share @ w
    return mean, np.asarray((w - mean).T @ ((w - mean) * share[:, None]))

"""Cases of `kept_answers`: descents, pools and samples, simulated brews, and the posterior of courses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.inference import ASSUMED_ERROR, PRIOR, Effort, Measurement, SimulatedBrew, sample, story_of
from aerobe.inference import _clouds as clouds
from aerobe.inference import _conditional as compiled
from aerobe.inference import _infer as inferring
from aerobe.inference import _regression as regressing
from aerobe.inference import _unknowns as unknowns
from aerobe.inference._habit import SHARE_BELIEF, SHARES
from aerobe.inference._measuring import COLOUR_SHARE
from aerobe.inference._modes import descend
from aerobe.inference._posterior import HORIZONS_H
from aerobe.inference._sampler import (
    GUARD,
    KHAT_LIMIT,
    LEAST_EFFECTIVE,
    _Bell,
    _different_starts,
    _flattened,
    _learn,
    _modes_of,
    _Pool,
    _propose,
    normal_points,
)
from aerobe.inference._target import TOLERANCE
from aerobe.inference._unknowns import COMPOST_G_PER_L, widenings
from aerobe.inference._wander import WANDERS, wander_covariance
from tests.inference.kept_courses import made, scores
from tests.inference.kept_story import KIT, MEASURED, story
from tests.kept_answers import Rough
from tests.kinetics.plain import as_written


class Bent:
    """A density in three scores that no normal fits: two bent readings, one of which a far point cannot have."""

    size = 3

    def residuals(self, w: np.ndarray) -> np.ndarray:
        """Scores and two readings."""
        return np.concatenate([w, self._misses(w)], axis=1)

    def log_likelihood(self, w: np.ndarray) -> np.ndarray:
        """Nan where a point cannot be."""
        return np.where(w[:, 2] > 3.0, np.nan, -0.5 * np.sum(self._misses(w) ** 2, axis=1))

    def _misses(self, w: np.ndarray) -> np.ndarray:
        return np.stack([(np.exp(0.7 * w[:, 0]) + w[:, 1] - 2.6) / 0.15, (w[:, 1] * w[:, 2] - 0.4) / 0.3], axis=1)


def sampling_cases() -> dict[str, Callable[[], object]]:
    """Each by what it holds."""
    return {
        "what was guessed widens": _widened,
        "descents with all kinds of slopes": _descents,
        "a pool: proposals, weights, and what is learned": _pool,
        "a sample of a bent target": _sampled,
        "results and logs measured of a simulated brew": _measured,
        "the posterior of courses, and how odd the last reading is": _pooled,
        "what is assumed where nothing is told": _assumed,
    }


def _widened() -> object:
    recipe = story().recipe
    rows = ((), ("compost",), ("weight of compost",), ("food molasses",), ("compost", "food molasses"))
    found = [
        widenings(replace(recipe, guessed=row), temperature_degc=17.0, temperature_guessed=warm)
        for row in rows
        for warm in (False, True)
    ]
    return [found, COMPOST_G_PER_L.span()]


def _descents() -> object:
    starts = np.array([[0.3, -0.8, 1.2], [-1.0, 0.5, 0.2]])
    rows = ({}, {"central": True}, {"relative_difference": True, "difference": 1e-3, "damping": 0.5}, {"small": 0.2})
    found = [descend(Bent().residuals, starts, rounds=3, **row) for row in rows]  # type: ignore[arg-type]
    return Rough(
        answer=[[item.points, item.costs, item.settled, item.jacobians[0]] for item in found], rtol=1e-5, why="differences"
    )


def _pool() -> object:
    target, w = Bent(), normal_points(64, 3, 2)
    pool = _Pool(w, target.log_likelihood(w))
    starts = _different_starts(pool, 3)
    parts, runs = _modes_of(target, pool, Effort(starts=3, descent_rounds=4))
    fresh = _propose(parts, 40, 3, np.random.default_rng(4))
    pool.add(fresh, target.log_likelihood(fresh), parts)
    learnt = _learn(pool, parts)
    bell = _Bell(np.array([0.2, -0.1, 0.4]), np.tril(0.3 * np.abs(scores(3, 3)) + 0.4))
    answer = [
        [starts, [[part.bell.mean, part.bell.root, part.share] for part in parts], runs, fresh[::7]],
        [pool.weights()[:50:7], pool.effective(), pool.log_evidence(), pool.log_weights()[-5:]],
        [[part.bell.mean, part.bell.root, part.share] for part in learnt],
        [bell.log_density(scores(4, 3)), _flattened(pool.weights(), 30.0)[:5], normal_points(5, 2, 3)],
    ]
    return Rough(answer=answer, rtol=1e-5, why="descents by differences")


def _sampled() -> object:
    shares: list[float] = []
    few = Effort(cloud=64, starts=2, descent_rounds=4, batch=40, most_rounds=6, enough=90.0, draws=20)
    found = sample(Bent(), seed=3, effort=few, progress=shares.append)
    counted = [found.rounds, found.runs, found.settled, shares]
    return Rough(
        answer=[found.effective, found.khat, found.log_evidence, counted], rtol=1e-4, why="descents and rounds of moments"
    )


def _measured() -> object:
    t = np.arange(0.0, 60.5, 0.5)
    bare = replace(story(), events=(), measurements=())
    truth = SimulatedBrew(
        times_h=t,
        bacteria=20.0 + 90.0 / (1.0 + np.exp(-(t - 9.0) / 2.0)),
        fungi=6.0 + 0.4 * t,
        oxygen=8.0 - 2.0 * np.exp(-(((t - 9.0) / 4.0) ** 2)),
        logged=8.1 - 2.1 * np.exp(-(((t - 9.2) / 4.0) ** 2)),
        scores=scores(1, 18 + 8 + 1)[0],
        story=bare,
    )
    rng = np.random.default_rng(6)
    other = replace(MEASURED[0], assay="other", below_detection=False, error=replace(KIT, detection_limit=None, upper_limit=None))
    third = Measurement(elapsed_h=4.0, value=0.0, assay="third", quantity="fungi")
    rows = [replace(MEASURED[1], elapsed_h=h) for h in (0.0, 7.2, 14.0)]
    seen = truth.measure(rng, *rows, other, replace(other, elapsed_h=9.9), third)
    log = truth.log_oxygen(rng, 6.0)
    told = [[item.value, item.below_detection, item.above_range] for item in seen]
    return [told, log.values, log.elapsed_h[-1], truth.peak_time_h]


def _pooled() -> object:
    setting, courses = made()
    other = replace(courses, structure="food and oxygen", log_mass=courses.log_mass - 0.3)
    answer = []
    with as_written(compiled, regressing):
        found = inferring.pooled(setting, (courses, other), 3, draws=40)
        answer.append([found.effective, found.khat, found.log_evidence, found.shares, found.settled, found.surprise])
        answer.append([found.last_result_h, found.feeds_h, found.logged_until_h, found.model_runs, found.air_off_since_h])
        answer.append(inferring._uptake(setting, courses.scores, courses.oxygen)[:, [0, 5, 16, 30, 70]])
        for last in (MEASURED, MEASURED[:3], MEASURED[:1]):
            answer.append(inferring.tail_of_last(setting, last, (courses, other), 3, draws=40))
    return Rough(answer=answer, rtol=1e-4, why="draws by weight")


def _assumed() -> object:
    """Settings that every call begins with, and the table of what is believed before any reading."""
    told = story_of(compost_g_per_l=30.0)
    guesses = [unknowns.COMPOST_G_PER_L, unknowns.COMPOST_KG_PER_L, unknowns.FOOD_G_PER_L, unknowns.TEMPERATURE_DEGC]
    sizes = [clouds.CLOUD, clouds.KEPT, inferring.CLOUD_ALONE, inferring.FEW, inferring.LEAST_COURSES, HORIZONS_H, TOLERANCE]
    beliefs = [clouds.BELIEF, clouds.BELIEF_WITH_LOG, [wander.belief for wander in WANDERS], SHARES, SHARE_BELIEF]
    terms = [[term.name, term.centre, term.spread, term.scale] for term in PRIOR]
    limits = [KHAT_LIMIT, LEAST_EFFECTIVE, GUARD, COLOUR_SHARE]
    asked = [descend.__kwdefaults__, inferring.tail_of_last.__kwdefaults__, wander_covariance.__kwdefaults__]
    return [told.vessel, told.probe, told.horizon_h, ASSUMED_ERROR, Effort(), guesses, sizes, beliefs, terms, limits, asked]

"""Cases of `kept_answers`: structures and courses, what strays, and what readings say of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from aerobe.inference import PRIOR, Measurement, basis_of, decode
from aerobe.inference import _conditional as compiled
from aerobe.inference import _regression as regressing
from aerobe.inference._alone import COLUMNS, Given, _evidence, _level, _where, course_of_scores, courses_alone
from aerobe.inference._clouds import _flattened, follows_log, lacking_and_error, prior_courses, weighed_by_log
from aerobe.inference._courses import Courses, bacteria_and_fungi, of_bacteria_and_fungi
from aerobe.inference._empirical import empirical_courses, lagged, rising
from aerobe.inference._habit import BestHour, Taught, believed_by_habit, best_hour_of, habit_of, warm_clock
from aerobe.inference._likelihood import results_of
from aerobe.inference._limited import nitrogen_courses, within_nitrogen
from aerobe.inference._mixing import draw_from, mixture_of
from aerobe.inference._regression import evidence_under, regression_of, strayed_error, strays_given
from aerobe.inference._target import Setting, setting_of
from aerobe.inference._wander import WANDERS, wander_clock, wander_covariance
from tests.inference.kept_story import COUNT, MEASURED, RATIO, story
from tests.kept_answers import Rough
from tests.kinetics.plain import as_written

FEW = np.array([0, 7, 16, 31, 54, 80])  # places of the grid that are kept: all would be too much to read


def scores(rows: int, columns: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((rows, columns))


def made(rows: int = 6, **more: object) -> tuple[Setting, Courses]:
    """A setting with four readings of three assays, and courses on its grid that differ in all."""
    setting = setting_of(story(**more))  # type: ignore[arg-type]
    t, i = setting.grid_h, np.arange(rows)[:, None]
    log_mass = 3.0 + 0.2 * i + 2.1 / (1.0 + np.exp(-(t - 8.0 - i) / (2.0 + 0.3 * i))) - 0.01 * t
    courses = Courses(
        structure="rise and fall",
        log_mass=log_mass,
        log_ratio=-1.3 + 0.25 * i + 0.02 * t * (i % 2),
        oxygen=8.5 - (1.5 + 0.4 * i) * np.exp(-(((t - 7.0 - i) / 5.0) ** 2)),
        scores=scores(rows, len(PRIOR)),
        log_weight=-0.3 * np.arange(rows) ** 1.5,
        runs=rows,
        log_belief=-0.2,
    )
    return setting, courses


def course_cases() -> dict[str, Callable[[], object]]:
    """Each by what it holds."""
    return {
        "courses of unknown recipe from given scores, with food, water and still air": _alone,
        "where the level of such courses lies by the readings": _levels,
        "mean and covariance of weighed scores": _weighed,
        "courses drawn where the readings are": _drawn_alone,
        "courses of the rise and fall with food, water and still air": _empirical,
        "courses limited by nitrogen, and what they are believed": _limited,
        "clouds of three structures before any reading": _clouds,
        "courses weighed by an oxygen log": _by_log,
        "weights flattened": _flat,
        "logs there and back": _there_and_back,
        "what strays: clock and covariance": _strays,
        "the clock of warmth, best hours, and what brews teach": _habits,
        "how a reading pulls, seen, below and above": _pulls,
        "factors and solution of a small matrix": _small_matrix,
        "evidence of readings of all kinds for each course and wander": partial(_evidence_of, (*MEASURED, COUNT, RATIO)),
        "evidence of one reading far off": partial(_evidence_of, (replace(MEASURED[0], value=4000.0),)),
        "draws of what strays given the readings": _strayed,
        "structures mixed, and draws from all of them": _mixed,
        "solver inputs from scores": _decoded,
    }


def _alone() -> object:
    setting, _ = made()
    w = scores(5, COLUMNS + len(setting.results.assays))
    w[3, :] = 2.0
    w[4, :] = -1.7
    found = course_of_scores(setting, w)
    return [found.log_mass[:, FEW], found.log_ratio[:, 0], found.log_weight, found.oxygen[0, FEW], found.biases]


def _levels() -> object:
    setting, courses = made()
    biases, free = 0.3 * scores(6, len(setting.results.assays)), scores(6, 1, 5)
    bounds = results_of(tuple(replace(item, below_detection=True) for item in MEASURED))
    given = Given(scores(6, 2))
    return [
        _level(setting.results, courses.log_mass, courses.log_ratio, setting.grid_h, biases, free),
        _level(bounds, courses.log_mass, courses.log_ratio, setting.grid_h, biases, free),
        _evidence(setting, replace(courses, biases=biases)),
        [given.normal(), given.uniform()],
    ]


def _weighed() -> object:
    w = scores(200, 3)
    return [_where(w, log_weight) for log_weight in (-0.5 * w[:, 0] ** 2, -40.0 * (w[:, 1] - 1.0) ** 2)]


def _drawn_alone() -> object:
    setting, _ = made()
    found = courses_alone(setting, 4, 64)
    share = np.exp(found.log_weight - found.log_weight.max())
    mean = share @ found.log_mass[:, FEW] / share.sum()
    answer = [found.log_mass[:4, 7], found.log_weight[:6], mean, share.sum()]
    return Rough(answer=answer, rtol=1e-4, why="four rounds of moments and factors of matrices")


def _empirical() -> object:
    setting, _ = made()
    z = scores(8, len(PRIOR))
    found = empirical_courses(setting.basis, setting.around, z, np.random.default_rng(11))
    bare = replace(setting.basis, compost_g_per_l=0.0)  # what tap water brings is all there is at the start
    clean = empirical_courses(bare, setting.around, z, np.random.default_rng(11))
    t, rate = setting.grid_h[FEW], np.array([[0.2], [0.4]])
    ready = lagged(t, rate, np.array([[0.5], [2.0]]))
    return [
        [found.log_mass[:, FEW], found.log_ratio[:, FEW], found.oxygen[:, FEW], found.log_weight],
        clean.log_mass[:, FEW],
        [ready, rising(np.array([[1.7], [2.6]]), rate, np.array([[1.3], [3.0]]), ready)],
    ]


def _limited() -> object:
    setting, courses = made()
    found = nitrogen_courses(setting.basis, setting.around, scores(4, len(PRIOR)), np.random.default_rng(12))
    believed = [within_nitrogen(basis, courses) for basis in (setting.basis, replace(setting.basis, nitrogen_mg_per_l=1.0))]
    answer = [found.log_mass[:, FEW], found.log_ratio[:, FEW], found.oxygen[:, FEW], found.scores[:, 0]]
    return [answer, [[item.log_weight, item.log_belief] for item in believed]]


def _clouds() -> object:
    setting, _ = made()
    found = prior_courses(setting, None, 5, count=8)
    return [[item.structure, item.log_mass[:2, FEW], item.oxygen[:2, FEW], item.log_weight, item.runs] for item in found]


def _by_log() -> object:
    hours = np.arange(0.5, 14.0, 0.5)
    setting, courses = made(oxygen=(hours, 8.2 - 3.1 * np.exp(-(((hours - 9.0) / 4.0) ** 2))))
    rough = replace(courses, oxygen=0.2 * courses.oxygen)
    ends = lacking_and_error(np.array([0.0, 2.0, 8.9, 11.0]), np.array(9.0))
    return [follows_log(setting, courses), weighed_by_log(setting, rough).log_weight, ends]


def _flat() -> object:
    w = scores(120, 1)[:, 0]
    return [_flattened(w)[:5], _flattened(9.0 * w)[:5], _flattened(400.0 * w)[:5]]


def _there_and_back() -> object:
    both = of_bacteria_and_fungi(np.array([1.2, 3.4]), np.array([0.7, 3.9]))
    return [both, bacteria_and_fungi(*both)]


def _strays() -> object:
    at, other = np.array([0.0, 2.5, 9.0, 40.0]), np.array([1.0, 9.0])
    equal = replace(WANDERS[1], memory_h=30.0)
    return [
        [wander_covariance(at, other, wander) for wander in (*WANDERS, equal)],
        wander_covariance(at, other, WANDERS[0], forgetting_h=12.0),
        wander_clock(at, np.array([0.4, 1.1, 1.7, 0.9])),
    ]


def _habits() -> object:
    setting, courses = made()
    clock = warm_clock(setting.grid_h, setting.around.temperature_degc)
    hour = best_hour_of(clock, courses.log_mass, np.array([0.1, 0.25, 0.3, 0.2, 0.1, 0.05]))
    first = BestHour(mean=2.9, sd=0.42)
    rows = ((2.8, 0.5, 3.1, 0.2), (3.0, 0.4, 2.7, 0.15), (2.9, 0.42, 4.1, 0.1), (2.9, 0.42, 2.95, 0.419))
    taught = [Taught(before=BestHour(mean=a, sd=b), after=BestHour(mean=c, sd=d)) for a, b, c, d in rows]
    learned = [habit_of(first, taught[:count]) for count in (1, 2, 3, 4)]
    moved = believed_by_habit((courses,), clock, hour, BestHour(mean=2.2, sd=0.11))[0]
    return [clock[FEW], hour, hour.hours(), learned, moved.log_weight]


def _pulls() -> object:
    rows = [(x, 2.0, 0.23, 1.7, kind) for x in (-2.0, 0.9, 3.0, 70.0) for kind in (0, 1, 2)]
    with as_written(compiled, regressing):
        return [compiled._pull(*row) for row in rows]


def _small_matrix() -> object:
    root = scores(4, 4)
    m, x = root @ root.T + 0.5 * np.eye(4), np.array([0.3, -1.2, 2.2, 0.8])
    with as_written(compiled, regressing):
        compiled._cholesky(m, 4)
        compiled._solve(m, 4, x)
    return [np.tril(m), x]


def _evidence_of(measured: tuple[Measurement, ...]) -> object:
    setting, courses = made(measurements=measured)
    results, grid, clock = setting.results, setting.grid_h, setting.clock_h
    biases = 0.4 * scores(3, len(results.assays))
    with as_written(compiled, regressing):
        regression = regression_of(results, courses.log_mass[:3], courses.log_ratio[:3], grid, clock, biases, WANDERS)
        parts = [
            regression.mean,
            regression.on_mass,
            regression.on_ratio,
            regression.seen,
            regression.mass[1],
            regression.ratio[1],
        ]
        return [parts, regression.gain, regression.kind, evidence_under(regression), strayed_error(results, grid, clock)]


def _strayed() -> object:
    setting, courses = made(measurements=(*MEASURED, COUNT, RATIO))
    biases, grid, clock = 0.4 * scores(6, len(setting.results.assays)), setting.grid_h, setting.clock_h
    out = []
    with as_written(compiled, regressing):
        for results in (setting.results, results_of(())):
            mine = biases[:, : len(results.assays)]
            rng = np.random.default_rng(8)
            found = strays_given(results, courses.log_mass, courses.log_ratio, grid, clock, mine, WANDERS[2], rng)
            out.append([found.log_mass[:, FEW[1:]], found.log_ratio[:, FEW[1:]], found.log_gain])
    return out


def _mixed() -> object:
    setting, courses = made()
    other = replace(
        courses, structure="food and oxygen", log_mass=courses.log_mass - 0.4, log_belief=0.1, biases=0.2 * scores(6, 2)
    )
    rng = np.random.default_rng(9)
    with as_written(compiled, regressing):
        mixture = mixture_of(setting.grid_h, setting.results, (courses, other), (0.3, 0.6), clock_h=setting.clock_h, rng=rng)
        drawn = draw_from(mixture, 12, rng)
    weighed = [mixture.weights, mixture.biases, mixture.log_evidence, mixture.shares, mixture.effective]
    each = [drawn.log_mass[:, 16], drawn.log_ratio[:, 16], drawn.oxygen[:, 16], drawn.scores[:, 0], drawn.gains, drawn.biases]
    return [weighed, each, drawn.structure]


def _decoded() -> object:
    setting, _ = made()
    wide = replace(setting.basis, widened=(("food_factor", 0.8), ("bacteria_growth_per_h", 0.3)))
    z = scores(3, len(PRIOR))
    found = decode(z, wide, 17.0)
    plain = basis_of(story().recipe, story().vessel, temperature_degc=17.0, temperature_guessed=True)
    return [found, wide.stretched(z), wide.as_the_table_takes(z), plain]

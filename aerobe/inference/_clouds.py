"""Courses drawn before any assay result: once a brew, kept in the process, weighed anew at each reading."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import ALONE, Courses, of_bacteria_and_fungi
from aerobe.inference._empirical import EMPIRICAL, empirical_courses
from aerobe.inference._limited import NITROGEN, nitrogen_courses, within_nitrogen
from aerobe.inference._pooling import Shift
from aerobe.inference._prior import N_TERMS
from aerobe.inference._sampler import normal_points
from aerobe.inference._target import BrewTarget, Setting

Array = NDArray[np.float64]

BALANCE = "food and oxygen"
# Belief in each structure before any reading; tuned on brews of foreign laws. Without a recipe one stands alone.
BELIEF = {BALANCE: 0.4, NITROGEN: 0.3, EMPIRICAL: 0.3, ALONE: 1.0}
# Beside a log the balance is sampled to follow it and the others are only weighed by it.
BELIEF_WITH_LOG = {BALANCE: 0.6, NITROGEN: 0.25, EMPIRICAL: 0.15}
CLOUD = 2048  # courses a structure
LEAST_DEFICIT = 0.15  # below saturation; less cannot be told from a probe's error [mg/L]
LOG_FACTOR, LOG_DRIFT, LOG_MEMORY_H = 0.3, 0.35, 6.0  # errors of the log deficit: one for all, and one with memory [-, -, h]
LOG_DEGREES = 8.0
LOG_NOISE = 0.1  # of a bin of the log [mg/L]
ENOUGH = 25.0  # effective courses that a log leaves at least
LEAST_THERE = 0.3  # oxygen; less cannot be told from none [mg/L]
KEPT = 3  # clouds kept in the process; each is some 25 megabytes

_KEPT: OrderedDict[tuple[object, ...], tuple[Courses, ...]] = OrderedDict()
_LOCK = threading.Lock()


def prior_courses(
    setting: Setting, shift: Shift | None, seed: int, *, count: int = CLOUD, on_gpu: bool = False
) -> tuple[Courses, ...]:
    """Courses of every structure before any result; the same setting, shift and seed give the same ones."""
    key = _key(setting, shift, seed, count)
    with _LOCK:
        if key in _KEPT:
            _KEPT.move_to_end(key)
            return _KEPT[key]
    target = BrewTarget(setting, shift, on_gpu=on_gpu)
    w = normal_points(count, target.size, seed)
    drawn = (balance_courses(target, w, np.zeros(count)), *other_clouds(setting, target.scores(w), seed))
    with _LOCK:
        _KEPT[key] = drawn
        while len(_KEPT) > KEPT:
            _KEPT.popitem(last=False)
    return drawn


def balance_courses(
    target: BrewTarget, w: Array, log_weight: Array, kept: Array | None = None, biases: Array | None = None
) -> Courses:
    """The food and oxygen model at scores `w`, run unless given; courses that cannot be carried on are left out."""
    kept = target.run(w) if kept is None else kept
    usable = np.asarray(np.isfinite(kept).all(axis=(1, 2)))
    kept, w = kept[usable], w[usable]
    log_mass, log_ratio = of_bacteria_and_fungi(kept[:, :, 0], kept[:, :, 1])
    courses = Courses(
        structure=BALANCE,
        log_mass=log_mass,
        log_ratio=log_ratio,
        oxygen=kept[:, :, 2],
        scores=target.scores(w),
        log_weight=log_weight[usable],
        runs=len(usable),
        biases=None if biases is None else biases[usable],
    )
    return within_nitrogen(target.setting.basis, courses)


def other_clouds(setting: Setting, scores: Array, seed: int) -> tuple[Courses, ...]:
    """The structures beside the balance, at prior scores of shape (courses, terms)."""
    z = scores[:, :N_TERMS]
    limited = nitrogen_courses(setting.basis, setting.around, z, np.random.default_rng([seed, 37]))
    empirical = empirical_courses(setting.basis, setting.around, z, np.random.default_rng([seed, 31]))
    return limited, within_nitrogen(setting.basis, empirical)


def lacking_and_error(oxygen: Array, saturation: Array) -> tuple[Array, Array]:
    """How far oxygen lies between full and none, as the log of what lacks over what is there, and what 1 mg/L moves it by.

    What lacks is uptake over transfer; what is there tells when the air carries no more.

    Parameters
    ----------
    oxygen, saturation
        Dissolved, and what the water holds when full; any shape. [mg/L]

    Returns
    -------
    tuple of arrays
        The log [-], and what it moves by for 1 mg/L [L/mg].
    """
    lacks = np.maximum(saturation - oxygen, 0.0) + LEAST_DEFICIT
    there = np.maximum(oxygen, 0.0) + LEAST_THERE
    return np.log(lacks / there), 1.0 / lacks + 1.0 / there


def weighed_by_log(setting: Setting, courses: Courses) -> Courses:
    """Courses weighed by an oxygen log, through what it tells of uptake over transfer."""
    if not len(setting.oxygen.index):
        return courses
    return replace(courses, log_weight=_flattened(courses.log_weight + follows_log(setting, courses)))


def _flattened(log_weight: Array) -> Array:
    """Log weights, flattened until enough courses count: a log that no course follows must not choose one."""
    low, high = 0.0, 1.0
    for _ in range(12):
        power = high if low == 0.0 and high == 1.0 else 0.5 * (low + high)
        w = np.exp(power * (log_weight - log_weight.max()))
        enough = w.sum() ** 2 >= ENOUGH * np.sum(w**2)
        if enough and power == 1.0:
            break
        low, high = (power, high) if enough else (low, power if power < 1.0 else 1.0 - 1e-9)
    return power * log_weight


def follows_log(setting: Setting, courses: Courses) -> Array:
    """Log likelihood of an oxygen log for each course, shape (courses,), up to a constant.

    What lacks is wrong by one factor for all hours (transfer, carbon respired), by what comes and goes over hours, and by the
    probe. The t of few degrees keeps a log that no course fits from choosing one at random.
    """
    index = setting.oxygen.index
    saturation = setting.around.saturation_mg_per_l[index]
    seen, size = lacking_and_error(setting.oxygen.values, saturation)
    expected, _ = lacking_and_error(courses.oxygen[:, index], saturation)
    times = setting.grid_h[index]
    covariance = LOG_FACTOR**2 + LOG_DRIFT**2 * np.exp(-np.abs(times[:, None] - times[None]) / LOG_MEMORY_H)
    off = setting.offset_sd * size
    covariance = covariance + np.outer(off, off) + np.diag((LOG_NOISE * size) ** 2 + 0.05**2)
    whitened = np.linalg.solve(np.linalg.cholesky(covariance), (seen - expected).T)
    count = len(index)
    return np.asarray(-0.5 * (LOG_DEGREES + count) * np.log1p(np.sum(whitened**2, axis=0) / LOG_DEGREES))


def _key(setting: Setting, shift: Shift | None, seed: int, count: int) -> tuple[object, ...]:
    around = setting.around
    arrays = [around.times_h, around.temperature_degc, around.saturation_mg_per_l, around.added_food_mg_c_per_l]
    arrays += [around.added_slow_mg_c_per_l] + [part for part in (around.air, around.kept_share) if part is not None]
    arrays += [] if shift is None else [shift.mean, shift.root]
    return (setting.basis, seed, count, *(item.tobytes() for item in arrays))

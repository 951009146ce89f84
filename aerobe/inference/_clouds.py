"""Courses drawn before any assay result: once a brew, kept in the process, weighed anew at each reading."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import Courses, of_bacteria_and_fungi
from aerobe.inference._empirical import EMPIRICAL, empirical_courses
from aerobe.inference._limited import NITROGEN, nitrogen_courses, within_nitrogen
from aerobe.inference._pooling import Shift
from aerobe.inference._prior import N_TERMS
from aerobe.inference._sampler import normal_points
from aerobe.inference._target import BrewTarget, Setting

Array = NDArray[np.float64]

BALANCE = "food and oxygen"
# Belief in each structure before any reading; tuned on brews of foreign laws.
BELIEF = {BALANCE: 0.4, NITROGEN: 0.3, EMPIRICAL: 0.3}
CLOUD = 2048  # courses a structure
LEAST_DEFICIT = 0.15  # below saturation; less cannot be told from a probe's error [mg/L]
LOG_FACTOR, LOG_DRIFT, LOG_MEMORY_H = 0.3, 0.35, 6.0  # errors of the log deficit: one for all, and one with memory [-, -, h]
LOG_DEGREES = 8.0
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


def weighed_by_log(setting: Setting, courses: Courses) -> Courses:
    """Courses weighed by an oxygen log, through how far oxygen lies below saturation: that is uptake over transfer.

    On the log scale the gap is wrong by one factor for all (transfer, carbon respired), by what comes and goes over hours, and
    by the probe. The t of few degrees keeps a log that no course fits from choosing one at random.
    """
    index = setting.oxygen.index
    if not len(index):
        return courses
    saturation = setting.around.saturation_mg_per_l[index]
    seen = np.maximum(saturation - setting.oxygen.values, LEAST_DEFICIT)
    expected = np.maximum(saturation - courses.oxygen[:, index], LEAST_DEFICIT)
    times = setting.grid_h[index]
    covariance = LOG_FACTOR**2 + LOG_DRIFT**2 * np.exp(-np.abs(times[:, None] - times[None]) / LOG_MEMORY_H)
    covariance = covariance + np.diag((setting.offset_sd / np.maximum(seen, 3.0 * LEAST_DEFICIT)) ** 2 + 0.05**2)
    whitened = np.linalg.solve(np.linalg.cholesky(covariance), (np.log(seen) - np.log(expected)).T)
    count = len(index)
    log_w = -0.5 * (LOG_DEGREES + count) * np.log1p(np.sum(whitened**2, axis=0) / LOG_DEGREES)
    return replace(courses, log_weight=courses.log_weight + log_w)


def _key(setting: Setting, shift: Shift | None, seed: int, count: int) -> tuple[object, ...]:
    around = setting.around
    arrays = [around.times_h, around.temperature_degc, around.saturation_mg_per_l, around.added_food_mg_c_per_l]
    arrays += [around.added_slow_mg_c_per_l] + [part for part in (around.air, around.kept_share) if part is not None]
    arrays += [] if shift is None else [shift.mean, shift.root]
    return (setting.basis, seed, count, *(item.tobytes() for item in arrays))

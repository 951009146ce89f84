"""The posterior of one brew from its recipe and whatever has been measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._alone import courses_alone
from aerobe.inference._clouds import BELIEF, BELIEF_WITH_LOG, CLOUD, balance_courses, other_clouds, prior_courses, weighed_by_log
from aerobe.inference._courses import Courses, bacteria_and_fungi
from aerobe.inference._habit import BestHour, believed_by_habit, best_hour_of, habit_of, warm_clock
from aerobe.inference._likelihood import chance_below, expected_signals, result_residuals, results_of
from aerobe.inference._mixing import draw_from, mixture_of
from aerobe.inference._pooling import Past, Shift, learn_from
from aerobe.inference._posterior import HORIZONS_H, Posterior, cut_to, horizon_for
from aerobe.inference._prior import NAMES
from aerobe.inference._sampler import KHAT_LIMIT, Draws, Effort, normal_points, sample
from aerobe.inference._story import BrewStory, Measurement
from aerobe.inference._target import BrewTarget, Setting, setting_of
from aerobe.inference._threads import one_blas_thread

Array = NDArray[np.float64]

WITHOUT_RECIPE = (
    "What went into this brew is not known: the call rests on its readings alone and on how brews rise and fall in general. "
    "That costs certainty about the hour, above all before the rise is seen to end, and no oxygen can be forecast. "
    "Writing down what went in, as near as you know it, sharpens it."
)
WITHOUT_AIR = (
    "How air reaches this brew is not stated: a litre of water without a pump is assumed, so the call may be far off and no "
    "oxygen is forecast. Give the brew its vessel."
)
LOG_UNUSED = "The oxygen log is kept, but the call does not use it: without a recipe it cannot be told from it what grows."
CLOUD_ALONE = 8192  # courses of a brew of unknown recipe
FEW = 512  # courses that tell when a first brew would be best
LEAST_COURSES = 40.0  # effective courses below which intervals are too rough to act on: each carries a spread of its own


def infer_brew(
    story: BrewStory,
    *,
    seed: int = 1,
    past: list[Past] | None = None,
    effort: Effort | None = None,
    progress: Callable[[float], None] = lambda share: None,
    on_gpu: bool = False,
) -> Posterior:
    """The posterior of one brew from its recipe and whatever has been measured, also nothing.

    Parameters
    ----------
    story
        The brew.
    seed
        Fixes every random number.
    past
        Earlier finished brews of the same person, which sharpen the prior.
    effort
        How hard to try.
    progress
        Called with the share of the work done.
    on_gpu
        Run the model on a CUDA card.

    Source
    ------
    owen-zhou-2000, kennedy-ohagan-2001, lindley-smith-1972
    """
    shift = learn_from(past or [])
    setting = setting_of(replace(story, horizon_h=max(story.horizon_h, HORIZONS_H[-1])))
    effort = effort or Effort()
    with one_blas_thread():
        if not setting.recipe_known:
            return _from_readings_alone(setting, story, seed, effort)
        habit = _Habit(setting, past or [], shift, seed)
        if len(setting.oxygen.index):
            courses, sampled = _courses_sampled(setting, shift, seed, effort, progress, on_gpu, habit)
        else:
            courses, sampled = habit.applied(prior_courses(setting, shift, seed, on_gpu=on_gpu)), None
        posterior = pooled(setting, courses, seed, draws=effort.draws, sampled=sampled)
        if sampled is None and not posterior.settled:
            # Results that few courses can explain ask for courses made for them.
            courses, sampled = _courses_sampled(setting, shift, seed, effort, progress, on_gpu, habit)
            posterior = pooled(setting, courses, seed, draws=effort.draws, sampled=sampled)
        tail = tail_of_last(setting, story.measurements, courses, seed)
    progress(1.0)
    known = replace(
        posterior,
        last_tail=tail,
        measurements=story.measurements,
        warm_clock_h=habit.clock_h,
        best_before=habit.before,
        notes=(*posterior.notes, *habit.notes()),
    )
    return cut_to(known, horizon_for(known, story.horizon_h))


def _from_readings_alone(setting: Setting, story: BrewStory, seed: int, effort: Effort) -> Posterior:
    """The posterior of a brew of unknown recipe."""
    courses = (courses_alone(setting, seed, CLOUD_ALONE),)
    posterior = pooled(setting, courses, seed, draws=effort.draws)
    clock = warm_clock(setting.grid_h, setting.around.temperature_degc)
    known = replace(
        posterior,
        last_tail=tail_of_last(setting, story.measurements, courses, seed) if len(story.measurements) > 1 else None,
        measurements=story.measurements,
        warm_clock_h=clock,
        logged_until_h=None,
        notes=(WITHOUT_RECIPE, *((LOG_UNUSED,) if len(setting.oxygen.index) else ()), *posterior.notes),
    )
    return cut_to(known, horizon_for(known, story.horizon_h))


class _Habit:
    """What earlier brews of the same recipe in the same vessel taught of the best hour, put to the courses of this one."""

    def __init__(self, setting: Setting, past: list[Past], shift: Shift | None, seed: int) -> None:
        self.setting, self.shift, self.seed = setting, shift, seed
        self.clock_h = warm_clock(setting.grid_h, setting.around.temperature_degc)
        self.taught = [one.taught for one in past if one.taught is not None and one.same_recipe and one.same_vessel]
        self.before: BestHour | None = None
        self.now: BestHour | None = None
        self.learned: BestHour | None = None

    def applied(self, courses: tuple[Courses, ...]) -> tuple[Courses, ...]:
        """Prior courses, believed by what was learned."""
        self.before = self._expected(courses)
        if not self.taught:
            return courses
        bare = prior_courses(self.setting, None, self.seed, count=FEW) if self.shift is not None else courses
        self.learned = habit_of(self._expected(bare), self.taught)
        if self.learned is None:
            return courses
        self.now = self.before
        moved = believed_by_habit(courses, self.clock_h, self.now, self.learned)
        self.before = self._expected(moved)
        return moved

    def also(self, courses: Courses) -> Courses:
        """Courses that were sampled with the log, believed likewise once `applied` was asked."""
        if self.learned is None or self.now is None:
            return courses
        return believed_by_habit((courses,), self.clock_h, self.now, self.learned)[0]

    def _expected(self, courses: tuple[Courses, ...]) -> BestHour:
        weights = []
        for item in courses:
            w = np.exp(item.log_weight - item.log_weight.max())
            weights.append(BELIEF[item.structure] * w / w.sum())
        weight = np.concatenate(weights)
        return best_hour_of(self.clock_h, np.concatenate([item.log_mass for item in courses]), weight / weight.sum())

    def notes(self) -> tuple[str, ...]:
        """What was learned, in a sentence."""
        if self.learned is None:
            return ()
        low, middle, high = self.learned.hours()
        count = len(self.taught)
        return (
            f"By {count} earlier brew{'s' if count > 1 else ''} of this recipe in this vessel it is best at {middle:.0f} h "
            f"({low:.0f} to {high:.0f}) of water at 20 degC.",
        )


def _courses_sampled(
    setting: Setting,
    shift: Shift | None,
    seed: int,
    effort: Effort,
    progress: Callable[[float], None],
    on_gpu: bool,
    habit: _Habit,
) -> tuple[tuple[Courses, ...], Draws]:
    """Courses for an oxygen log or very sharp results: too much for a prior cloud of the balance, so that one is sampled."""
    target = BrewTarget(setting, shift, on_gpu=on_gpu)
    draws = sample(target, seed=seed, effort=effort, progress=progress)
    # Few draws are different from each other: each course is computed once. Results are weighed later, for all structures.
    w, counts = np.unique(draws.w, axis=0, return_counts=True)
    kept = target.run(w)
    balance = balance_courses(target, w, np.log(counts) - target.results_evidence(w, kept), kept, target.biases(w))
    # Half a cloud: beside a log it is drawn anew at every call, since the weather so far changes with each.
    scores = target.scores(normal_points(CLOUD // 2, target.size, seed))
    others = habit.applied(other_clouds(setting, scores, seed))
    return (habit.also(balance), *(weighed_by_log(setting, item) for item in others)), draws


def pooled(setting: Setting, courses: tuple[Courses, ...], seed: int, *, draws: int, sampled: Draws | None = None) -> Posterior:
    """The posterior of all structures together, given courses drawn before the assay results."""
    rng = np.random.default_rng([seed, 17])
    believed = BELIEF if sampled is None else BELIEF_WITH_LOG
    belief = [believed[item.structure] for item in courses]
    mixture = mixture_of(setting.grid_h, setting.results, courses, belief, clock_h=setting.clock_h, rng=rng)
    drawn = draw_from(mixture, draws, rng)
    bacteria, fungi = bacteria_and_fungi(drawn.log_mass, drawn.log_ratio)
    result = result_residuals(
        setting.results,
        expected_signals(setting.results, np.log(bacteria), np.log(fungi), setting.grid_h, drawn.gains),
        drawn.biases,
    )
    far = float(np.mean(np.abs(np.median(result, axis=0)) > 3.0)) if result.shape[1] else 0.0
    notes = [*([] if setting.air_known or not setting.recipe_known else [WITHOUT_AIR]), *setting.notes]
    if far > 0.0:
        notes.append("At least one test lies further from the course of the brew than its error allows; repeat it if you can.")
    effective, khat = mixture.effective, mixture.khat
    settled = khat < KHAT_LIMIT and effective >= LEAST_COURSES
    if sampled is not None:
        effective, khat, settled = sampled.effective, sampled.khat, sampled.settled
    return Posterior(
        times_h=setting.grid_h,
        bacteria=bacteria,
        fungi=fungi,
        oxygen=drawn.oxygen,
        oxygen_uptake=_uptake(setting, drawn.scores, drawn.oxygen),
        scores=drawn.scores,
        gains=drawn.gains,
        biases=drawn.biases,
        assays=setting.results.assays,
        settled=settled,
        effective=effective,
        khat=khat,
        log_evidence=mixture.log_evidence,
        notes=tuple(notes),
        surprise=far,
        seed=seed,
        model_runs=sum(item.runs for item in courses) if sampled is None else sampled.runs,
        last_result_h=float(setting.results.elapsed_h.max()) if len(setting.results.elapsed_h) else None,
        structure=drawn.structure,
        structures=tuple(item.structure for item in courses),
        shares=tuple(mixture.shares.values()),
        logged_until_h=float(setting.grid_h[setting.oxygen.index[-1]]) if len(setting.oxygen.index) else None,
        feeds_h=tuple(feed[0] for feed in setting.basis.later_feeds),
        basis=setting.basis,
        air_off_since_h=setting.off_since_h,
        air=setting.around.air,
        oxygen_known=setting.recipe_known and setting.air_known,
    )


def tail_of_last(
    setting: Setting, measurements: tuple[Measurement, ...], courses: tuple[Courses, ...], seed: int, *, draws: int = 500
) -> float | None:
    """How probable a result at least as far off as the latest was, from all known before it; None without results. [-]"""
    if not measurements:
        return None
    at = max(range(len(measurements)), key=lambda place: measurements[place].elapsed_h)
    last, before = measurements[at], (*measurements[:at], *measurements[at + 1 :])
    rng = np.random.default_rng([seed, 19])
    courses = tuple(replace(item, biases=None) for item in courses)
    belief = [BELIEF[item.structure] for item in courses]
    # The last result is kept among the assays, so that its scale and bias are drawn; a bound that nothing breaks says nothing.
    mute = replace(last, value=1e9, below_detection=True, above_range=False)
    results = results_of((*before, mute))
    drawn = draw_from(mixture_of(setting.grid_h, results, courses, belief, clock_h=setting.clock_h, rng=rng), draws, rng)
    bacteria, fungi = bacteria_and_fungi(drawn.log_mass, drawn.log_ratio)
    signal = expected_signals(results, np.log(bacteria), np.log(fungi), setting.grid_h, drawn.gains)[:, -1:]
    own = results_of((last,))
    bias = drawn.biases[:, [results.assay[-1]]]
    below = float(np.mean(chance_below(result_residuals(own, signal, bias))))
    if last.below_detection or last.above_range:
        return below if last.below_detection else 1.0 - below
    return 2.0 * min(below, 1.0 - below)


def _uptake(setting: Setting, scores: Array, oxygen: Array) -> Array:
    """Oxygen uptake from the balance of transfer and change, shape (draws, times). [mg/L/h]"""
    basis, around = setting.basis, setting.around
    kla = basis.kla_per_h * np.exp(basis.kla_log_sd * scores[:, [NAMES.index("kla_factor")]])
    supply = kla * around.transfer()[None] * (around.saturation_mg_per_l[None] - oxygen)
    return np.asarray(np.maximum(supply - np.gradient(oxygen, setting.grid_h, axis=1), 0.0))

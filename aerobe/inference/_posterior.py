"""The posterior of one brew: draws of its course, and whether they can be trusted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._likelihood import generalised_log, results_of
from aerobe.inference._pooling import Past, Shift, learn_from
from aerobe.inference._prior import N_TERMS, NAMES, PRIOR
from aerobe.inference._sampler import Draws, Effort, sample
from aerobe.inference._story import BrewStory, Measurement
from aerobe.inference._target import BrewTarget, Setting, setting_of
from aerobe.inference._threads import one_blas_thread
from aerobe.kinetics import transfer_factor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A quantity with a 90 % interval."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Equally likely courses of one brew.

    Parameters
    ----------
    times_h
        Shape (times,). [h]
    bacteria, fungi
        Shape (draws, times). [ug C/mL]
    oxygen
        Shape (draws, times). [mg/L]
    oxygen_uptake
        Shape (draws, times). [mg/L/h]
    scores
        Of the model terms, shape (draws, terms). [-]
    gains, biases
        Of the assays named in `assays`, shape (draws, assays).
    settled
        False: the weights are too uneven, and no number here should be acted on.
    effective, khat
        What `settled` was judged by. [-]
    log_evidence
        Log marginal likelihood of the data. [-]
    notes
        What was found wrong with the data, in plain words.
    surprise
        Share of results further than 3 standard errors from the model. [-]
    seed
        Same story, same seed, same draws.
    model_runs
        How many courses were computed.
    last_result_h
        Time of the latest assay result; None without any. [h]
    """

    times_h: Array
    bacteria: Array
    fungi: Array
    oxygen: Array
    oxygen_uptake: Array
    scores: Array
    gains: Array
    biases: Array
    assays: tuple[str, ...]
    settled: bool
    effective: float
    khat: float
    log_evidence: float
    notes: tuple[str, ...]
    surprise: float
    seed: int
    model_runs: int
    last_result_h: float | None = None

    @property
    def biomass(self) -> Array:
        """Bacteria and fungi together, shape (draws, times). [ug C/mL]"""
        return self.bacteria + self.fungi

    @property
    def ratio(self) -> Array:
        """Fungal over bacterial biomass carbon, shape (draws, times). [-]"""
        return self.fungi / np.maximum(self.bacteria, 1e-12)

    def band_of(self, values: Array, level: float = 0.9) -> tuple[Array, Array, Array]:
        """Low, median and high of draws over time, shape (times,) each."""
        tail = 0.5 * (1.0 - level)
        low, middle, high = np.quantile(values, [tail, 0.5, 1.0 - tail], axis=0)
        return low, middle, high

    def peak_time_h(self) -> Array:
        """When each course has most biomass, shape (draws,). [h]"""
        return peak_times(self.times_h, self.biomass)

    def peak_biomass(self) -> Array:
        """The most biomass of each course, shape (draws,). [ug C/mL]"""
        return np.asarray(self.biomass.max(axis=1))

    def value_at(self, values: Array, elapsed_h: float) -> Array:
        """Draws of a course at one time, shape (draws,)."""
        right = int(np.clip(np.searchsorted(self.times_h, elapsed_h), 1, len(self.times_h) - 1))
        left = right - 1
        w = float(np.clip((elapsed_h - self.times_h[left]) / (self.times_h[right] - self.times_h[left]), 0.0, 1.0))
        return np.asarray(values[:, left] * (1.0 - w) + values[:, right] * w)

    def terms(self) -> dict[str, Band]:
        """Median and 90 % interval of every model term, in its unit."""
        out = {}
        for place, term in enumerate(PRIOR):
            low, middle, high = np.quantile(term.value(self.scores[:, place]), [0.05, 0.5, 0.95])
            out[term.name] = Band(median=float(middle), low=float(low), high=float(high))
        return out

    def as_past(self, *, same_compost: bool, same_recipe: bool, same_vessel: bool, shift: Shift | None = None) -> Past:
        """What this brew can teach a later one."""
        # Shrunk a little to the prior, since a thousand draws estimate 171 covariances.
        covariance = 0.98 * np.cov(self.scores.T) + 0.02 * (np.eye(N_TERMS) if shift is None else shift.covariance)
        return Past(
            mean=self.scores.mean(axis=0),
            covariance=covariance,
            same_compost=same_compost,
            same_recipe=same_recipe,
            same_vessel=same_vessel,
            prior_mean=None if shift is None else shift.mean,
            prior_covariance=None if shift is None else shift.covariance,
        )


def peak_times(times_h: Array, biomass: Array) -> Array:
    """Time of the largest value of each row, by a parabola through the three points around it. Shape (rows,). [h]"""
    at = biomass.argmax(axis=1)
    inner = np.clip(at, 1, len(times_h) - 2)
    rows = np.arange(len(biomass))
    before, here, after = biomass[rows, inner - 1], biomass[rows, inner], biomass[rows, inner + 1]
    bend = before - 2.0 * here + after
    left, right = times_h[inner] - times_h[inner - 1], times_h[inner + 1] - times_h[inner]
    even = (np.abs(left - right) < 1e-9) & (bend < 0.0) & (at == inner)
    shift = np.where(even, 0.5 * (before - after) / np.where(bend == 0.0, 1.0, bend), 0.0)
    return np.asarray(times_h[at] + np.clip(shift, -1.0, 1.0) * right * even)


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
    setting = setting_of(story)
    shift = learn_from(past or [])
    target = BrewTarget(setting, shift, on_gpu=on_gpu)
    effort = effort or Effort()
    if not story.measurements and story.oxygen is None:
        # Nothing to adapt to: the prior cloud itself is the answer, so it should be a large one.
        effort = replace(effort, cloud=max(effort.cloud, 1024))
    with one_blas_thread():
        draws = sample(target, seed=seed, effort=effort, progress=progress)
        return posterior_of(target, draws, seed)


def posterior_of(target: BrewTarget, draws: Draws, seed: int) -> Posterior:
    """Draws of scores and courses, named."""
    setting = target.setting
    # Few draws are different from each other: each course is computed once.
    distinct, place = np.unique(draws.w, axis=0, return_inverse=True)
    courses = target.run(distinct)
    usable = np.asarray(np.isfinite(courses).all(axis=(1, 2)))[place]
    w, kept = draws.w[usable], courses[place[usable]]
    bacteria, fungi, oxygen = np.exp(kept[:, :, 0]), np.exp(kept[:, :, 1]), kept[:, :, 2]
    scores = target.scores(w)
    result, _, _ = target.data_residuals(w, kept)
    far = float(np.mean(np.abs(np.median(result, axis=0)) > 3.0)) if result.shape[1] else 0.0
    notes = list(setting.notes)
    if far > 0.0:
        notes.append("At least one test lies further from the course of the brew than its error allows; repeat it if you can.")
    return Posterior(
        times_h=setting.grid_h,
        bacteria=bacteria,
        fungi=fungi,
        oxygen=oxygen,
        oxygen_uptake=_uptake(setting, scores, oxygen),
        scores=scores,
        gains=target.gains(w),
        biases=target.biases(w),
        assays=setting.results.assays,
        settled=draws.settled,
        effective=draws.effective,
        khat=draws.khat,
        log_evidence=draws.log_evidence,
        notes=tuple(notes),
        surprise=far,
        seed=seed,
        model_runs=draws.runs,
        last_result_h=float(setting.results.elapsed_h.max()) if len(setting.results.elapsed_h) else None,
    )


def _uptake(setting: Setting, scores: Array, oxygen: Array) -> Array:
    """Oxygen uptake from the balance of transfer and change, shape (draws, times). [mg/L/h]"""
    basis, around = setting.basis, setting.around
    kla = basis.kla_per_h * np.exp(basis.kla_log_sd * scores[:, [NAMES.index("kla_factor")]])
    supply = kla * transfer_factor(around.temperature_degc)[None] * (around.saturation_mg_per_l[None] - oxygen)
    return np.asarray(np.maximum(supply - np.gradient(oxygen, setting.grid_h, axis=1), 0.0))


def expected_result(posterior: Posterior, kit: Measurement) -> Array:
    """What an assay would show of each course at each time, without random error, shape (draws, times).

    The assay's scale is that of its earlier results in this brew, if it has any; otherwise it is drawn anew.
    """
    truth = {
        "biomass": posterior.biomass,
        "bacteria": posterior.bacteria,
        "fungi": posterior.fungi,
        "fungal to bacterial ratio": posterior.ratio,
    }[kit.quantity]
    name = f"{kit.assay}|{kit.quantity}"
    if name in posterior.assays:
        gain = posterior.gains[:, [posterior.assays.index(name)]]
    else:
        rng = np.random.default_rng([posterior.seed, 29])
        gain = np.exp(kit.error.gain_log_sd * rng.standard_normal((len(truth), 1)))
    return np.asarray(truth * gain)


def result_errors(kit: Measurement, signal: Array) -> tuple[Array, float]:
    """Signals on the scale where an assay's error is one size, and that size. The model's own error is counted in."""
    results = results_of((kit,))
    return generalised_log(signal, results.scale[0], results.constant[0]), 1.0

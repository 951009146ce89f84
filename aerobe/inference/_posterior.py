"""The posterior of one brew: draws of its course, and whether they can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import ALONE
from aerobe.inference._habit import BestHour, Taught, best_hour_of
from aerobe.inference._likelihood import generalised_log, results_of
from aerobe.inference._pooling import Past, Shift
from aerobe.inference._prior import N_TERMS, PRIOR, Basis
from aerobe.inference._story import Measurement

Array = NDArray[np.float64]

HORIZONS_H = (72.0, 120.0, 168.0)  # how far ahead is looked: further while courses still rise at the end [h]
EDGE_H = 3.0  # a peak so near the end may lie beyond it [h]
FEW_AT_EDGE = 0.05  # share of courses whose peak may lie there [-]


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
    structure
        Place in `structures` of the structure behind each draw, shape (draws,); None where there is one only.
    structures, shares
        Names of the structures and the weight of each. [-]
    last_tail
        Probability, from all that was known before it, of a result at least as far off as the latest one; None without any. [-]
    measurements
        The results behind it.
    feeds_h
        When food is added after the start. [h]
    logged_until_h
        Where the oxygen log ends; None without one. [h]
    basis
        What recipe and vessel fixed; it says how far a score reaches.
    air_off_since_h
        Since when the air stands still; None: it runs. [h]
    air
        Transfer at each time over that of the vessel as it began, shape (times,); None: 1 throughout. [-]
    warm_clock_h
        Hours at 20 degC in which as much would grow, at each time, shape (times,). [h]
    best_before
        When it was expected to be best before its own data.
    oxygen_known
        False: nothing is known of what takes up oxygen or brings it, and `oxygen` is only what the water could hold.
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
    structure: NDArray[np.int64] | None = None
    structures: tuple[str, ...] = ()
    shares: tuple[float, ...] = ()
    last_tail: float | None = None
    measurements: tuple[Measurement, ...] = ()
    feeds_h: tuple[float, ...] = ()
    logged_until_h: float | None = None
    basis: Basis | None = None
    air_off_since_h: float | None = None
    air: Array | None = None
    warm_clock_h: Array | None = None
    best_before: BestHour | None = None
    oxygen_known: bool = True

    @property
    def from_readings_alone(self) -> bool:
        """Whether no recipe stands behind it, so that the terms of the model mean nothing."""
        return self.structures == (ALONE,)

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

    @property
    def own_scores(self) -> Array:
        """Scores of the draws of the first structure, shape (draws, terms): only there do they say what made the course. [-]"""
        return self.scores if self.structure is None else self.scores[self.structure == 0]

    def terms(self) -> dict[str, Band]:
        """Median and 90 % interval of every model term, in its unit, from the structure that knows them if it has any draw."""
        out = {}
        own = self.own_scores if len(self.own_scores) else self.scores
        scores = own if self.basis is None else self.basis.as_the_table_takes(own)
        for place, term in enumerate(PRIOR):
            low, middle, high = np.quantile(term.value(scores[:, place]), [0.05, 0.5, 0.95])
            out[term.name] = Band(median=float(middle), low=float(low), high=float(high))
        return out

    def as_past(self, *, same_compost: bool, same_recipe: bool, same_vessel: bool, shift: Shift | None = None) -> Past:
        """What this brew can teach a later one."""
        own = self.own_scores
        prior_mean = np.zeros(N_TERMS) if shift is None else shift.mean
        prior = np.eye(N_TERMS) if shift is None else shift.covariance
        # Shrunk to the prior, since a thousand draws estimate 171 covariances, and fewer know less.
        trust = 0.98 * min(1.0, len(own) / 200.0)
        mean = trust * own.mean(axis=0) + (1.0 - trust) * prior_mean if len(own) > 1 else prior_mean
        covariance = trust * np.cov(own.T) + (1.0 - trust) * prior if len(own) > 1 else prior
        return Past(
            mean=mean,
            covariance=covariance,
            same_compost=same_compost,
            same_recipe=same_recipe,
            same_vessel=same_vessel,
            prior_mean=None if shift is None else shift.mean,
            prior_covariance=None if shift is None else shift.covariance,
            taught=None if self.best_before is None else Taught(before=self.best_before, after=self.best_hour()),
        )

    def best_hour(self) -> BestHour:
        """Log of the time of each course's peak, on the clock of warmth."""
        at = self.times_h if self.warm_clock_h is None else self.warm_clock_h
        return best_hour_of(at, self.biomass, np.full(len(self.bacteria), 1.0 / len(self.bacteria)))


def peak_times(times_h: Array, biomass: Array) -> Array:
    """Time of the largest value of each row, by a parabola through the three points around it.

    Parameters
    ----------
    times_h
        Shape (times,). [h]
    biomass
        Or anything else with a peak, shape (rows, times). [any]

    Returns
    -------
    array
        Shape (rows,). [h]
    """
    at = biomass.argmax(axis=1)
    inner = np.clip(at, 1, len(times_h) - 2)
    rows = np.arange(len(biomass))
    before, here, after = biomass[rows, inner - 1], biomass[rows, inner], biomass[rows, inner + 1]
    bend = before - 2.0 * here + after
    left, right = times_h[inner] - times_h[inner - 1], times_h[inner + 1] - times_h[inner]
    even = (np.abs(left - right) < 1e-9) & (bend < 0.0) & (at == inner)
    shift = np.where(even, 0.5 * (before - after) / np.where(bend == 0.0, 1.0, bend), 0.0)
    return np.asarray(times_h[at] + np.clip(shift, -1.0, 1.0) * right * even)


def horizon_for(posterior: Posterior, least_h: float) -> float:
    """The shortest look ahead, no shorter than asked, at whose end few courses still rise. [h]"""
    peaks = posterior.times_h[posterior.biomass.argmax(axis=1)]
    for horizon in (least_h, *(longer for longer in HORIZONS_H if longer > least_h)):
        if float(np.mean(peaks > horizon - EDGE_H)) <= FEW_AT_EDGE:
            return horizon
    return float(posterior.times_h[-1])


def cut_to(posterior: Posterior, horizon_h: float) -> Posterior:
    """The posterior up to an hour."""
    end = int(np.searchsorted(posterior.times_h, horizon_h + 1e-9))
    return replace(
        posterior,
        times_h=posterior.times_h[:end],
        bacteria=posterior.bacteria[:, :end],
        fungi=posterior.fungi[:, :end],
        oxygen=posterior.oxygen[:, :end],
        oxygen_uptake=posterior.oxygen_uptake[:, :end],
        air=None if posterior.air is None else posterior.air[:end],
        warm_clock_h=None if posterior.warm_clock_h is None else posterior.warm_clock_h[:end],
    )


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
    """Signals on the scale where an assay's error is one size, and that size. The model's own error is counted in.

    Parameters
    ----------
    kit
        A reading of the assay, for its errors.
    signal
        Expected results, any shape. [unit of the result]
    """
    results = results_of((kit,))
    return generalised_log(signal, results.scale[0], results.constant[0]), 1.0

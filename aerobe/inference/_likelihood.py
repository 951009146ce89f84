"""How likely the readings and logs of a brew are, for many possible brews at once.

Assay results: on a scale where the two-component error of rocke-lorenzato-1995 is constant (generalised logarithm,
rocke-durbin-2003), with Student t tails so that one bad test cannot take over, and with a term for what the model itself
gets wrong. Oxygen: what is left after the model is correlated in time (kennedy-ohagan-2001); taking each log value as
new evidence would make the probe shout down the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._story import Measurement, Probe

Array = NDArray[np.float64]

DISCREPANCY_LOG_SD = 0.10  # of biomass that the model cannot follow [-]; assumed
OXYGEN_DISCREPANCY = 0.4  # the same of oxygen [mg/L]; assumed
OXYGEN_TIMING_H = 0.75  # how far the model may misplace a rise or fall of oxygen [h]; assumed
OXYGEN_MEMORY_H = 3.0  # how long a wrong oxygen stays wrong [h]; assumed
DEGREES = 5.0  # of the t tails
# A t variable with these degrees has this variance at scale 1; scales are shrunk so that stated errors mean what they say.
_SHRINK = float(np.sqrt((DEGREES - 2.0) / DEGREES))


def log_t(r: Array) -> Array:
    """Log density of a t variable of unit variance, up to a constant. Any shape."""
    return np.asarray(-0.5 * (DEGREES + 1.0) * np.log1p((r / _SHRINK) ** 2 / DEGREES))


def root_loss(r: Array) -> Array:
    """Signed value whose half square is minus `log_t`, so that least squares descends on the t likelihood."""
    return np.asarray(np.sign(r) * np.sqrt(-2.0 * log_t(r)))


def draw_t(rng: np.random.Generator, shape: tuple[int, ...]) -> Array:
    """Draws of a t variable of unit variance."""
    return np.asarray(_SHRINK * rng.standard_t(DEGREES, shape))


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """Assay results as arrays, shape (results,) each; `scale` is the error on the generalised log scale."""

    elapsed_h: Array
    value: Array
    kind: NDArray[np.int64]  # 0 biomass, 1 bacteria, 2 fungi, 3 ratio
    assay: NDArray[np.int64]  # place among the assays
    scale: Array
    constant: Array
    below: NDArray[np.bool_]
    above: NDArray[np.bool_]
    assays: tuple[str, ...]
    gain_log_sd: Array  # shape (assays,)
    bias: Array  # shape (assays,)
    bias_sd: Array  # shape (assays,)


RATIO = 3
_KINDS = {"biomass": 0, "bacteria": 1, "fungi": 2, "fungal to bacterial ratio": RATIO}


def results_of(measurements: tuple[Measurement, ...]) -> Results:
    """Measurements as arrays. Results of one assay and quantity share scale and bias."""
    names = tuple(dict.fromkeys(f"{item.assay}|{item.quantity}" for item in measurements))
    error = {f"{item.assay}|{item.quantity}": item.error for item in measurements}
    cv = np.array([item.error.proportional_cv for item in measurements])
    return Results(
        elapsed_h=np.array([item.elapsed_h for item in measurements], float),
        value=np.array([item.value for item in measurements], float),
        kind=np.array([_KINDS[item.quantity] for item in measurements], np.int64),
        assay=np.array([names.index(f"{item.assay}|{item.quantity}") for item in measurements], np.int64),
        scale=np.sqrt(np.log1p(cv**2) + DISCREPANCY_LOG_SD**2),
        constant=np.array([max(item.error.constant_sd, 1e-9) for item in measurements], float),
        below=np.array([item.below_detection for item in measurements], bool),
        above=np.array([item.above_range for item in measurements], bool),
        assays=names,
        gain_log_sd=np.array([error[name].gain_log_sd for name in names], float),
        bias=np.array([error[name].bias for name in names], float),
        bias_sd=np.array([error[name].bias_sd for name in names], float),
    )


def generalised_log(value: Array, scale: Array, constant: Array) -> Array:
    """Scale on which error has unit size: (value / constant) near zero, ln(value) / scale far above.

    Source
    ------
    rocke-durbin-2003
    """
    return np.asarray(np.arcsinh(scale * value / constant) / scale)


def expected_signals(results: Results, log_bacteria: Array, log_fungi: Array, grid_h: Array, gain: Array) -> Array:
    """What each assay would show without bias and random error.

    Parameters
    ----------
    results
        Which results.
    log_bacteria, log_fungi
        On the grid, shape (draws, times).
    grid_h
        Shape (times,). [h]
    gain
        Scale of each assay, shape (draws, assays). [-]

    Returns
    -------
    Array
        Shape (draws, results). [unit of each result]
    """
    right = np.clip(np.searchsorted(grid_h, results.elapsed_h), 1, len(grid_h) - 1)
    w = np.clip((results.elapsed_h - grid_h[right - 1]) / (grid_h[right] - grid_h[right - 1]), 0.0, 1.0)
    bacteria = np.exp(log_bacteria[:, right - 1] * (1.0 - w) + log_bacteria[:, right] * w)
    fungi = np.exp(log_fungi[:, right - 1] * (1.0 - w) + log_fungi[:, right] * w)
    truth = np.choose(results.kind, [bacteria + fungi, bacteria, fungi, fungi / np.maximum(bacteria, 1e-12)])
    return np.asarray(truth * gain[:, results.assay])


def result_residuals(results: Results, signal: Array, bias: Array) -> Array:
    """Standardised residuals of the uncensored scale, shape (draws, results). `bias` has shape (draws, assays)."""
    seen = generalised_log(results.value - bias[:, results.assay], results.scale, results.constant)
    return np.asarray(seen - generalised_log(signal, results.scale, results.constant))


def chance_below(residual: Array) -> Array:
    """Probability of an error below a standardised residual, any shape. [-]"""
    from scipy.special import stdtr

    return np.asarray(stdtr(DEGREES, residual / _SHRINK))


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenErrors:
    """Memory and size of the oxygen residual from one bin to the next, shape (bins,) each."""

    memory: Array
    size: Array


def oxygen_errors(times_h: Array, counts: Array, probe: Probe) -> OxygenErrors:
    """Errors of binned oxygen values at `times_h`, each the median of `counts` log values."""
    white = np.sqrt(probe.noise_mg_per_l**2 * 1.57 / np.maximum(counts, 1.0) + 0.03**2)
    memory = np.concatenate([[0.0], np.exp(-np.diff(times_h) / OXYGEN_MEMORY_H)])
    before = np.concatenate([[0.0], white[:-1]])
    size = np.sqrt(OXYGEN_DISCREPANCY**2 * (1.0 - memory**2) + white**2 + (memory * before) ** 2)
    return OxygenErrors(memory=memory, size=size)


def oxygen_sizes(errors: OxygenErrors, slope: Array) -> Array:
    """Error of each step, wider where oxygen is expected to move fast: a model right in all but timing is not far wrong.

    `slope` is the expected change of oxygen, shape (draws, bins) [mg/L/h]; so is the result [mg/L].
    """
    missed = (OXYGEN_TIMING_H * slope) ** 2
    before = np.concatenate([np.zeros((len(missed), 1)), missed[:, :-1]], axis=1)
    # A step is judged against the gap before it, so a misplaced rise there widens this step too.
    return np.asarray(np.sqrt(errors.size**2 + missed + errors.memory**2 * before))


def oxygen_residuals(errors: OxygenErrors, sizes: Array, seen: Array, expected: Array) -> Array:
    """Standardised innovations, shape (draws, bins); `expected` and `sizes` have that shape, `seen` (bins,)."""
    gap = seen - expected
    before = np.concatenate([np.zeros((len(gap), 1)), gap[:, :-1]], axis=1)
    return np.asarray((gap - errors.memory * before) / sizes)

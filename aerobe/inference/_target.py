"""The posterior of one brew as a density over standard normal scores."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from aerobe.inference._courses import of_bacteria_and_fungi
from aerobe.inference._forcing import SAME_TIME_H, forcing_of
from aerobe.inference._likelihood import (
    OxygenErrors,
    Results,
    expected_signals,
    log_t,
    oxygen_errors,
    oxygen_residuals,
    oxygen_sizes,
    result_residuals,
    results_of,
    root_loss,
)
from aerobe.inference._logs import Thinned, thin_oxygen, thin_temperature
from aerobe.inference._pooling import Shift
from aerobe.inference._prior import N_TERMS, Basis, basis_of, decode
from aerobe.inference._regression import BELIEFS, evidence_under, regression_of, strayed_error
from aerobe.inference._story import BrewStory
from aerobe.inference._wander import GROWTH_MINIMUM_DEGC, WANDERS, wander_clock
from aerobe.kinetics import BACTERIA, FUNGI, OXYGEN, OXYGEN_MEAN, Surroundings, growth_factor, simulate
from aerobe.oxygen import saturation_mg_per_l

Array = NDArray[np.float64]

FINE_H = 0.5  # grid spacing while things happen fast [h]
COARSE_H = 1.0  # and later [h]
COARSE_FROM_H = 48.0
COARSER_H = 2.0  # and far ahead
COARSER_FROM_H = 72.0
TINY = 1e-9
# Ten times looser than the model's own tolerance: errors stay below a thousandth, a hundredth of the model's discrepancy.
TOLERANCE = 1e-4


def grid_of(horizon_h: float) -> Array:
    """Output times of the model up to the horizon, shape (times,). [h]"""
    fine = np.arange(0.0, min(horizon_h, COARSE_FROM_H) + 1e-9, FINE_H)
    coarse = np.arange(COARSE_FROM_H + COARSE_H, min(horizon_h, COARSER_FROM_H) + 1e-9, COARSE_H)
    coarser = np.arange(COARSER_FROM_H + COARSER_H, horizon_h + 1e-9, COARSER_H)
    return np.concatenate([fine, coarse, coarser])


def with_times(grid_h: Array, times_h: list[float]) -> Array:
    """The grid with more times in it, those up to its end; times closer than `SAME_TIME_H` are one."""
    inside = [at for at in times_h if 0.0 <= at <= grid_h[-1]]
    every = np.unique(np.concatenate([grid_h, inside]))
    return every[np.concatenate([[True], np.diff(every) > SAME_TIME_H])]


def around_each(since_before: Array, grid_h: Array) -> Array:
    """Mean over both intervals beside each grid time, from the mean since the time before; shape (n, times) both."""
    width = np.diff(grid_h)
    out = since_before.copy()
    out[:, 0] = since_before[:, 1]
    out[:, 1:-1] = (width[:-1] * since_before[:, 1:-1] + width[1:] * since_before[:, 2:]) / (width[:-1] + width[1:])
    out[:, 1:-1] = 0.25 * out[:, :-2] + 0.5 * out[:, 1:-1] + 0.25 * out[:, 2:]
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A story made ready: grid, surroundings, data as arrays, and what was found wrong with the logs."""

    grid_h: Array
    basis: Basis
    around: Surroundings
    results: Results
    oxygen: Thinned
    errors: OxygenErrors
    offset_sd: float
    notes: tuple[str, ...]
    clock_h: Array  # of the wander
    off_since_h: float | None = None  # the air stands still since
    recipe_known: bool = True
    air_known: bool = True


def setting_of(story: BrewStory) -> Setting:
    """Everything about a story that does not depend on unknowns."""
    forcing = forcing_of(story)
    # A thermometer in the water knows better than whoever did not look.
    basis = basis_of(
        forcing.recipe,
        story.vessel,
        temperature_degc=story.temperature_degc,
        temperature_guessed=story.temperature_guessed and story.temperature is None,
    )
    # Times at which food is added or the air changes must stand in the grid, since both act from grid times on.
    changes = [*(feed[0] for feed in basis.later_feeds), *forcing.times_h()]
    grid = with_times(grid_of(story.horizon_h), changes)
    temperature, warm_notes = thin_temperature(story.temperature, grid, forcing.expected_degc(grid, story.temperature_degc))
    oxygen = thin_oxygen(story.oxygen, grid, temperature, basis.altitude_m, story.probe.lag_h, forcing.near_a_change)
    food, slow = np.zeros(len(grid)), np.zeros(len(grid))
    for at, readily, slowly in basis.later_feeds:
        if at <= story.horizon_h:
            place = int(np.abs(grid - at).argmin())
            food[place] += readily
            slow[place] += slowly
    return Setting(
        grid_h=grid,
        basis=basis,
        around=Surroundings(
            times_h=grid,
            temperature_degc=temperature,
            saturation_mg_per_l=np.asarray(saturation_mg_per_l(temperature, altitude_m=basis.altitude_m), float),
            added_food_mg_c_per_l=food,
            added_slow_mg_c_per_l=slow,
            air=forcing.air_on(grid),
            kept_share=forcing.kept_on(grid),
        ),
        results=results_of(story.measurements),
        oxygen=oxygen,
        errors=oxygen_errors(grid[oxygen.index], oxygen.counts, story.probe),
        offset_sd=story.probe.offset_sd_mg_per_l,
        notes=(*forcing.notes, *warm_notes, *oxygen.notes),
        clock_h=wander_clock(grid, np.asarray(growth_factor(temperature, GROWTH_MINIMUM_DEGC))),
        off_since_h=forcing.off_since_h,
        recipe_known=story.recipe.is_known,
        air_known=story.vessel.air_is_stated,
    )


def _until_last_data(setting: Setting) -> Surroundings:
    """The surroundings up to the last data: what lies after it cannot change their likelihood, and costs time."""
    grid = setting.grid_h
    last = [int(np.searchsorted(grid, at)) for at in setting.results.elapsed_h] + [int(i) for i in setting.oxygen.index]
    # The blur of the log and its slope look two times further.
    end = min(max(last, default=0) + 4, len(grid))
    return setting.around.until(end)


class BrewTarget:
    """Prior and likelihood of one brew over scores w: model terms, then gain and bias of each assay, then probe offset."""

    def __init__(self, setting: Setting, shift: Shift | None = None, *, on_gpu: bool = False) -> None:
        self.setting = setting
        self.near = _until_last_data(setting)
        self.shift = shift
        self.on_gpu = on_gpu
        self.assays = len(setting.results.assays)
        self.size = N_TERMS + 2 * self.assays + 1

    def scores(self, w: Array) -> Array:
        """Scores z of the model terms, shape (n, terms): w moved by what earlier brews taught."""
        z = w[:, :N_TERMS]
        return z if self.shift is None else self.shift.mean + z @ self.shift.root.T

    def run(self, w: Array) -> Array:
        """Log bacteria, log fungi, oxygen, and oxygen as a log would show it, on the grid, shape (n, times, 4)."""
        return self._run(w, self.setting.around)

    def _run(self, w: Array, around: Surroundings) -> Array:
        inputs = decode(self.scores(w), self.setting.basis, float(self.setting.around.temperature_degc[0]))
        states = simulate(
            inputs.start,
            inputs.parameters,
            inputs.growth_minimum_degc,
            around,
            food_scale=inputs.food_scale,
            tolerance=TOLERANCE,
            on_gpu=self.on_gpu,
        )
        out = np.empty((*states.shape[:2], 4))
        out[:, :, 0] = np.log(np.maximum(states[:, :, BACTERIA], TINY))
        out[:, :, 1] = np.log(np.maximum(states[:, :, FUNGI], TINY))
        out[:, :, 2] = states[:, :, OXYGEN]
        out[:, :, 3] = around_each(states[:, :, OXYGEN_MEAN], around.times_h)
        return out

    def gains(self, w: Array) -> Array:
        """Scale of each assay, shape (n, assays). [-]"""
        return np.asarray(np.exp(w[:, N_TERMS : N_TERMS + self.assays] * self.setting.results.gain_log_sd))

    def biases(self, w: Array) -> Array:
        """Additive bias of each assay, shape (n, assays). [unit of its results]"""
        results = self.setting.results
        return np.asarray(results.bias + w[:, N_TERMS + self.assays : N_TERMS + 2 * self.assays] * results.bias_sd)

    def data_residuals(self, w: Array, kept: Array) -> tuple[Array, Array, Array]:
        """Standardised residuals of results and oxygen and the size of the latter's errors.

        Shapes (n, results), (n, bins) and (n, bins). `kept` is from `run`, or its part up to the last data.
        """
        setting = self.setting
        grid = setting.grid_h[: kept.shape[1]]
        signal = expected_signals(setting.results, kept[:, :, 0], kept[:, :, 1], grid, self.gains(w))
        result = result_residuals(setting.results, signal, self.biases(w))
        expected = kept[:, setting.oxygen.index, 3] + setting.offset_sd * w[:, -1:]
        slope = np.gradient(kept[:, :, 3], grid, axis=1)[:, setting.oxygen.index]
        sizes = oxygen_sizes(setting.errors, slope)
        return result, oxygen_residuals(setting.errors, sizes, setting.oxygen.values, expected), sizes

    def log_likelihood(self, w: Array) -> Array:
        """Of results and log, with what strays from the law and the assays' scales integrated out, shape (n,)."""
        kept = self._run(w, self.near)
        _, oxygen, sizes = self.data_residuals(w, kept)
        return np.asarray((log_t(oxygen) - np.log(sizes)).sum(axis=1) + self.results_evidence(w, kept))

    def results_evidence(self, w: Array, kept: Array) -> Array:
        """Log evidence of the assay results for courses from `run`, shape (n,); nan where a course is."""
        results, end = self.setting.results, kept.shape[1]
        if not len(results.value):
            return np.zeros(len(w))
        log_mass, log_ratio = of_bacteria_and_fungi(kept[:, :, 0], kept[:, :, 1])
        regression = regression_of(
            results, log_mass, log_ratio, self.setting.grid_h[:end], self.setting.clock_h[:end], self.biases(w), WANDERS
        )
        return np.asarray(logsumexp(evidence_under(regression) + BELIEFS, axis=1))

    def residuals(self, w: Array) -> Array:
        """Scores and rooted data losses side by side, shape (n, size + results + 2 bins)."""
        kept = self._run(w, self.near)
        result, oxygen, sizes = self.data_residuals(w, kept)
        results = self.setting.results
        result = result / strayed_error(results, self.setting.grid_h, self.setting.clock_h)
        # A result beyond a limit pulls only while the model lies on the wrong side of it.
        result = np.where(results.below, np.minimum(result, 0.0), np.where(results.above, np.maximum(result, 0.0), result))
        # Half the square of this is the log of how much wider the errors are than their least: part of the loss.
        width = np.sqrt(2.0 * np.log(sizes / self.setting.errors.size) + 1e-3)
        return np.concatenate([w, root_loss(result), root_loss(oxygen), width], axis=1)

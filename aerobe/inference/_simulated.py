"""Brews drawn from the prior, and data of them drawn from the very likelihood used: to plan trials and to check inference."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._likelihood import draw_t, expected_signals, oxygen_errors, oxygen_sizes
from aerobe.inference._posterior import peak_times
from aerobe.inference._story import BrewStory, Log, Measurement
from aerobe.inference._target import BrewTarget, setting_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedBrew:
    """One true course and how it would be measured.

    Parameters
    ----------
    times_h
        Shape (times,). [h]
    bacteria, fungi, oxygen
        Shape (times,). [ug C/mL, ug C/mL, mg/L]
    logged
        Oxygen as a faultless log binned to the grid would show it, shape (times,). [mg/L]
    scores
        All scores behind it, shape (size,). [-]
    story
        The story without data.
    """

    times_h: Array
    bacteria: Array
    fungi: Array
    oxygen: Array
    logged: Array
    scores: Array
    story: BrewStory

    @property
    def biomass(self) -> Array:
        """Shape (times,). [ug C/mL]"""
        return self.bacteria + self.fungi

    @property
    def peak_time_h(self) -> float:
        """When there is most biomass. [h]"""
        return float(peak_times(self.times_h, self.biomass[None])[0])

    def measure(self, rng: np.random.Generator, *blank: Measurement) -> tuple[Measurement, ...]:
        """Results at the times of `blank` measurements, whose own values are ignored.

        Scale and bias of each assay are those of this brew's scores, so that repeated calls agree with each other.
        """
        target = BrewTarget(setting_of(replace(self.story, measurements=tuple(blank), oxygen=None)))
        results = target.setting.results
        w = self._scores_for(target)
        logs = np.log(self.bacteria)[None], np.log(self.fungi)[None]
        signal = expected_signals(results, *logs, self.times_h, target.gains(w))[0]
        bias = target.biases(w)[0, results.assay]
        inside = np.arcsinh(results.scale * signal / results.constant) / results.scale + draw_t(rng, signal.shape)
        values = results.constant * np.sinh(results.scale * inside) / results.scale + bias
        return tuple(self._seen(item, float(value)) for item, value in zip(blank, values, strict=True))

    def log_oxygen(self, rng: np.random.Generator, until_h: float) -> Log:
        """A log on the model's grid up to a time, drawn from the likelihood of one value a bin."""
        seen = self.times_h <= until_h
        times = self.times_h[seen]
        errors = oxygen_errors(times, np.full(len(times), 1.0), self.story.probe)
        sizes = oxygen_sizes(errors, np.gradient(self.logged, self.times_h)[None, seen])[0]
        gap = 0.0
        values = np.empty(len(times))
        for i, push in enumerate(draw_t(rng, times.shape)):
            gap = errors.memory[i] * gap + sizes[i] * push
            values[i] = self.logged[seen][i] + gap + self.story.probe.offset_sd_mg_per_l * self.scores[-1]
        return Log(elapsed_h=times, values=values)

    def _scores_for(self, target: BrewTarget) -> Array:
        w = np.zeros((1, target.size))
        terms = target.size - 2 * target.assays - 1
        w[0, :terms] = self.scores[:terms]
        # Two scores an assay were drawn for up to as many assays as were asked for; the rest are drawn as zero.
        spare = self.scores[terms:-1]
        for place in range(target.assays):
            if 2 * place + 1 < len(spare):
                w[0, terms + place], w[0, terms + target.assays + place] = spare[2 * place], spare[2 * place + 1]
        return w

    @staticmethod
    def _seen(item: Measurement, value: float) -> Measurement:
        limit, top = item.error.detection_limit, item.error.upper_limit
        # The limit below is one of the net result; a mark at the end of a scale is one of what is read.
        if limit is not None and value - item.error.bias < limit:
            return replace(item, value=limit + item.error.bias, below_detection=True)
        if top is not None and value > top:
            return replace(item, value=top, above_range=True)
        return replace(item, value=value)


def simulate_brews(
    story: BrewStory, count: int, *, seed: int, assays: int = 4, like: SimulatedBrew | None = None, alike: float = 0.95
) -> list[SimulatedBrew]:
    """True courses drawn from the prior of a story's recipe and vessel; its data are ignored.

    Parameters
    ----------
    story
        Recipe, vessel and temperature.
    count
        Courses drawn. [-]
    seed
        Same seed, same courses.
    assays
        Tests for which a scale and a bias are drawn. [-]
    like
        A brew of the same heap, tests and hands, of any recipe: what nobody knew of it is in part the same in these.
    alike
        Share of the variance of each unknown that they have in common with it. [-]
    """
    bare = replace(story, measurements=(), oxygen=None)
    target = BrewTarget(setting_of(bare))
    rng = np.random.default_rng([seed, 11])
    w = rng.standard_normal((count, target.size))
    extra = rng.standard_normal((count, 2 * assays))
    scores = np.concatenate([w[:, :-1], extra, w[:, -1:]], axis=1)
    if like is not None:
        scores = math.sqrt(alike) * like.scores + math.sqrt(1.0 - alike) * scores
    kept = target.run(np.concatenate([scores[:, : target.size - 1], scores[:, -1:]], axis=1))
    return [
        SimulatedBrew(
            times_h=target.setting.grid_h,
            bacteria=np.exp(kept[i, :, 0]),
            fungi=np.exp(kept[i, :, 1]),
            oxygen=kept[i, :, 2],
            logged=kept[i, :, 3],
            scores=scores[i],
            story=bare,
        )
        for i in range(count)
    ]

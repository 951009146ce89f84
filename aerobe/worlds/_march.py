"""Brews through time: a solver that keeps amounts positive, whatever the law.

Each law says what is made and what is lost of every state. The losses are taken implicitly in proportion to the state
(Patankar's device in a two-stage Runge-Kutta scheme, burchard-2003), so that neither oxygen, which answers within minutes, nor
the last of a food asks for a tiny step.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from aerobe.worlds._law import Array, Known, Law, Outside, Terms

STEP_H = 0.05
END_H = 72.0
BLOCK = 2048  # brews carried at a time: what fits the processor's cache
TINY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueCourses:
    """True courses, a row a brew, shape (brews, times): bacteria, fungi [ug C/mL] and oxygen [mg/L] at `times_h`."""

    times_h: Array
    bacteria: Array
    fungi: Array
    oxygen: Array

    @property
    def biomass(self) -> Array:
        """Bacteria and fungi together. [ug C/mL]"""
        return np.asarray(self.bacteria + self.fungi)


def usual_transfer(known: Known) -> Array:
    """Oxygen transfer that such an air flow gives as a rule, at 20 degC, shape (brews,). [1/h]"""
    return np.asarray(14.0 * (2.0 * known.air_l_per_min / known.volume_l) ** 0.8)


def saturation(degc: Array) -> Array:
    """Oxygen in balance with air at sea level, by a hyperbola. [mg/L]

    Source
    ------
    saturation-hyperbola
    """
    return np.asarray(468.0 / (31.6 + degc))


def outside(known: Known, terms: Terms, elapsed_h: float) -> Outside:
    """What acts on the brews at an hour. [h]"""
    degc = known.temperature(elapsed_h)
    stopped = (elapsed_h >= known.pump_off_h) & (elapsed_h < known.pump_on_h)  # nan compares false: never stopped
    # Still water takes up a little through its surface.
    transfer = np.where(stopped, 0.15, usual_transfer(known) * terms["transfer"]) * 1.024 ** (degc - 20.0)
    return Outside(degc=degc, kla_per_h=transfer, saturation_mg_per_l=saturation(degc))


def march(law: Law, known: Known, scores: Array, *, every_h: float = 0.1, step_h: float = STEP_H) -> TrueCourses:
    """Courses of brews to the end of the world's watch.

    Parameters
    ----------
    law
        The world.
    known
        Of each brew.
    scores
        Of the hidden terms, shape (brews, terms). [-]
    every_h, step_h
        Spacing of what is kept, and of the solver's steps. [h]
    """
    count = len(scores)
    times = np.asarray(np.arange(round(END_H / every_h) + 1) * every_h, float)
    kept = [np.empty((count, len(times))) for _ in range(3)]
    for first in range(0, count, BLOCK):
        rows = np.arange(first, min(first + BLOCK, count))
        part = known.rows(rows)
        for i, y in enumerate(_states(law, part, law.terms(scores[rows]), len(times), round(every_h / step_h), step_h)):
            for out, names in zip(kept, (*law.living, ("oxygen",)), strict=True):
                out[rows, i] = sum(y[law.states.index(name)] for name in names)
    return TrueCourses(times_h=times, bacteria=kept[0], fungi=kept[1], oxygen=kept[2])


def _states(law: Law, known: Known, terms: Terms, count: int, between: int, h: float) -> Iterator[Array]:
    """The states at each kept time, shape (states, brews)."""
    y = np.maximum(law.begin(known, terms), 0.0)
    sugar = law.states.index(law.sugar)
    made, lost, made_then, lost_then = (np.zeros_like(y) for _ in range(4))
    now = outside(known, terms, 0.0)
    yield y
    for step in range((count - 1) * between):
        t = step * h
        fed = (known.feed_at_h > t - 0.5 * h) & (known.feed_at_h <= t + 0.5 * h)
        if fed.any():
            y[sugar] += np.where(fed, 250.0 * known.feed_g_per_l, 0.0)
        then = outside(known, terms, t + h)
        law.rates(t, y, terms, now, made, lost)
        trial = (y + h * made) / (1.0 + h * lost / (y + TINY))
        law.rates(t + h, trial, terms, then, made_then, lost_then)
        y = (y + 0.5 * h * (made + made_then)) / (1.0 + 0.5 * h * (lost + lost_then) / (trial + TINY))
        now = then
        if (step + 1) % between == 0:
            yield y

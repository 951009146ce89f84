"""A structure that believes no carbon balance: lag, rise, plateau and fall of living mass on the log scale.

A lag and a rise towards a ceiling (baranyi-roberts-1994, richards-1959), at times a second rise, and a fall that sets in when
it will, with the prior wide and the recipe no more than a hint of how warm it is, how much is there at the start and how high it
may go. It holds its own where the balance of food misleads: what limits may be nitrogen, acids, viruses or nothing known.
"""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import Courses
from aerobe.inference._prior import N_TERMS, NAMES, PRIOR, Basis
from aerobe.inference._wander import GROWTH_MINIMUM_DEGC
from aerobe.kinetics import OXYGEN_PER_CARBON, Surroundings, decay_factor, growth_factor
from aerobe.oxygen import transfer_factor

Array = NDArray[np.float64]

EMPIRICAL = "rise and fall"

# Medians and spreads are ours, set wide and tuned on brews of foreign laws.
RATE = (1.0, 0.3)  # largest net growth over the score's growth rate [-]
LAG_WORK = (1.0, 0.3)  # growth rate times lag over the score's [-]
BEND = (2.0, 0.7)  # exponent with which growth slows towards the ceiling [-]
CEILING = (0.26, 0.65)  # living mass made of the recipe's food carbon [-]
START = (1.0, 0.35)  # living mass of the compost over the scores' [-]
FALL = (0.016, 0.8)  # rate of fall in the end at 20 degC [1/h]
SLOPE = 0.004  # spread of a slow rise or fall along the plateau [1/h]
PLATEAU_H = (4.0, 0.9)  # from nine tenths of the ceiling to the fall, at 20 degC [h]
SECOND_RISE = 0.2  # share of brews that rise once more
SECOND_SIZE = (0.3, 0.6)  # of the log of living mass [-]
SECOND_AT_H = (14.0, 0.7)  # after the first rise, at 20 degC [h]
PAUSED = 0.1  # share of brews that stand still for some hours, and nobody saw why: a pump, a knocked-off hose, a cold draught
PAUSE_WITHIN_H = (2.0, 30.0)  # from when to when such a pause may begin [h]
PAUSE_H = (4.0, 0.6)  # how long it lasts [h]
NO_GROWTH = 0.03  # share that never rises: chlorine, dead compost, too little warmth
RESPIRED = (1.0, 0.4)  # carbon respired per carbon of biomass made [-]
UPKEEP = (0.012, 0.5)  # carbon respired per living carbon at 20 degC [1/h]
CORNER = 0.06  # how round the corner is at which demand meets what the air brings; a little oxygen is always left [-]
OVERDRAWN = 0.25  # how far, on the log scale, a course may ask for more oxygen than the air brings [-]


class Chances(ABC):
    """Where the numbers of courses come from, a column of shape (courses, 1) at each asking."""

    @abstractmethod
    def normal(self) -> Array:
        """Standard normal."""

    @abstractmethod
    def uniform(self) -> Array:
        """Between 0 and 1."""

    def spread(self, pair: tuple[float, float]) -> Array:
        """Log-normal, by median and standard deviation of the log."""
        return np.asarray(pair[0] * np.exp(pair[1] * self.normal()))


class Fresh(Chances):
    """Drawn anew."""

    def __init__(self, rng: np.random.Generator, count: int) -> None:
        self.rng, self.shape = rng, (count, 1)

    def normal(self) -> Array:
        """Standard normal."""
        return self.rng.standard_normal(self.shape)

    def uniform(self) -> Array:
        """Between 0 and 1."""
        return self.rng.random(self.shape)


def empirical_courses(basis: Basis, around: Surroundings, z: Array, rng: np.random.Generator) -> Courses:
    """One course for each row of prior scores `z`, shape (courses, terms); the scores lend their kLa and fungal share."""
    n, times = len(z), around.times_h
    warmth = np.asarray(growth_factor(around.temperature_degc, GROWTH_MINIMUM_DEGC))
    # Time as a brew at 20 degC would feel it: growth by its own law, decay by its own.
    # While the air is off nothing grows that could be counted.
    grown = felt_clock(times, warmth, around.running())
    worn = felt_clock(times, np.asarray(decay_factor(around.temperature_degc)), np.ones_like(times))

    draw = Fresh(rng, n)
    spread = draw.spread

    stretched = basis.stretched(z)

    def scored(name: str) -> Array:
        place = NAMES.index(name)
        return PRIOR[place].value(stretched[:, [place]])

    # What earlier brews taught of start, pace and lag holds whatever limits in the end.
    rate, bend = spread(RATE) * scored("bacteria_growth_per_h"), spread(BEND)
    ratio = scored("fungi_to_bacteria")
    living = scored("bacteria_mg_c_per_g_compost") * (1.0 + ratio)
    start = np.log(spread(START) * living * basis.compost_g_per_l + 1e-3)
    readily = basis.food_mg_c_per_l + 0.7 * basis.compost_g_per_l
    carbon = readily + 0.5 * (basis.slow_mg_c_per_l + 4.0 * basis.compost_g_per_l)
    ceiling = np.log(np.exp(start) + spread(CEILING) * carbon)
    lag = spread(LAG_WORK) * scored("lag_work")
    ready = lagged(grown, rate, lag)
    height = np.maximum(ceiling - start, 1e-6)
    rise = rising(height, rate, bend, ready)
    log_mass = start + rise + after_the_rise(rise, height, rate, grown, worn, draw)
    for at, food, slow in basis.later_feeds:
        more = np.log1p(spread(CEILING) * (food + 0.5 * slow) / np.exp(ceiling))
        log_mass += more * step_up(grown[None], np.interp(at, times, grown) + 2.0 + height / rate * 0.2, 0.5 / rate)
    dead = rng.random((n, 1)) < NO_GROWTH
    log_mass = np.where(dead, start - 2.0 * spread(FALL) * worn[None], log_mass)
    # Added water thins what is there from just after its time on.
    log_mass += np.concatenate([[0.0], np.cumsum(np.log(around.shares_kept()))[:-1]])
    shift = 0.3 * rng.standard_normal((n, 1)) * rise / np.maximum(height, 0.5)
    log_ratio = np.log(ratio) + shift * np.minimum(height, 3.0)
    respired, upkeep = spread(RESPIRED), spread(UPKEEP)
    kla = basis.kla_per_h * np.exp(basis.kla_log_sd * z[:, [NAMES.index("kla_factor")]])
    supply = np.maximum(kla * around.transfer() * around.saturation_mg_per_l, 1e-9)
    begins = PAUSE_WITHIN_H[0] + (PAUSE_WITHIN_H[1] - PAUSE_WITHIN_H[0]) * rng.random((n, 1))
    paused = (rng.random((n, 1)) < PAUSED) & (times >= begins) & (times < begins + spread(PAUSE_H))
    log_mass = _no_faster_than_air(log_mass, around, respired, upkeep, supply / OXYGEN_PER_CARBON, paused)
    lacking = _demand(log_mass, around, respired, upkeep) / supply
    oxygen = around.saturation_mg_per_l * CORNER * np.logaddexp(0.0, (1.0 - lacking) / CORNER)
    supply = kla * transfer_factor(around.temperature_degc) * around.saturation_mg_per_l
    asked = np.log(np.maximum(_demand(log_mass, around, respired, upkeep) / supply, 1e-9)).max(axis=1)
    return Courses(
        structure=EMPIRICAL,
        log_mass=log_mass,
        log_ratio=log_ratio,
        oxygen=np.asarray(oxygen),
        scores=z[:, :N_TERMS],
        log_weight=-0.5 * (np.maximum(asked, 0.0) / OVERDRAWN) ** 2,
        runs=0,
    )


def lagged(grown: Array, rate: Array, lag: Array) -> Array:
    """Hours of growth since the lag, as it wears off (baranyi-roberts-1994)."""
    return np.asarray(grown[None] + np.log(np.exp(-rate * grown) + np.exp(-lag) - np.exp(-rate * grown - lag)) / rate)


def rising(height: Array, rate: Array, bend: Array, ready: Array) -> Array:
    return np.asarray(height - np.log1p(np.expm1(np.minimum(bend * height, 200.0)) * np.exp(-bend * rate * ready)) / bend)


def after_the_rise(rise: Array, height: Array, rate: Array, grown: Array, worn: Array, draw: Chances) -> Array:
    """Plateau, fall and at times a second rise, on the log scale."""
    full = np.array([np.interp(0.9 * h, row, grown) for h, row in zip(height[:, 0], rise, strict=True)])[:, None]
    begins = full + draw.spread(PLATEAU_H) - 3.0
    width = 2.0
    fall = draw.spread(FALL) * _ramp(worn[None], np.interp(begins, grown, worn), width)
    slope = SLOPE * draw.normal() * _ramp(grown[None], full, width)
    again = (draw.uniform() < SECOND_RISE) * draw.spread(SECOND_SIZE)
    return np.asarray(slope - fall + again * step_up(grown[None], full + draw.spread(SECOND_AT_H), 2.5 / rate * 0.2))


def _no_faster_than_air(
    log_mass: Array, around: Surroundings, respired: Array, upkeep: Array, supply: Array, paused: NDArray[np.bool_]
) -> Array:
    """The courses on a clock that slows while they would take more oxygen than the air brings, and stands while they are paused:
    all that follows comes later.

    `supply` in carbon that can be burnt [mg C/L/h], it and `paused` of shape (courses, times).
    """
    times, n = around.times_h, len(log_mass)
    kept = upkeep * decay_factor(around.temperature_degc)
    rates = np.diff(log_mass, axis=1) / np.diff(times)
    out, at, rows = log_mass.copy(), np.full(n, times[0]), np.arange(n)
    for i in range(len(times) - 1):
        step = times[i + 1] - times[i]
        place = np.minimum(np.searchsorted(times, at, side="right") - 1, len(times) - 2)
        rate, mass = rates[rows, place], np.exp(np.minimum(out[:, i], 60.0))
        free = np.maximum(supply[:, i] - kept[:, i] * mass, 0.02 * supply[:, i])
        wanted = respired[:, 0] * np.maximum(rate, 0.0) * mass
        at = at + step * np.where(paused[:, i], 0.0, np.minimum(1.0, free / np.maximum(wanted, 1e-12)))
        place = np.minimum(np.searchsorted(times, at, side="right") - 1, len(times) - 2)
        out[:, i + 1] = log_mass[rows, place] + rates[rows, place] * (at - times[place])
    return out


def felt_clock(times: Array, factor: Array, running: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(np.diff(times) * 0.5 * (factor[1:] + factor[:-1]) * running[:-1])])


def _ramp(at: Array, begins: Array, width: float) -> Array:
    """Nought before `begins`, then as long as has passed since, with a rounded corner."""
    return np.asarray(width * (np.logaddexp(0.0, (at - begins) / width) - np.logaddexp(0.0, -begins / width)))


def step_up(at: Array, middle: Array, width: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((at - middle) / np.maximum(width, 0.3), -60.0, 60.0))))


def _demand(log_mass: Array, around: Surroundings, respired: Array, upkeep: Array) -> Array:
    """Oxygen that such a course takes up if it can, shape (courses, times). [mg/L/h]"""
    mass = np.exp(log_mass)
    made = np.maximum(np.gradient(mass, around.times_h, axis=1), 0.0)
    kept = upkeep * decay_factor(around.temperature_degc) * mass
    return np.asarray(OXYGEN_PER_CARBON * (respired * made + kept))

# mypy: disable-error-code="no-untyped-def"
"""A second structure of a brew, compiled: nitrogen may limit, and where oxygen is short food turns to acids.

Growth is limited by food, nitrogen and oxygen, each by Monod (monod-1949), and held back by acids (levenspiel-1980, squared).
Where oxygen lacks, part of the growth goes on by fermentation at a small yield and leaves acids, which are eaten once oxygen
is back. Loss rises with how crowded the brew is, standing for viruses and grazers at once. Oxygen answers within minutes, so
it is taken in balance with what is taken up: then nothing is stiff and classical Runge-Kutta steps do.

All compiled code of this structure stands here: the cache of compiled code watches one file only.
"""

from __future__ import annotations

from math import ceil, sqrt

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Array = NDArray[np.float64]

NITROGEN_STATES = ("bacteria", "fungi", "readily_used_food", "slowly_released_food", "nitrogen", "acids", "readiness")
NITROGEN_PARAMETERS = (
    "bacteria_growth_per_h",  # largest specific growth rate at 20 degC [1/h]
    "fungi_growth_per_h",
    "yield_fraction",  # biomass carbon made per food carbon [-]
    "half_food_mg_c_per_l",
    "half_oxygen_mg_per_l",
    "release_per_h",  # largest release of slow food per biomass [1/h]
    "decay_per_h",  # at 20 degC [1/h]
    "starvation_per_h",
    "crowding_l_per_mg_c_h",  # what loss gains per living carbon, at 20 degC [L/mg C/h]
    "carbon_to_nitrogen",  # of biomass, by mass [-]
    "half_nitrogen_mg_per_l",
    "fermented_share",  # growth rate without oxygen over that with it [-]
    "acid_growth_per_h",  # largest growth rate on acids [1/h]
    "acid_limit_mg_c_per_l",  # acids that halve growth [mg C/L]
    "kla_per_h",  # at 20 degC [1/h]
)
OXYGEN_PER_CARBON = 32.0 / 12.0
RELEASE_HALF = 0.03  # as in the first structure (henze-2000)
FUNGAL_DECAY = 0.5
KEPT_IN_BREW = 0.5  # of decayed biomass that becomes slow food, and of its nitrogen that is free again; assumed
FERMENTATION_YIELD = 0.12  # biomass carbon per food carbon fermented; order of 10 g cells per mole of sugar's ATP, from memory
TO_ACIDS = 0.67  # of the rest, that becomes acids; a third leaves as carbon dioxide (stoichiometry of mixed acids)
HALF_ACIDS = 15.0  # [mg C/L], assumed
STEP_H = 0.25


@njit(cache=True, error_model="numpy")
def _slopes(y, p, growth, decay, kla, saturation, out):
    """Write dy/dt into `out`; the return is dissolved oxygen [mg/L]."""
    living = y[0] + y[1]
    food, slow, nitrogen, acids = max(y[2], 0.0), max(y[3], 0.0), max(y[4], 0.0), max(y[5], 0.0)
    fed = food / (p[3] + food)
    rich = nitrogen / (p[10] + nitrogen)
    held = 1.0 / (1.0 + (acids / p[13]) ** 2)
    pace = growth * y[6] * fed * rich * held
    bacteria, fungi = p[0] * pace * y[0], p[1] * pace * y[1]
    regrown = p[12] * growth * acids / (HALF_ACIDS + acids) * (1.0 - fed) * rich * y[0]
    rate = (p[6] + p[7] * (1.0 - fed) + p[8] * living) * decay
    lost = rate * (y[0] + FUNGAL_DECAY * y[1])
    wanted = (bacteria + fungi) * (1.0 / p[2] - 1.0) + regrown * (1.0 / p[2] - 1.0) + (1.0 - KEPT_IN_BREW) * lost
    # Oxygen in balance: kla (saturation - c) = demand c / (half + c).
    demand = OXYGEN_PER_CARBON * wanted
    b = demand + kla * (p[4] - saturation)
    c = (-b + sqrt(b * b + 4.0 * kla * kla * saturation * p[4])) / (2.0 * kla)
    aerobic = c / (p[4] + c)
    fermented = p[11] * (1.0 - aerobic) * bacteria
    bacteria *= aerobic
    fungi *= aerobic
    regrown *= aerobic
    released = p[5] * growth * slow * living / (RELEASE_HALF * living + slow + 1e-12)
    burnt = fermented / FERMENTATION_YIELD
    made = bacteria + fungi + regrown + fermented
    out[0] = bacteria + regrown + fermented - rate * y[0]
    out[1] = fungi - FUNGAL_DECAY * rate * y[1]
    out[2] = released - (bacteria + fungi) / p[2] - burnt
    out[3] = KEPT_IN_BREW * lost - released
    out[4] = (KEPT_IN_BREW * lost - made) / p[9]
    out[5] = TO_ACIDS * (burnt - fermented) - regrown / p[2]
    out[6] = p[0] * growth * y[6] * (1.0 - y[6])
    return c


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def _run(start, parameters, growth, shared, scale, times, out):
    for n in prange(len(start)):
        y, at, k, total = np.empty(7), np.empty(7), np.empty(7), np.empty(7)
        p = parameters[n]
        for j in range(7):
            y[j] = start[n, j]
        for i in range(len(times)):
            kla = p[14] * shared[1, i] * max(shared[3, i], 1e-6)
            oxygen = _slopes(y, p, growth[n, i], shared[0, i], kla, shared[2, i], k)
            out[n, i, 0], out[n, i, 1], out[n, i, 2] = y[0], y[1], oxygen
            if i == len(times) - 1:
                break
            for j in range(6):
                y[j] *= shared[7, i]
            y[2] += shared[4, i] * scale[n]
            y[3] += shared[5, i]
            y[4] += shared[6, i]
            span = times[i + 1] - times[i]
            # Food and nitrogen answer fastest where much life meets little of them.
            quick = growth[n, i] * y[6] * (p[0] * y[0] + p[1] * y[1])
            fastest = quick * max(max(1.0 / p[2], p[11] / FERMENTATION_YIELD) / p[3], 1.0 / (p[9] * p[10]))
            steps = ceil(span / min(STEP_H, 1.5 / max(fastest, 1e-9)))
            h = span / steps
            for s in range(steps):
                for j in range(7):
                    total[j] = 0.0
                    at[j] = y[j]
                for stage in range(4):
                    w = (s + (0.0 if stage == 0 else (1.0 if stage == 3 else 0.5))) / steps
                    g = growth[n, i] + w * (growth[n, i + 1] - growth[n, i])
                    d = shared[0, i] + w * (shared[0, i + 1] - shared[0, i])
                    sat = shared[2, i] + w * (shared[2, i + 1] - shared[2, i])
                    _slopes(at, p, g, d, kla, sat, k)
                    part = 1.0 if stage == 0 or stage == 3 else 2.0
                    ahead = 0.5 if stage < 2 else 1.0
                    for j in range(7):
                        total[j] += part * k[j]
                        at[j] = y[j] + ahead * h * k[j]
                for j in range(7):
                    y[j] = max(y[j] + h * total[j] / 6.0, 0.0)


def simulate_nitrogen(start: Array, parameters: Array, growth: Array, shared: Array, food_scale: Array, times_h: Array) -> Array:
    """Bacteria, fungi and oxygen of many brews at the output times, shape (brews, times, 3). [mg C/L, mg C/L, mg/L]

    Parameters
    ----------
    start
        Shape (brews, 7), in the order of `NITROGEN_STATES`. [mg C/L, nitrogen mg N/L]
    parameters
        Shape (brews, 15), in the order of `NITROGEN_PARAMETERS`. [each its own]
    growth
        Growth factor of each brew at the times, shape (brews, times). [-]
    shared
        Decay factor, transfer factor, saturation [mg/L], transfer over the usual, readily used food, slow food [mg C/L] and
        nitrogen [mg N/L] added just after each time, and old volume over new then, shape (8, times).
    food_scale
        Factor on added readily used food, shape (brews,). [-]
    times_h
        Shape (times,). [h]

    Source
    ------
    monod-1949, levenspiel-1980, henze-2000
    """
    out = np.empty((len(start), len(times_h), 3))
    _run(
        np.ascontiguousarray(start, float),
        np.ascontiguousarray(parameters, float),
        np.ascontiguousarray(growth, float),
        np.ascontiguousarray(shared, float),
        np.ascontiguousarray(food_scale, float),
        np.ascontiguousarray(times_h, float),
        out,
    )
    return out

"""The second structure: nitrogen may limit, food turns to acids where oxygen lacks, and loss rises with crowding.

What it shares with the first structure has the same scores; what it adds is drawn here, with centres and spreads of ours.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import Courses, of_bacteria_and_fungi
from aerobe.inference._prior import N_TERMS, Basis, decode
from aerobe.kinetics import (
    NITROGEN_PARAMETERS,
    PARAMETERS,
    Surroundings,
    decay_factor,
    growth_factor,
    simulate_nitrogen,
)
from aerobe.oxygen import transfer_factor

Array = NDArray[np.float64]

NITROGEN = "nitrogen and acids"
TINY = 1e-9
# Centre and spread of the log.
ADDED = {
    "crowding_l_per_mg_c_h": (0.00006, 0.9),
    "carbon_to_nitrogen": (5.5, 0.15),
    "half_nitrogen_mg_per_l": (0.5, 0.5),
    "fermented_share": (0.3, 0.5),
    "acid_growth_per_h": (0.1, 0.4),
    "acid_limit_mg_c_per_l": (200.0, 0.5),
}
COMPOST_NITROGEN = (0.6, 0.6)  # free and soon freed, of wet compost [mg N/g]; common practice, no source
FOOD_NITROGEN = (0.7, 0.3)  # share of the food's nitrogen that comes free in the brew [-]; assumed


def nitrogen_courses(basis: Basis, around: Surroundings, z: Array, rng: np.random.Generator) -> Courses:
    """One course for each row of prior scores `z`, shape (courses, terms); those that cannot be carried on are left out."""
    n = len(z)

    def spread(pair: tuple[float, float]) -> Array:
        return np.asarray(pair[0] * np.exp(pair[1] * rng.standard_normal(n)))

    inputs = decode(z, basis, float(around.temperature_degc[0]))
    added = {name: spread(pair) for name, pair in ADDED.items()}
    shared = {name: inputs.parameters[:, place] for place, name in enumerate(PARAMETERS)}
    both = shared | added
    parameters = np.stack([both[name] for name in NITROGEN_PARAMETERS], axis=1)
    free = spread(FOOD_NITROGEN)
    nitrogen = spread(COMPOST_NITROGEN) * basis.compost_g_per_l + free * basis.nitrogen_mg_per_l
    # Bacteria, fungi, readily used and slow food as in the first structure; no acids yet; the same readiness.
    start = np.stack([*(inputs.start[:, k] for k in (0, 1, 3, 4)), nitrogen, np.zeros(n), inputs.start[:, 6]], axis=1)
    fed = np.zeros(len(around.times_h))
    for (at, *_), more in zip(basis.later_feeds, basis.later_nitrogen, strict=True):
        if at <= around.times_h[-1]:
            fed[np.abs(around.times_h - at).argmin()] += FOOD_NITROGEN[0] * more
    forcing = np.stack(
        [
            decay_factor(around.temperature_degc),
            transfer_factor(around.temperature_degc),
            around.saturation_mg_per_l,
            np.ones_like(around.times_h) if around.air is None else around.air,
            around.added_food_mg_c_per_l,
            around.added_slow_mg_c_per_l,
            fed,
            around.shares_kept(),
        ]
    )
    growth = growth_factor(around.temperature_degc[None, :], inputs.growth_minimum_degc[:, None])
    out = simulate_nitrogen(start, parameters, growth, forcing, inputs.food_scale, around.times_h)
    usable = np.asarray(np.isfinite(out).all(axis=(1, 2)))
    out = out[usable]
    log_mass, log_ratio = of_bacteria_and_fungi(np.log(np.maximum(out[:, :, 0], TINY)), np.log(np.maximum(out[:, :, 1], TINY)))
    return Courses(
        structure=NITROGEN,
        log_mass=log_mass,
        log_ratio=log_ratio,
        oxygen=out[:, :, 2],
        scores=z[usable, :N_TERMS],
        log_weight=np.zeros(len(out)),
        runs=n,
    )


def within_nitrogen(basis: Basis, courses: Courses) -> Courses:
    """Courses of a structure that does not count nitrogen, weighed by whether there is enough for the biomass they make.

    Nitrogen is no opinion: a structure most of whose courses build cells out of nothing is believed less as a whole.
    """
    compost, food = (
        COMPOST_NITROGEN[0] * basis.compost_g_per_l,
        FOOD_NITROGEN[0] * (basis.nitrogen_mg_per_l + sum(basis.later_nitrogen)),
    )
    there = compost + food + 0.1  # what tap water and air bring; so small that it only keeps the logarithm finite
    error = float(np.hypot(COMPOST_NITROGEN[1] * compost, FOOD_NITROGEN[1] * food)) / there + ADDED["carbon_to_nitrogen"][1]
    made = np.maximum(np.exp(courses.log_mass.max(axis=1)) - np.exp(courses.log_mass[:, 0]), 1e-9)
    lacking = np.maximum(np.log(made / ADDED["carbon_to_nitrogen"][0] / there), 0.0) / error
    plausible = -0.5 * lacking**2
    return replace(
        courses,
        log_weight=courses.log_weight + plausible,
        log_belief=courses.log_belief + float(np.log(np.mean(np.exp(plausible)) + 1e-12)),
    )

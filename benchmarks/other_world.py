"""A simulator of brews that is not the model inside aerobe, to play the harvest call against.

Two bacterial guilds (a fast one on sugar, a slow one on both foods), fungi, grazers that eat both guilds, day and night
temperature with another temperature law, two foods released by other kinetics, an inhibition by what the brew excretes,
oxygen with a lagging, drifting probe. Invented numbers of the order that the trade reports; nothing is fitted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STEP_H = 0.004
OUT_H = 0.1
END_H = 72.0
GRAMS = {"molasses": 250.0, "kelp-powder": 250.0, "fish-hydrolysate": 150.0}  # mg C per g as bought


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Many brews of the other world: recipes, true courses and what a probe would show. Arrays have a row a brew."""

    times_h: Array
    biomass: Array  # (brews, times) [ug C/mL]
    bacteria: Array
    fungi: Array
    oxygen: Array  # true [mg/L]
    probe: Array  # as logged [mg/L]
    temperature: Array  # [degC]
    compost_g_per_l: Array
    molasses_g_per_l: Array
    kelp_g_per_l: Array
    fish_g_per_l: Array
    air_l_per_min: Array
    mean_temperature: Array
    assay_gain: Array
    assay_cv: Array

    @property
    def peak(self) -> Array:
        """The most biomass of each brew, shape (brews,)."""
        return np.asarray(self.biomass.max(axis=1))

    def test(self, brew: int, hour: float, rng: np.random.Generator) -> float:
        """One test result: log-normal error with a few gross ones, and a scale of its own a brew."""
        truth = float(np.interp(hour, self.times_h, self.biomass[brew]))
        error = rng.normal(0.0, self.assay_cv[brew]) * (3.0 if rng.random() < 0.03 else 1.0)
        return float(self.assay_gain[brew] * truth * np.exp(error) + rng.normal(0.0, 2.0))


# Centre and spread of the log of what differs between brews; rates are per hour.
USUAL = {
    "fast": (0.38, 0.25),
    "slow": (0.17, 0.25),
    "fungi": (0.13, 0.3),
    "ks": (8.0, 0.5),
    "kp": (60.0, 0.4),
    "lag": (2.5, 0.5),
    "decay": (0.014, 0.35),
    "hunger": (0.014, 0.5),
    "graze": (0.06, 0.4),
    "release": (0.05, 0.4),
    "inhibit": (700.0, 0.5),
}
# Brews that differ far more, to see where the call breaks.
WIDE = USUAL | {
    "fast": (0.33, 0.4),
    "slow": (0.15, 0.4),
    "fungi": (0.12, 0.45),
    "lag": (4.0, 0.6),
    "decay": (0.018, 0.5),
    "hunger": (0.02, 0.7),
    "graze": (0.07, 0.6),
}


def make_world(count: int, seed: int, *, wide: bool = False) -> World:
    """Draw recipes and courses; `wide` ones differ far more in kinetics, food, air and warmth."""
    rng = np.random.default_rng(seed)
    kinds = WIDE if wide else USUAL

    def spread(centre: float, log_sd: float) -> Array:
        return np.asarray(centre * np.exp(log_sd * rng.standard_normal(count)))

    compost = np.clip(spread(40.0, 0.5), 10.0, 120.0)
    molasses = np.where(rng.random(count) < 0.75, rng.uniform(*((0.1, 6.0) if wide else (0.2, 4.0)), count), 0.0)
    kelp = np.where(rng.random(count) < 0.5, rng.uniform(0.2, 2.0, count), 0.0)
    fish = np.where(rng.random(count) < 0.4, rng.uniform(0.2, 3.0, count), 0.0)
    air = spread(12.0, 0.4)
    mean_t = rng.uniform(*((13.0, 29.0) if wide else (15.0, 27.0)), count)
    swing = rng.uniform(0.5, 4.0, count)
    phase = rng.uniform(0.0, 24.0, count)
    kla = 14.0 * (air / 10.0) ** 0.8 * np.exp((0.5 if wide else 0.3) * rng.standard_normal(count))

    # The order of the draws is kept: a seed stands for the same brews as ever.
    p = {name: spread(*kinds[name]) for name in ("fast", "slow", "fungi")}
    p["yield"] = rng.uniform(0.4, 0.6, count)
    p |= {name: spread(*kinds[name]) for name in ("ks", "kp", "lag", "decay", "hunger", "graze", "release", "inhibit")}
    y = np.zeros((8, count))  # fast, slow, fungi, grazers, sugar, polymer, oxygen, excreted
    start = compost * spread(0.5, 0.6)
    share = rng.beta(4.0, 2.0, count)
    y[0], y[1] = start * share, start * (1.0 - share)
    y[2] = start * spread(0.35, 0.6)
    y[3] = start * spread(0.015, 0.7)
    sugar = molasses * GRAMS["molasses"] + 0.15 * kelp * GRAMS["kelp-powder"] + 0.4 * fish * GRAMS["fish-hydrolysate"]
    polymer = 0.4 * kelp * GRAMS["kelp-powder"] + 0.5 * fish * GRAMS["fish-hydrolysate"]
    y[4] = sugar * spread(1.0, 0.2) + compost * spread(0.8, 0.5)
    y[5] = polymer * spread(1.0, 0.2) + compost * spread(4.0, 0.5)
    y[6] = 9.0

    def warm(t: float) -> Array:
        return mean_t + swing * np.sin(2.0 * np.pi * (t + phase) / 24.0)

    def slopes(t: float, y: Array) -> Array:
        c = warm(t)
        # Arrhenius with a fall at high temperature, not the root law of the model inside.
        growth = np.exp(0.075 * (c - 20.0)) / (1.0 + np.exp(0.5 * (c - 38.0)))
        wear = np.exp(0.07 * (c - 20.0))
        fast, slow, fungi, grazers, sugar, polymer, oxygen, excreted = np.maximum(y, 0.0)
        air_ok = oxygen / (0.3 + oxygen)
        ready = 1.0 / (1.0 + np.exp(-(t - p["lag"]) / 0.8))
        check = 1.0 / (1.0 + excreted / p["inhibit"])
        g1 = p["fast"] * growth * sugar / (p["ks"] + sugar) * air_ok * ready * check * fast
        g2 = p["slow"] * growth * (sugar + 0.3 * polymer) / (p["kp"] + sugar + 0.3 * polymer) * air_ok * ready * slow
        g3 = p["fungi"] * growth * (sugar + 0.5 * polymer) / (p["kp"] + sugar + 0.5 * polymer) * air_ok * ready * check * fungi
        split2 = sugar / (sugar + 0.3 * polymer + 1e-9)
        split3 = sugar / (sugar + 0.5 * polymer + 1e-9)
        loss1 = wear * (p["decay"] + p["hunger"] * p["ks"] / (p["ks"] + sugar)) * fast
        loss2 = wear * 0.6 * p["decay"] * slow
        loss3 = wear * 0.7 * p["decay"] * fungi
        prey = fast + slow
        made = p["graze"] * growth * prey / (40.0 + prey) * air_ok * grazers
        eaten = made / 0.35
        free = p["release"] * growth * polymer * (prey + fungi) / (50.0 + prey + fungi)
        used1 = (g1 + split2 * g2 + split3 * g3) / p["yield"]
        used2 = ((1.0 - split2) * g2 + (1.0 - split3) * g3) / p["yield"]
        growth_all = g1 + g2 + g3
        dead = loss1 + loss2 + loss3
        respired = growth_all * (1.0 / p["yield"] - 1.0) + 0.5 * dead * air_ok + 0.5 * (eaten - made)
        saturation = 9.09 * np.exp(-0.021 * (c - 20.0))
        return np.stack(
            [
                g1 - loss1 - eaten * fast / (prey + 1e-9),
                g2 - loss2 - eaten * slow / (prey + 1e-9),
                g3 - loss3,
                made - 0.02 * wear * grazers,
                free - used1,
                0.4 * dead + 0.4 * (eaten - made) - free - used2,
                kla * 1.024 ** (c - 20.0) * (saturation - oxygen) - 2.667 * respired,
                0.15 * growth_all,
            ]
        )

    every = round(OUT_H / STEP_H)
    times = np.arange(0.0, END_H + 1e-9, OUT_H)
    out = np.empty((len(times), 8, count))
    out[0] = y
    t = 0.0
    for i in range(1, len(times)):
        for _ in range(every):
            k1 = slopes(t, y)
            k2 = slopes(t + 0.5 * STEP_H, y + 0.5 * STEP_H * k1)
            y = np.maximum(y + STEP_H * k2, 0.0)  # midpoint rule: small steps, so enough
            t += STEP_H
        out[i] = y
    oxygen = out[:, 6].T
    temperature = np.stack([warm(t) for t in times], axis=1)
    lagged = np.empty_like(oxygen)
    lagged[:, 0] = oxygen[:, 0]
    for i in range(1, len(times)):
        lagged[:, i] = lagged[:, i - 1] + (oxygen[:, i] - lagged[:, i - 1]) * (1.0 - np.exp(-OUT_H / 0.03))
    drift = rng.normal(0.0, 0.15, (count, 1)) * times[None] / 24.0
    gain = 1.0 + rng.normal(0.0, 0.03, (count, 1))
    probe = gain * lagged + drift + rng.normal(0.0, 0.2, (count, 1)) + rng.normal(0.0, 0.12, oxygen.shape)
    return World(
        times_h=times,
        biomass=(out[:, 0] + out[:, 1] + out[:, 2]).T,
        bacteria=(out[:, 0] + out[:, 1]).T,
        fungi=out[:, 2].T,
        oxygen=oxygen,
        probe=probe,
        temperature=temperature,
        compost_g_per_l=compost,
        molasses_g_per_l=molasses,
        kelp_g_per_l=kelp,
        fish_g_per_l=fish,
        air_l_per_min=air,
        mean_temperature=mean_t,
        assay_gain=spread(1.0, 0.25),
        assay_cv=rng.uniform(0.15, 0.3, count),
    )

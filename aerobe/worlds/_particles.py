"""Food locked in particles: a brew that is paced by the surface of what was put in, with fungi that come late.

Particles dissolve at their surface, so that the rate goes with the power 2/3 of what is left (hydrolysis limited by
surface, vavilin-2008). Cells grow on what comes free by an exponential law of saturation (tessier-1942). Fungi grow as
pellets do, by the cube root of their mass (emerson-1950), once they have woken, and stirring by air breaks them. Cells die
the faster the longer they have gone hungry: hunger is a memory of some hours. Temperature acts by a fixed factor for ten
degrees (vant-hoff-1884), oxygen by a straight line to a limit (blackman-1905).

Source
------
vavilin-2008, tessier-1942, emerson-1950, vant-hoff-1884, blackman-1905
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.30, spread=0.22),
    "fungi": Spread(centre=0.05, spread=0.3),
    "wakes": Spread(centre=14.0, spread=0.4),
    "surface": Spread(centre=0.045, spread=0.4),
    "half_food": Spread(centre=9.0, spread=0.4),
    "yield": Spread(centre=0.48, spread=0.08, scale="even"),
    "lag": Spread(centre=3.0, spread=0.5),
    "loss": Spread(centre=0.015, spread=0.3),
    "hunger": Spread(centre=0.045, spread=0.4),
    "memory": Spread(centre=6.0, spread=0.4),
    "shear": Spread(centre=0.012, spread=0.5),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.15, spread=0.6),
    "loose": Spread(centre=0.35, spread=0.5, scale="share"),
    "compost_particles": Spread(centre=6.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost, sugar = known.compost_g_per_l, known.sugar_mg_c_per_l * p["food"]
    locked = sugar * (1.0 - p["loose"]) + known.polymer_mg_c_per_l * p["food"] + compost * p["compost_particles"]
    return np.stack(
        [
            compost * p["start"],
            compost * p["start_fungi"],
            sugar * p["loose"] + 0.3 * compost,
            locked,
            locked,  # the mass at the start is kept beside, for the surface
            np.full(len(compost), 0.02),
            np.full(len(compost), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, fungi, free, locked, whole, hungry, oxygen = y
    tens = (out.degc - 20.0) / 10.0
    warm, wear = 2.1**tens, 1.9**tens
    air = np.minimum(oxygen / 0.8, 1.0)
    fed = 1.0 - np.exp(-free / p["half_food"])
    ready = t**3 / (p["lag"] ** 3 + t**3)
    grown = p["growth"] * warm * ready * air * fed * cells
    awake = 1.0 / (1.0 + np.exp(-(t - p["wakes"]) / 1.5))
    threads = 3.0 * p["fungi"] * warm * awake * air * np.cbrt(fungi**2 * 20.0) * (0.3 * fed + 0.7 * locked / (locked + 60.0))
    from_locked = threads * 0.7 * locked / (locked + 60.0) / (0.3 * fed + 0.7 * locked / (locked + 60.0) + 1e-9)
    dissolved = p["surface"] * warm * np.cbrt(whole * locked**2)
    dead = wear * (p["loss"] + p["hunger"] * hungry) * cells
    broken = (wear * 0.004 + p["shear"]) * fungi
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + 0.5 * (dead + broken) * air
    made[0], lost[0] = grown, dead
    made[1], lost[1] = threads, broken
    made[2], lost[2] = dissolved + 0.3 * (dead + broken), (grown + threads - from_locked) / p["yield"]
    made[3], lost[3] = 0.0, dissolved + from_locked / p["yield"]
    made[4], lost[4] = 0.0, 0.0
    made[5], lost[5] = (1.0 - fed) / p["memory"], hungry / p["memory"]
    made[6] = out.kla_per_h * out.saturation_mg_per_l
    lost[6] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="particles",
    title="food locked in particles, late fungi",
    states=("cells", "fungi", "free", "locked", "whole", "hungry", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="free",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"kelp": 0.7, "molasses": 0.6, "fish": 0.5},
)

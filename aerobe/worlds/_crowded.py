"""A crowded brew: food per cell, nitrogen short, acids and regrowth on them, and loss that rises with crowding.

Growth on sugar goes by food per cell (contois-1959) or by nitrogen per cell, whichever is shorter (liebig-1840). Where oxygen is
short (Hill's law of the second order), sugar is fermented at a poor yield to acids; once the sugar is gone, cells grow again on
the acids (diauxie, monod-1949). Each cell's loss rises with the number of cells (logistic death, verhulst-1838). Fungi wake
late. Foam and fouling take the transfer away bit by bit, and some people feed midway. Temperature acts by the cardinal
temperatures of rosso-1993.

Source
------
contois-1959, liebig-1840, monod-1949, verhulst-1838, rosso-1993
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._cardinal import cardinal
from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

CELL_NITROGEN = 0.18  # mg N in a mg of cell carbon: between C:N 5 and 6, from memory
HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.29, spread=0.2),
    "acid_growth": Spread(centre=0.14, spread=0.3),
    "fungi": Spread(centre=0.085, spread=0.25),
    "wakes": Spread(centre=18.0, spread=0.4),
    "per_cell": Spread(centre=0.5, spread=0.45),
    "per_cell_nitrogen": Spread(centre=0.04, spread=0.4),
    "yield": Spread(centre=0.45, spread=0.08, scale="even"),
    "lag": Spread(centre=5.0, spread=0.4),
    "loss": Spread(centre=0.012, spread=0.35),
    "crowding": Spread(centre=0.03, spread=0.35),
    "release": Spread(centre=0.012, spread=0.4),
    "half_oxygen": Spread(centre=0.5, spread=0.3),
    "fouling": Spread(centre=0.008, spread=0.6),
    "start": Spread(centre=0.45, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.6, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "compost_nitrogen": Spread(centre=0.25, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


AT_20 = float(cardinal(np.array([20.0]))[0])


def begin(known: Known, p: Terms) -> Array:
    compost = known.compost_g_per_l
    return np.stack(
        [
            compost * p["start"],
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(len(compost), 0.5),
            known.nitrogen_mg_per_l * p["food"] + compost * p["compost_nitrogen"],
            np.full(len(compost), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, fungi, sugar, slow, acids, nitrogen, oxygen = y
    warm = cardinal(out.degc) / AT_20
    wear = 1.08 ** (out.degc - 20.0)
    air = oxygen**2 / (p["half_oxygen"] ** 2 + oxygen**2)
    ready = 1.0 - np.exp(-((t / p["lag"]) ** 2))
    fed = sugar / (p["per_cell"] * cells + sugar + 1e-9)
    enough = nitrogen / (p["per_cell_nitrogen"] * cells + nitrogen + 1e-9)
    burnt = p["growth"] * warm * ready * np.minimum(fed, enough) * cells
    breathed, fermented = burnt * air, 0.3 * burnt * (1.0 - air)
    regrown = p["acid_growth"] * warm * ready * air * enough * acids / (0.3 * cells + acids + 1e-9) / (1.0 + sugar / 15.0) * cells
    awake = 1.0 / (1.0 + np.exp(-(t - p["wakes"]) / 2.5))
    threads = p["fungi"] * warm * awake * air * slow / (1.5 * fungi + slow + 1e-9) * enough * fungi
    free = p["release"] * warm * slow
    dead = wear * (p["loss"] + p["crowding"] * cells / 150.0) * cells
    dead_fungi = wear * 0.5 * p["loss"] * (1.0 + fungi / 80.0) * fungi
    poor = fermented / 0.12
    respired = (breathed + regrown + threads) * (1.0 / p["yield"] - 1.0) + 0.4 * (dead + dead_fungi) * air
    made[0], lost[0] = breathed + fermented + regrown, dead
    made[1], lost[1] = threads, dead_fungi
    made[2], lost[2] = free, breathed / p["yield"] + poor
    made[3], lost[3] = 0.3 * (dead + dead_fungi), free + threads / p["yield"]
    made[4], lost[4] = 0.7 * (poor - fermented), regrown / p["yield"]
    made[5], lost[5] = CELL_NITROGEN * 0.4 * (dead + dead_fungi), CELL_NITROGEN * (breathed + fermented + regrown + 0.6 * threads)
    kla = out.kla_per_h * np.exp(-p["fouling"] * t) / (1.0 + (cells + fungi) / 1500.0)
    made[6], lost[6] = kla * out.saturation_mg_per_l, kla * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="crowded",
    title="food per cell, nitrogen, acids, crowding",
    states=("cells", "fungi", "sugar", "slow", "acids", "nitrogen", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"feeds": 0.35},
)

"""Two guilds of bacteria, fungi, and grazers that eat both guilds.

A fast guild lives on sugar, a slow one on sugar and polymer; growth is held back by what the cells excrete
(non-competitive inhibition), starts after a lag along a logistic curve in time, and follows an Arrhenius law with a fall in
the heat. Polymer comes free in proportion to itself and to how many cells there are. Grazers take both guilds alike.

Source
------
levenspiel-1980 (inhibition by products), arrhenius-1889, rosenzweig-macarthur-1963
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.3),
    "fast": Spread(centre=0.38, spread=0.25),
    "slow": Spread(centre=0.17, spread=0.25),
    "fungi": Spread(centre=0.13, spread=0.3),
    "yield": Spread(centre=0.5, spread=0.1, scale="even"),
    "ks": Spread(centre=8.0, spread=0.5),
    "kp": Spread(centre=60.0, spread=0.4),
    "lag": Spread(centre=2.5, spread=0.5),
    "decay": Spread(centre=0.014, spread=0.35),
    "hunger": Spread(centre=0.014, spread=0.5),
    "graze": Spread(centre=0.06, spread=0.4),
    "release": Spread(centre=0.05, spread=0.4),
    "inhibit": Spread(centre=700.0, spread=0.5),
    "start": Spread(centre=0.5, spread=0.6),
    "share": Spread(centre=0.67, spread=0.8, scale="share"),
    "start_fungi": Spread(centre=0.35, spread=0.6),
    "start_grazers": Spread(centre=0.015, spread=0.7),
    "compost_sugar": Spread(centre=0.8, spread=0.5),
    "compost_polymer": Spread(centre=4.0, spread=0.5),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    start = known.compost_g_per_l * p["start"]
    return np.stack(
        [
            start * p["share"],
            start * (1.0 - p["share"]),
            known.compost_g_per_l * p["start_fungi"] * 0.5,
            known.compost_g_per_l * p["start_grazers"] * 0.5,
            known.sugar_mg_c_per_l * p["food"] + known.compost_g_per_l * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + known.compost_g_per_l * p["compost_polymer"],
            np.zeros(len(start)),
            np.full(len(start), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    fast, slow, fungi, grazers, sugar, polymer, excreted, oxygen = y
    growth = np.exp(0.075 * (out.degc - 20.0)) / (1.0 + np.exp(0.5 * (out.degc - 38.0)))
    wear = np.exp(0.07 * (out.degc - 20.0))
    air = oxygen / (0.3 + oxygen)
    pace = growth * air / (1.0 + np.exp(-(t - p["lag"]) / 0.8))
    check = 1.0 / (1.0 + excreted / p["inhibit"])
    g1 = p["fast"] * pace * check * sugar / (p["ks"] + sugar) * fast
    both2, both3 = sugar + 0.3 * polymer, sugar + 0.5 * polymer
    g2 = p["slow"] * pace * both2 / (p["kp"] + both2) * slow
    g3 = p["fungi"] * pace * check * both3 / (p["kp"] + both3) * fungi
    split2, split3 = sugar / (both2 + 1e-9), sugar / (both3 + 1e-9)
    dead1 = wear * (p["decay"] + p["hunger"] * p["ks"] / (p["ks"] + sugar)) * fast
    dead2, dead3 = wear * 0.6 * p["decay"] * slow, wear * 0.7 * p["decay"] * fungi
    prey = fast + slow
    fattened = p["graze"] * growth * air * prey / (40.0 + prey) * grazers
    eaten = fattened / 0.35
    free = p["release"] * growth * polymer * (prey + fungi) / (50.0 + prey + fungi)
    used1 = (g1 + split2 * g2 + split3 * g3) / p["yield"]
    used2 = ((1.0 - split2) * g2 + (1.0 - split3) * g3) / p["yield"]
    grown, dead = g1 + g2 + g3, dead1 + dead2 + dead3
    respired = grown * (1.0 / p["yield"] - 1.0) + 0.5 * dead * air + 0.5 * (eaten - fattened)
    made[0], lost[0] = g1, dead1 + eaten * fast / (prey + 1e-9)
    made[1], lost[1] = g2, dead2 + eaten * slow / (prey + 1e-9)
    made[2], lost[2] = g3, dead3
    made[3], lost[3] = fattened, 0.02 * wear * grazers
    made[4], lost[4] = free, used1
    made[5], lost[5] = 0.4 * dead + 0.4 * (eaten - fattened), free + used2
    made[6], lost[6] = 0.15 * grown, 0.0
    made[7] = out.kla_per_h * out.saturation_mg_per_l
    lost[7] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="guilds",
    title="two guilds, eaten",
    states=("fast", "slow", "fungi", "grazers", "sugar", "polymer", "excreted", "oxygen"),
    living=(("fast", "slow"), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
)

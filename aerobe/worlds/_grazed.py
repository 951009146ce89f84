"""A boom of grazers: flagellates that eat single cells, ciliates that eat flagellates, and clumps that nobody eats.

Cells grow by a law of the hyperbolic tangent (jassby-platt-1976). Grazers hunt poorly where prey is thin and well where it
is dense (a sigmoid appetite, real-1977) and boom once prey is dense (rosenzweig-macarthur-1963); part of the cells clumps
the more, the more grazers there are (induced defence, after verschoor-2004). Grazers warm up faster than their prey: two
different factors for ten degrees (vant-hoff-1884).

Source
------
jassby-platt-1976, real-1977, rosenzweig-macarthur-1963, verschoor-2004, vant-hoff-1884
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.28, spread=0.2),
    "fungi": Spread(centre=0.10, spread=0.3),
    "enough_food": Spread(centre=35.0, spread=0.4),
    "yield": Spread(centre=0.47, spread=0.08, scale="even"),
    "lag": Spread(centre=4.0, spread=0.4),
    "hunt": Spread(centre=0.17, spread=0.22),
    "dense": Spread(centre=70.0, spread=0.4),
    "second_hunt": Spread(centre=0.12, spread=0.3),
    "clumping": Spread(centre=0.006, spread=0.5),
    "loss": Spread(centre=0.012, spread=0.35),
    "release": Spread(centre=0.025, spread=0.4),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "start_grazers": Spread(centre=0.012, spread=0.8),
    "start_ciliates": Spread(centre=0.002, spread=0.8),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost, count = known.compost_g_per_l, len(known.compost_g_per_l)
    return np.stack(
        [
            0.95 * compost * p["start"],
            0.05 * compost * p["start"],
            compost * p["start_grazers"],
            compost * p["start_ciliates"],
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(count, 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    single, clumped, flagellates, ciliates, fungi, sugar, slow, oxygen = y
    tens = (out.degc - 20.0) / 10.0
    warm, hunting, wear = 2.0**tens, 2.9**tens, 1.9**tens
    air = np.tanh(oxygen / 0.7)
    fed = np.tanh(sugar / p["enough_food"])
    ready = 1.0 - np.exp(-((t / p["lag"]) ** 1.5))
    pace = p["growth"] * warm * air * ready * fed
    grown, grown_clumped = pace * single, 0.75 * pace * clumped
    clumps = p["clumping"] * flagellates * single
    fattened = p["hunt"] * hunting * air * single**2 / (p["dense"] ** 2 + single**2) * flagellates
    fattened2 = p["second_hunt"] * hunting * air * flagellates**2 / (15.0**2 + flagellates**2) * ciliates
    eaten, eaten2 = fattened / 0.3, fattened2 / 0.35
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * np.tanh(food / 150.0) * t / (t + 10.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    tired = wear * p["loss"] * (1.4 - 0.4 * fed)
    dead = tired * (single + clumped) + 0.6 * wear * p["loss"] * fungi
    spilt = 0.4 * (eaten - fattened + eaten2 - fattened2)
    free = p["release"] * warm * slow
    new = grown + grown_clumped + threads
    respired = new * (1.0 / p["yield"] - 1.0) + 0.5 * dead * air + spilt
    made[0], lost[0] = grown + 0.02 * clumped, tired * single + eaten + clumps
    made[1], lost[1] = grown_clumped + clumps, tired * clumped + 0.02 * clumped
    made[2], lost[2] = fattened, eaten2 + 0.015 * hunting * flagellates
    made[3], lost[3] = fattened2, 0.015 * hunting * ciliates
    made[4], lost[4] = threads, 0.6 * wear * p["loss"] * fungi
    made[5], lost[5] = free, (grown + grown_clumped + (1.0 - from_slow) * threads) / p["yield"]
    made[6], lost[6] = 0.4 * dead + spilt, free + from_slow * threads / p["yield"]
    made[7] = out.kla_per_h * out.saturation_mg_per_l
    lost[7] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="grazed",
    title="a boom of grazers, and clumps",
    states=("single", "clumped", "flagellates", "ciliates", "fungi", "sugar", "slow", "oxygen"),
    living=(("single", "clumped"), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
)

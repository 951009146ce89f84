"""Cells that poison themselves: a product of growth and of upkeep that first slows, then kills.

Much sugar slows growth by itself (andrews-1968). A product comes with growth and with being alive (luedeking-piret-1959); growth
falls to nothing at a limit of product (levenspiel-1980), and cells die with the square of it. Slow oxidation takes the product
away again, so that late survivors may grow a second time. Fungi bear the product better. Temperature acts between cardinal
temperatures (rosso-1993).

Source
------
andrews-1968, luedeking-piret-1959, levenspiel-1980, rosso-1993
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._cardinal import cardinal
from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

BEST, HOTTEST = 30.0, 40.0  # [degC], assumed
AT_20 = float(cardinal(np.array([20.0]), best=BEST, hottest=HOTTEST)[0])
HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.36, spread=0.2),
    "fungi": Spread(centre=0.08, spread=0.25),
    "half_food": Spread(centre=20.0, spread=0.4),
    "much_food": Spread(centre=700.0, spread=0.3),
    "yield": Spread(centre=0.45, spread=0.08, scale="even"),
    "lag": Spread(centre=2.5, spread=0.5),
    "with_growth": Spread(centre=0.25, spread=0.35),
    "with_life": Spread(centre=0.018, spread=0.4),
    "limit": Spread(centre=150.0, spread=0.3),
    "bend": Spread(centre=1.2, spread=0.25),
    "kill": Spread(centre=0.06, spread=0.3),
    "cleared": Spread(centre=0.008, spread=0.4),
    "loss": Spread(centre=0.010, spread=0.35),
    "release": Spread(centre=0.014, spread=0.35),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost, count = known.compost_g_per_l, len(known.compost_g_per_l)
    return np.stack(
        [
            compost * p["start"],
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(count, 0.5),
            np.full(count, 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, fungi, sugar, slow, product, oxygen = y
    warm, wear = cardinal(out.degc, best=BEST, hottest=HOTTEST) / AT_20, 1.07 ** (out.degc - 20.0)
    air = 1.0 - np.exp(-oxygen / 0.4)
    fed = sugar / (p["half_food"] + sugar + sugar**2 / p["much_food"])
    share = np.minimum(product / p["limit"], 1.0)
    ready = 1.0 - np.exp(-((t / p["lag"]) ** 2))
    grown = p["growth"] * warm * ready * fed * air * (1.0 - share) ** p["bend"] * cells
    food = sugar + 0.3 * slow
    threads = p["fungi"] * warm * air * (1.0 - np.exp(-food / 80.0)) * (1.0 - 0.6 * share) * t / (t + 10.0) * fungi
    from_slow = 0.3 * slow / (food + 1e-9)
    excreted = p["with_growth"] * grown + p["with_life"] * wear * cells * (0.3 + 0.7 * fed)
    dead = wear * (p["loss"] + p["kill"] * share**2) * cells
    dead_fungi = wear * (0.5 * p["loss"] + 0.2 * p["kill"] * share**2) * fungi
    free, cleared = p["release"] * warm * slow, p["cleared"] * warm * air * product
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + cleared + 0.4 * (dead + dead_fungi) * air
    made[0], lost[0] = grown, dead
    made[1], lost[1] = threads, dead_fungi
    made[2], lost[2] = free, (grown + (1.0 - from_slow) * threads) / p["yield"] + excreted * (sugar / (sugar + 1.0))
    made[3], lost[3] = 0.4 * (dead + dead_fungi), free + from_slow * threads / p["yield"]
    made[4], lost[4] = excreted, cleared
    made[5] = out.kla_per_h * out.saturation_mg_per_l
    lost[5] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="poisoned",
    title="a product that slows, then kills",
    states=("cells", "fungi", "sugar", "slow", "product", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"molasses": 0.85},
)

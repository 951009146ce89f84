"""Sleepers: most cells of a compost are dormant, wake when there is food and fall asleep when it is gone; tests see the awake.

Waking and falling asleep are switches of the same cells (jones-lennon-2010), so that counts rise without growth and fall
without death. The awake grow by a sigmoid law of the second order (moser-1958) and die at a steady rate. A new lot of the
test is opened during most brews, and its scale differs. Temperature acts as a bell about a best one (lehman-1975).

Source
------
jones-lennon-2010, moser-1958, lehman-1975
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.2, spread=0.2),
    "fungi": Spread(centre=0.10, spread=0.3),
    "half_food": Spread(centre=18.0, spread=0.35),
    "yield": Spread(centre=0.46, spread=0.08, scale="even"),
    "wakes": Spread(centre=0.07, spread=0.35),
    "sleeps": Spread(centre=0.035, spread=0.35),
    "asleep": Spread(centre=0.7, spread=0.5, scale="share"),
    "loss": Spread(centre=0.014, spread=0.35),
    "release": Spread(centre=0.04, spread=0.35),
    "best": Spread(centre=30.0, spread=2.0, scale="even"),
    "start": Spread(centre=0.9, spread=0.5),
    "start_fungi": Spread(centre=0.10, spread=0.6),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost = known.compost_g_per_l
    return np.stack(
        [
            compost * p["start"] * (1.0 - p["asleep"]),
            compost * p["start"] * p["asleep"],
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(len(compost), 8.5),
        ]
    )


def bell(degc: Array, best: Array) -> Array:
    """Growth rate over that at 20 degC, as a bell of twelve degrees about the best (lehman-1975). [-]"""
    return np.asarray(np.exp(0.5 * ((20.0 - best) ** 2 - (degc - best) ** 2) / 12.0**2))


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    awake, asleep, fungi, sugar, slow, oxygen = y
    warm, wear = bell(out.degc, p["best"]), 1.06 ** (out.degc - 20.0)
    air = oxygen**2 / (0.6**2 + oxygen**2)
    fed = sugar**2 / (p["half_food"] ** 2 + sugar**2)
    grown = p["growth"] * warm * air * fed * awake
    woken, slept = p["wakes"] * warm * fed * air * asleep, p["sleeps"] * wear * (1.0 - fed * air) * awake
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * food**2 / (100.0**2 + food**2) * t / (t + 10.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    dead, dead_fungi = wear * p["loss"] * awake, wear * 0.7 * p["loss"] * fungi
    free = p["release"] * warm * slow
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + 0.006 * wear * awake + 0.5 * (dead + dead_fungi) * air
    made[0], lost[0] = grown + woken, slept + dead
    made[1], lost[1] = slept, woken + 0.001 * asleep
    made[2], lost[2] = threads, dead_fungi
    made[3], lost[3] = free, (grown + (1.0 - from_slow) * threads) / p["yield"]
    made[4], lost[4] = 0.4 * (dead + dead_fungi), free + from_slow * threads / p["yield"]
    made[5] = out.kla_per_h * out.saturation_mg_per_l
    lost[5] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="dormant",
    title="sleepers, and tests with new lots",
    states=("awake", "asleep", "fungi", "sugar", "slow", "oxygen"),
    living=(("awake",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    lots=0.25,
)

"""Phage: a wave that lyses the strain that grew best, and a resistant rest that grows again.

Cells grow by a sigmoid law of food (moser-1958). Part of them is open to a phage: infection goes with the numbers of both,
infected cells burst after a delay (levin-1977, with the delay as a first-order stage), and what they hold becomes food.
Phage below a threshold of cells die out; above it they multiply and the open strain collapses within hours. A few cells are
resistant and grow a little slower. Phage are counted here as the hazard of infection that they make [1/h]. Temperature acts
by activation against breakdown (hinshelwood-1946).

Source
------
moser-1958, levin-1977, hinshelwood-1946
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms
from aerobe.worlds._meals import opposed

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.27, spread=0.2),
    "cost": Spread(centre=0.8, spread=0.5, scale="share"),
    "fungi": Spread(centre=0.11, spread=0.3),
    "half_food": Spread(centre=18.0, spread=0.4),
    "power": Spread(centre=1.5, spread=0.15),
    "yield": Spread(centre=0.48, spread=0.08, scale="even"),
    "lag": Spread(centre=3.5, spread=0.5),
    "open": Spread(centre=0.7, spread=0.8, scale="share"),
    "burst": Spread(centre=0.014, spread=0.3),
    "delay": Spread(centre=1.2, spread=0.3),
    "start_phage": Spread(centre=1e-06, spread=1.0),
    "fade": Spread(centre=0.1, spread=0.3),
    "loss": Spread(centre=0.016, spread=0.3),
    "release": Spread(centre=0.025, spread=0.4),
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
            compost * p["start"] * p["open"],
            np.zeros(count),
            compost * p["start"] * (1.0 - p["open"]),
            p["start_phage"],
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(count, 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    open_cells, infected, safe, phage, fungi, sugar, slow, oxygen = y
    warm, wear = opposed(out.degc), 1.07 ** (out.degc - 20.0)
    air = oxygen / (0.25 + oxygen)
    power = sugar ** p["power"]
    fed = power / (p["half_food"] ** p["power"] + power)
    ready = t**3 / (p["lag"] ** 3 + t**3)
    pace = p["growth"] * warm * air * ready * fed
    grown, grown_safe = pace * open_cells, pace * p["cost"] * safe
    caught, burst = phage * open_cells, infected / p["delay"] * warm
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * food / (90.0 + food) * t / (t + 8.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    tired = wear * p["loss"] * (1.5 - 0.5 * fed)
    dead, dead_safe, dead_fungi = tired * open_cells, tired * safe, 0.6 * wear * p["loss"] * fungi
    free = p["release"] * warm * slow
    new = grown + grown_safe + threads
    respired = new * (1.0 / p["yield"] - 1.0) + 0.5 * (dead + dead_safe + dead_fungi) * air
    made[0], lost[0] = grown, caught + dead
    made[1], lost[1] = caught, burst
    made[2], lost[2] = grown_safe, dead_safe
    made[3], lost[3] = p["burst"] * burst, (p["fade"] + 0.002 * (open_cells + safe)) * phage
    made[4], lost[4] = threads, dead_fungi
    made[5], lost[5] = free + 0.3 * burst, (grown + grown_safe + (1.0 - from_slow) * threads) / p["yield"]
    made[6], lost[6] = 0.5 * burst + 0.4 * (dead + dead_safe + dead_fungi), free + from_slow * threads / p["yield"]
    made[7] = out.kla_per_h * out.saturation_mg_per_l
    lost[7] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="lysed",
    title="phage and a resistant rest",
    states=("open", "infected", "safe", "phage", "fungi", "sugar", "slow", "oxygen"),
    living=(("open", "infected", "safe"), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
)

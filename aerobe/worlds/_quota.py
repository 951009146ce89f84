"""Nitrogen kept in the cell: growth follows what cells have stored, not what is around them.

Cells take up nitrogen while there is any, up to a fill, and grow by the quota they hold (droop-1968); carbon they cannot
use for want of nitrogen is burnt all the same (overflow, russell-2007). Once the carbon is gone they burn themselves, the
fuller ones the slower. The nitrogen of the dead returns. Temperature acts by an activation with a reversible loss in the
heat (schoolfield-1981).

Source
------
droop-1968, russell-2007, schoolfield-1981
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

LEAST, FILL = 0.09, 0.27  # nitrogen over carbon of a starved and a full cell [mg/mg], assumed
HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.45, spread=0.2),
    "fungi": Spread(centre=0.09, spread=0.25),
    "uptake": Spread(centre=0.06, spread=0.4),
    "half_nitrogen": Spread(centre=1.5, spread=0.5),
    "overflow": Spread(centre=0.25, spread=0.4),
    "yield": Spread(centre=0.48, spread=0.08, scale="even"),
    "lag": Spread(centre=3.0, spread=0.5),
    "burn": Spread(centre=0.03, spread=0.3),
    "loss": Spread(centre=0.008, spread=0.35),
    "release": Spread(centre=0.015, spread=0.4),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.10, spread=0.6),
    "start_quota": Spread(centre=0.15, spread=0.15),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "compost_nitrogen": Spread(centre=0.4, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def schoolfield(degc: Array, up: float = 58.0, down: float = 300.0, half_degc: float = 36.0) -> Array:
    """Rate over that at 20 degC: activation [kJ/mol] and a reversible loss that halves it at a temperature. [-]

    Source
    ------
    schoolfield-1981
    """
    gas, kelvin, half = 8.314e-3, degc + 273.15, half_degc + 273.15
    lost = np.exp(down / gas * (1.0 / half - 1.0 / kelvin))
    return np.asarray(kelvin / 293.15 * np.exp(up / gas * (1.0 / 293.15 - 1.0 / kelvin)) / (1.0 + lost))


def begin(known: Known, p: Terms) -> Array:
    compost, count = known.compost_g_per_l, len(known.compost_g_per_l)
    return np.stack(
        [
            compost * p["start"],
            compost * p["start"] * p["start_quota"],
            compost * p["start_fungi"],
            known.nitrogen_mg_per_l * p["food"] + compost * p["compost_nitrogen"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(count, 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, inside, fungi, around, sugar, slow, oxygen = y
    warm, wear = schoolfield(out.degc), 1.08 ** (out.degc - 20.0)
    air = oxygen**1.5 / (0.2 + oxygen**1.5)
    quota = np.clip(inside / (cells + 1e-9), LEAST, FILL)
    carbon = np.tanh(sugar / 12.0)
    ready = 1.0 / (1.0 + np.exp(-(t - p["lag"]) / 0.7))
    free_to_grow = 1.0 - LEAST / quota
    grown = p["growth"] * warm * ready * air * carbon * free_to_grow * cells
    wasted = p["overflow"] * p["growth"] * warm * ready * air * carbon * (1.0 - free_to_grow) * cells
    taken = p["uptake"] * warm * air * ready * around / (p["half_nitrogen"] + around) * (FILL - quota) / (FILL - LEAST) * cells
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * np.tanh(food / 150.0) * t / (t + 12.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    burnt = wear * p["burn"] * (1.0 - carbon) * (1.3 - free_to_grow) * cells
    dead, dead_fungi = wear * p["loss"] * cells, wear * 0.7 * p["loss"] * fungi
    free = p["release"] * warm * slow
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + wasted + burnt * air
    made[0], lost[0] = grown, burnt + dead
    made[1], lost[1] = taken, quota * (burnt + dead)
    made[2], lost[2] = threads, dead_fungi
    made[3], lost[3] = (
        0.8 * quota * (burnt + dead) + 0.002 * slow * p["release"],
        taken + 0.05 * threads * around / (around + 1.0),
    )
    made[4], lost[4] = free, (grown + (1.0 - from_slow) * threads) / p["yield"] + wasted
    made[5], lost[5] = 0.5 * (dead + dead_fungi), free + from_slow * threads / p["yield"]
    made[6] = out.kla_per_h * out.saturation_mg_per_l
    lost[6] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="quota",
    title="nitrogen kept in the cell",
    states=("cells", "inside", "fungi", "around", "sugar", "slow", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"feeds": 0.15},
)

"""Cold nights: a brew outdoors whose warmth swings and sinks, with growth by the share of food that is left.

The pace of growth follows the share of the food that is left, to a power (grau-1975), so that the end of growth is long and
slow. Losses are those of a population that ages: the hazard rises with the mean age of the cells (gompertz-1825), and
growth makes cells younger. Temperature acts by an activation with a reversible loss in the heat (schoolfield-1981), a sharp
drop of it sets the cells back (shock, after ng-1962), and the water follows days of up to eight degrees of swing and a
cooling week.

Source
------
grau-1975, gompertz-1825, schoolfield-1981, ng-1962
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms
from aerobe.worlds._quota import schoolfield

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.30, spread=0.22),
    "power": Spread(centre=0.8, spread=0.2),
    "fungi": Spread(centre=0.10, spread=0.3),
    "yield": Spread(centre=0.47, spread=0.08, scale="even"),
    "lag": Spread(centre=3.0, spread=0.5),
    "hazard": Spread(centre=0.006, spread=0.35),
    "ageing": Spread(centre=0.10, spread=0.3),
    "shock": Spread(centre=0.10, spread=0.5),
    "release": Spread(centre=0.02, spread=0.4),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.8, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost = known.compost_g_per_l
    sugar = known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"]
    return np.stack(
        [
            compost * p["start"],
            np.full(len(compost), 4.0),
            known.temperature(0.0),
            compost * p["start_fungi"],
            sugar,
            sugar,  # what was there at the start
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(len(compost), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, age, used_to, fungi, sugar, whole, slow, oxygen = y
    warm, wear = schoolfield(out.degc), schoolfield(out.degc, up=50.0, down=200.0, half_degc=45.0)
    air = oxygen / (0.3 + oxygen)
    # Cells are used to the temperature of the last hours; below it they stall.
    stalled = np.exp(-p["shock"] * np.maximum(used_to - out.degc, 0.0))
    left = np.minimum(sugar / (whole + 1e-9), 1.0)
    ready = t**2 / (p["lag"] ** 2 + t**2)
    pace = p["growth"] * warm * ready * air * stalled * left ** p["power"]
    grown = pace * cells
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * stalled * food / (food + 120.0) * t / (t + 10.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    dead = p["hazard"] * wear * np.exp(np.minimum(p["ageing"] * age, 3.0)) * cells
    dead_fungi = 0.012 * wear * fungi
    free = p["release"] * warm * slow
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + 0.5 * (dead + dead_fungi) * air
    made[0], lost[0] = grown, dead
    made[1], lost[1] = 1.0, pace * age  # growth adds cells of age nought
    made[2], lost[2] = 0.25 * out.degc, 0.25 * used_to
    made[3], lost[3] = threads, dead_fungi
    made[4], lost[4] = free, (grown + (1.0 - from_slow) * threads) / p["yield"]
    made[5], lost[5] = 0.0, 0.0
    made[6], lost[6] = 0.4 * (dead + dead_fungi), free + from_slow * threads / p["yield"]
    made[7] = out.kla_per_h * out.saturation_mg_per_l
    lost[7] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="nights",
    title="cold nights and ageing cells",
    states=("cells", "age", "used_to", "fungi", "sugar", "whole", "slow", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"swing": 8.0, "cooling": 2.0, "coldest": 14.0, "warmest": 26.0},
)

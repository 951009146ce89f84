"""A brew ruled by its air: diffusers that foul, foam, pumps that stop unseen, and cells hurt by lack of oxygen.

Food limits growth by a straight line up to a limit (blackman-1905). Slime on the diffuser takes transfer away as it grows,
up to a share; foam builds on what is excreted and gathers the faster the harder the air is blown. Without oxygen cells
become injured; the injured mend while they breathe and die while they do not (two-stage inactivation, cerf-1977). In one
brew of four the air stops once for an hour or more, and nobody writes it down. Temperature acts by a fixed factor for ten
degrees (vant-hoff-1884).

Source
------
blackman-1905, cerf-1977, vant-hoff-1884
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=0.7, spread=0.4),
    "growth": Spread(centre=0.25, spread=0.2),
    "fungi": Spread(centre=0.13, spread=0.3),
    "enough_food": Spread(centre=45.0, spread=0.4),
    "yield": Spread(centre=0.47, spread=0.08, scale="even"),
    "lag": Spread(centre=3.0, spread=0.5),
    "loss": Spread(centre=0.02, spread=0.35),
    "hurt": Spread(centre=0.10, spread=0.4),
    "release": Spread(centre=0.025, spread=0.4),
    "slime": Spread(centre=0.10, spread=0.5),
    "fouled": Spread(centre=0.4, spread=0.6, scale="share"),
    "foam": Spread(centre=0.02, spread=0.6),
    "start": Spread(centre=0.45, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
    "stops": Spread(centre=0.0, spread=1.0, scale="even"),  # above 0.5 the air stops once
    "stop_at": Spread(centre=24.0, spread=21.0, scale="even"),
    "stop_for": Spread(centre=2.0, spread=0.6),
}


def begin(known: Known, p: Terms) -> Array:
    compost, count = known.compost_g_per_l, len(known.compost_g_per_l)
    return np.stack(
        [
            compost * p["start"],
            np.zeros(count),
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.zeros(count),
            np.full(count, 0.02),
            np.full(count, 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, injured, fungi, sugar, slow, foam, slime, oxygen = y
    warm, wear = 2.2 ** ((out.degc - 20.0) / 10.0), 1.8 ** ((out.degc - 20.0) / 10.0)
    air = np.minimum(oxygen / 1.2, 1.0)
    fed = np.minimum(sugar / p["enough_food"], 1.0)
    ready = t**2 / (p["lag"] ** 2 + t**2)
    grown = p["growth"] * warm * ready * fed * air * cells
    threads = p["fungi"] * warm * air * np.minimum((sugar + 0.4 * slow) / 120.0, 1.0) * t / (t + 8.0) * fungi
    from_slow = 0.4 * slow / (sugar + 0.4 * slow + 1e-9)
    hurt, mended = p["hurt"] * (1.0 - air) ** 2 * cells, 0.25 * air * injured
    died = 0.12 * (1.0 - air) * injured
    dead, dead_fungi = p["loss"] * wear * (1.6 - 0.6 * fed) * cells, 0.6 * p["loss"] * wear * fungi
    fallen = dead + dead_fungi + died
    free = p["release"] * warm * slow
    respired = (grown + threads) * (1.0 / p["yield"] - 1.0) + 0.5 * fallen * air
    running = np.where((p["stops"] > 0.5) & (t >= p["stop_at"]) & (t < p["stop_at"] + p["stop_for"]), 0.02, 1.0)
    # Foam lifts bubbles out of the water; slime closes pores.
    kla = out.kla_per_h * running * (1.0 - p["fouled"] * slime) / (1.0 + foam)
    made[0], lost[0] = grown + mended, dead + hurt
    made[1], lost[1] = hurt, mended + died
    made[2], lost[2] = threads, dead_fungi
    made[3], lost[3] = free, (grown + (1.0 - from_slow) * threads) / p["yield"]
    made[4], lost[4] = 0.4 * fallen, free + from_slow * threads / p["yield"]
    made[5], lost[5] = p["foam"] * (grown + threads) / 10.0, 0.04 * foam
    made[6], lost[6] = p["slime"] * warm * slime, p["slime"] * warm * slime**2
    made[7], lost[7] = kla * out.saturation_mg_per_l, kla * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="stuffy",
    title="fouled diffusers, foam, unseen pump stops",
    states=("cells", "injured", "fungi", "sugar", "slow", "foam", "slime", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
)

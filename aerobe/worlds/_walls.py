"""Walls: cells settle on walls and particles, and come off again; only what floats is harvested and tested.

Growth in flocs goes with their surface, upkeep with their mass (puetter-1920), so that growth bends before the food is
gone. Cells settle while there is room on the walls, more of it in small vessels, and come off when the film is thick,
hungry or short of air (topiwala-hamer-1971). Some people feed midway. Temperature acts by one exponential (eppley-1972).

Source
------
puetter-1920, topiwala-hamer-1971, eppley-1972
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "build": Spread(centre=0.55, spread=0.2),
    "upkeep": Spread(centre=0.02, spread=0.3),
    "fungi": Spread(centre=0.10, spread=0.3),
    "half_food": Spread(centre=20.0, spread=0.4),
    "yield": Spread(centre=0.47, spread=0.08, scale="even"),
    "lag": Spread(centre=4.0, spread=0.4),
    "settle": Spread(centre=0.02, spread=0.4),
    "room": Spread(centre=70.0, spread=0.4),
    "come_off": Spread(centre=0.025, spread=0.5),
    "release": Spread(centre=0.035, spread=0.35),
    "start": Spread(centre=0.35, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.7, spread=0.5),
    "compost_slow": Spread(centre=4.0, spread=0.4),
    "food": Spread(centre=1.0, spread=0.2),
}


def begin(known: Known, p: Terms) -> Array:
    compost = known.compost_g_per_l
    return np.stack(
        [
            compost * p["start"],
            np.full(len(compost), 1.0),
            # Room on the walls for each litre falls with the cube root of the volume.
            p["room"] * (20.0 / known.volume_l) ** (1.0 / 3.0),
            compost * p["start_fungi"],
            known.sugar_mg_c_per_l * p["food"] + compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            np.full(len(compost), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    free_cells, film, room, fungi, sugar, slow, oxygen = y
    warm = 1.066 ** (out.degc - 20.0)
    air = 1.0 - np.exp(-oxygen / 0.5)
    fed = 1.0 - 1.0 / (1.0 + sugar / p["half_food"]) ** 1.5
    ready = 1.0 - np.exp(-((t / p["lag"]) ** 2))
    pace = p["build"] * warm * air * ready * fed
    # The surface of flocs of all sizes: the power 2/3, in units of 8 mg C/L.
    grown = pace * 8.0 * np.cbrt((free_cells / 8.0) ** 2) * np.minimum(1.0, np.cbrt(free_cells / 8.0))
    grown_film = 0.4 * pace * film * np.maximum(1.0 - film / (room + 1e-9), 0.0)
    settled = p["settle"] * warm * np.maximum(1.0 - film / (room + 1e-9), 0.0) * free_cells
    off = p["come_off"] * (0.3 + (1.0 - fed * air) + film / (room + 1e-9)) * film
    worn = p["upkeep"] * warm
    food = sugar + 0.4 * slow
    threads = p["fungi"] * warm * air * (1.0 - np.exp(-food / 130.0)) * t / (t + 10.0) * fungi
    from_slow = 0.4 * slow / (food + 1e-9)
    dead = worn * (free_cells + 0.6 * film + 0.4 * fungi)
    freed = p["release"] * warm * slow
    new = grown + grown_film + threads
    respired = new * (1.0 / p["yield"] - 1.0) + 0.6 * dead * air
    made[0], lost[0] = grown + 0.6 * off, settled + worn * free_cells
    made[1], lost[1] = grown_film + settled, off + 0.6 * worn * film
    made[2], lost[2] = 0.0, 0.0
    made[3], lost[3] = threads, 0.4 * worn * fungi
    made[4], lost[4] = freed, (grown + grown_film + (1.0 - from_slow) * threads) / p["yield"]
    made[5], lost[5] = 0.3 * dead + 0.4 * off, freed + from_slow * threads / p["yield"]
    made[6] = out.kla_per_h * out.saturation_mg_per_l
    lost[6] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="walls",
    title="film on the walls, flocs",
    states=("free", "film", "room", "fungi", "sugar", "slow", "oxygen"),
    living=(("free",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"feeds": 0.2},
)

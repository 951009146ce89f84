"""Two meals: cells that choose, make the enzymes for each food anew, and live on a store between meals.

Uptake is held back by diffusion to the cell (the quadratic law of powell-1967). Which food is eaten follows the matching law of
cybernetic models (kompala-1986): enzymes for each are made in proportion to what it would yield and used in proportion to
the best, so that growth pauses between foods. Part of what is eaten goes to a store; upkeep is paid from the store, and only
cells whose store runs low die. Many people feed a second time. Temperature acts by two opposed Arrhenius terms
(hinshelwood-1946).

Source
------
powell-1967, kompala-1986, hinshelwood-1946
"""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import OXYGEN_PER_CARBON, Array, Known, Law, Outside, Spread, Terms

GAS = 8.314e-3  # [kJ/mol/K]
UP, DOWN, EVEN_DEGC = 55.0, 230.0, 37.0  # activation, breakdown [kJ/mol] and where breakdown halves the rate [degC]; assumed
HIDDEN = {
    "transfer": Spread(centre=1.0, spread=0.35),
    "growth": Spread(centre=0.42, spread=0.22),
    "second": Spread(centre=0.22, spread=0.3),
    "fungi": Spread(centre=0.12, spread=0.3),
    "half_food": Spread(centre=3.0, spread=0.4),
    "diffusion": Spread(centre=25.0, spread=0.5),
    "enzyme": Spread(centre=0.35, spread=0.35),
    "yield": Spread(centre=0.5, spread=0.08, scale="even"),
    "upkeep": Spread(centre=0.014, spread=0.3),
    "store": Spread(centre=0.25, spread=0.3),
    "death": Spread(centre=0.07, spread=0.35),
    "release": Spread(centre=0.02, spread=0.4),
    "start": Spread(centre=0.4, spread=0.5),
    "start_fungi": Spread(centre=0.12, spread=0.6),
    "ready": Spread(centre=0.12, spread=0.6),
    "compost_sugar": Spread(centre=0.6, spread=0.5),
    "compost_slow": Spread(centre=3.5, spread=0.4),
    "protein": Spread(centre=0.35, spread=0.5, scale="share"),
    "food": Spread(centre=1.0, spread=0.2),
}


def opposed(degc: Array) -> Array:
    """Rate over that at 20 degC: activation against breakdown (hinshelwood-1946). [-]"""

    def raw(c: Array) -> Array:
        kelvin, even = c + 273.15, EVEN_DEGC + 273.15
        breakdown = np.exp(DOWN / GAS * (1.0 / even - 1.0 / kelvin))
        return np.asarray(np.exp(UP / GAS * (1.0 / 293.15 - 1.0 / kelvin)) / (1.0 + breakdown))

    return raw(degc) / raw(np.array(20.0))


def held_back(food: Array, half: Array | float, diffusion: Array) -> Array:
    """Uptake over its most where diffusion to the cell holds it back (powell-1967). [-]"""
    total = half + diffusion + food
    return np.asarray((total - np.sqrt(np.maximum(total**2 - 4.0 * diffusion * food, 0.0))) / (2.0 * diffusion))


def begin(known: Known, p: Terms) -> Array:
    compost, food = known.compost_g_per_l, known.sugar_mg_c_per_l * p["food"]
    return np.stack(
        [
            compost * p["start"],
            compost * p["start_fungi"],
            food * (1.0 - p["protein"]) + compost * p["compost_sugar"],
            food * p["protein"] + 0.3 * compost * p["compost_sugar"],
            known.polymer_mg_c_per_l * p["food"] + compost * p["compost_slow"],
            p["ready"],
            0.5 * p["ready"],
            0.1 * compost * p["start"],
            np.full(len(compost), 8.5),
        ]
    )


def rates(t: float, y: Array, p: Terms, out: Outside, made: Array, lost: Array) -> None:
    cells, fungi, sugar, other, slow, key1, key2, store, oxygen = y
    warm = opposed(out.degc)
    wear = np.exp(50.0 / GAS * (1.0 / 293.15 - 1.0 / (out.degc + 273.15)))
    air = 1.0 - np.exp(-oxygen / 0.35)
    want1 = p["growth"] * held_back(sugar, p["half_food"], p["diffusion"])
    want2 = p["second"] * held_back(other, 2.0 * p["half_food"], p["diffusion"])
    most, both = np.maximum(want1, want2) + 1e-9, want1 + want2 + 1e-9
    took1 = warm * air * key1 * want1 * want1 / most * cells
    took2 = warm * air * key2 * want2 * want2 / most * cells
    stored = 0.12 * (took1 + took2)
    full = store / (store + p["store"] * 0.3 * (cells + 1e-9))
    upkeep = p["upkeep"] * wear * cells
    dead = wear * p["death"] * (1.0 - full) ** 2 * cells
    threads = p["fungi"] * warm * air * held_back(0.5 * slow + other, 20.0, p["diffusion"]) * (t / (t + 12.0)) * fungi
    eaten = 0.5 * slow / (0.5 * slow + other + 1e-9)
    dead_fungi = 0.011 * wear * fungi
    free = p["release"] * warm * slow
    grown = took1 + took2 - stored
    respired = (took1 + took2 + threads) * (1.0 / p["yield"] - 1.0) + upkeep * full * air + 0.4 * (dead + dead_fungi) * air
    made[0], lost[0] = grown, dead
    made[1], lost[1] = threads, dead_fungi
    made[2], lost[2] = 0.3 * free, took1 / p["yield"]
    made[3], lost[3] = 0.7 * free, (took2 + (1.0 - eaten) * threads) / p["yield"]
    made[4], lost[4] = 0.3 * (dead + dead_fungi), free + eaten * threads / p["yield"]
    made[5], lost[5] = p["enzyme"] * warm * want1 / both, p["enzyme"] * key1
    made[6], lost[6] = p["enzyme"] * warm * want2 / both, p["enzyme"] * key2
    made[7], lost[7] = stored, upkeep * full + dead * store / (cells + 1e-9)
    made[8] = out.kla_per_h * out.saturation_mg_per_l
    lost[8] = out.kla_per_h * oxygen + OXYGEN_PER_CARBON * respired


LAW = Law(
    key="meals",
    title="two foods in turn, second feeds",
    states=("cells", "fungi", "sugar", "other", "slow", "key1", "key2", "store", "oxygen"),
    living=(("cells",), ("fungi",)),
    sugar="sugar",
    hidden=HIDDEN,
    begin=begin,
    rates=rates,
    habits={"feeds": 0.4},
)

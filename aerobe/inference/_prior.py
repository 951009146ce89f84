"""What is believed of a brew before any reading: recipe and vessel become a distribution over model parameters.

Every quantity has a standard normal score z; `PRIOR` says how a score becomes a value. The scores of one brew are
correlated with those of the person's earlier brews (see `_pooling`), never with each other before data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._unknowns import widenings
from aerobe.kinetics import PARAMETERS, STATES
from aerobe.oxygen import FOODS, saturation_mg_per_l, vessel_kla
from aerobe.records import Recipe, Vessel

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One quantity of the prior: value = centre * exp(spread z), expit(logit(centre) + spread z) or centre + spread z."""

    name: str
    centre: float
    spread: float
    scale: str  # "log", "logit" or "linear"
    meaning: str
    sources: tuple[str, ...]

    def value(self, z: Array) -> Array:
        """Values for scores, same shape."""
        if self.scale == "log":
            return np.asarray(self.centre * np.exp(self.spread * z))
        if self.scale == "logit":
            return np.asarray(1.0 / (1.0 + (1.0 / self.centre - 1.0) * np.exp(-self.spread * z)))
        return np.asarray(self.centre + self.spread * z)


# Centres and spreads are ours; the sources name where their order of size comes from. A spread of 0.7 on the log scale
# means that half of all brews lie within a factor 1.6 of the centre.
PRIOR: tuple[Term, ...] = (
    Term(
        name="bacteria_mg_c_per_g_compost",
        centre=0.45,
        spread=0.6,
        scale="log",
        meaning="living bacteria that come off wet compost [mg C/g]",
        sources=("trade-practice",),
    ),
    Term(
        name="fungi_to_bacteria",
        centre=0.35,
        spread=0.6,
        scale="log",
        meaning="fungal over bacterial biomass carbon at the start [-]",
        sources=("trade-practice",),
    ),
    Term(
        name="bacteria_growth_per_h",
        centre=0.27,
        spread=0.26,
        scale="log",
        meaning="largest specific growth rate of bacteria at 20 degC [1/h]",
        sources=("henze-2000", "ross-2003"),
    ),
    Term(
        name="fungi_growth_per_h",
        centre=0.18,
        spread=0.5,
        scale="log",
        meaning="largest specific growth rate of fungi at 20 degC [1/h]",
        sources=("trade-practice",),
    ),
    Term(
        name="yield_fraction",
        centre=0.5,
        spread=0.26,
        scale="logit",
        meaning="biomass carbon made per food carbon [-]",
        sources=("cue-synthesis-2019", "henze-2000"),
    ),
    Term(
        name="half_food_mg_c_per_l",
        centre=10.0,
        spread=0.52,
        scale="log",
        meaning="food at half growth [mg C/L]",
        sources=("henze-2000",),
    ),
    Term(
        name="compost_food_mg_c_per_g",
        centre=0.7,
        spread=0.52,
        scale="log",
        meaning="readily used food that comes off wet compost [mg C/g]",
        sources=("trade-practice",),
    ),
    Term(
        name="compost_slow_mg_c_per_g",
        centre=4.0,
        spread=0.52,
        scale="log",
        meaning="slowly released food that comes off wet compost [mg C/g]",
        sources=("trade-practice",),
    ),
    Term(
        name="food_factor",
        centre=1.0,
        spread=0.22,
        scale="log",
        meaning="readily used food in what was added, over the library's middle value [-]",
        sources=("trade-practice",),
    ),
    Term(
        name="release_per_h",
        centre=0.06,
        spread=0.45,
        scale="log",
        meaning="largest release of slow food per biomass [1/h]",
        sources=("henze-2000",),
    ),
    Term(
        name="kla_factor",
        centre=1.0,
        spread=1.0,
        scale="log",
        meaning="oxygen transfer over the first guess or the measured value [-]; spread from the vessel",
        sources=("asce-ewri-2-06",),
    ),
    Term(
        name="half_oxygen_mg_per_l",
        centre=0.2,
        spread=0.38,
        scale="log",
        meaning="oxygen at half growth [mg/L]",
        sources=("henze-2000",),
    ),
    Term(
        name="lag_work",
        centre=1.0,
        spread=0.52,
        scale="log",
        meaning="growth rate times lag [-]",
        sources=("baranyi-roberts-1994",),
    ),
    Term(
        name="decay_per_h",
        centre=0.014,
        spread=0.38,
        scale="log",
        meaning="decay while food lasts at 20 degC [1/h]",
        sources=("henze-2000",),
    ),
    Term(
        name="starvation_per_h",
        centre=0.02,
        spread=0.6,
        scale="log",
        meaning="what decay gains when food is gone, at 20 degC [1/h]",
        sources=("pirt-1982", "eemb-2021"),
    ),
    Term(
        name="grazers_to_bacteria",
        centre=0.02,
        spread=0.6,
        scale="log",
        meaning="grazers over bacteria at the start, as carbon [-]",
        sources=("trade-practice",),
    ),
    Term(
        name="grazer_growth_per_h",
        centre=0.08,
        spread=0.38,
        scale="log",
        meaning="largest specific growth rate of grazers at 20 degC [1/h]",
        sources=("fenchel-1982",),
    ),
    Term(
        name="growth_minimum_degc",
        centre=-7.0,
        spread=5.0,
        scale="linear",
        meaning="notional minimum temperature of growth [degC]",
        sources=("ratkowsky-1983", "henze-2000"),
    ),
)
NAMES = tuple(term.name for term in PRIOR)
N_TERMS = len(PRIOR)
_INDEX = {name: place for place, name in enumerate(NAMES)}
_KLA = _INDEX["kla_factor"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What recipe and vessel fix before any score is drawn."""

    compost_g_per_l: float
    food_mg_c_per_l: float  # readily used, added at the start
    slow_mg_c_per_l: float  # slowly released, added at the start
    later_feeds: tuple[tuple[float, float, float], ...]  # (time h, readily mg C/L, slow mg C/L)
    kla_per_h: float
    kla_log_sd: float
    altitude_m: float
    nitrogen_mg_per_l: float = 0.0  # of the food added at the start
    later_nitrogen: tuple[float, ...] = ()  # the same of each of the later feeds [mg N/L]
    widened: tuple[tuple[str, float], ...] = ()  # terms that a guess makes less sure, and by how much on the log scale [-]

    def stretched(self, z: Array) -> Array:
        """Scores as the table of terms takes them, shape (draws, terms): longer where something was guessed."""
        if not self.widened:
            return z
        out = np.array(z)
        for name, more in self.widened:
            place = _INDEX[name]
            out[:, place] *= float(np.hypot(1.0, more / PRIOR[place].spread))
        return out

    def as_the_table_takes(self, z: Array) -> Array:
        """The same with the score of transfer, whose spread is the vessel's own."""
        out = np.array(self.stretched(z))
        out[:, _KLA] *= self.kla_log_sd / PRIOR[_KLA].spread
        return out


def basis_of(recipe: Recipe, vessel: Vessel, *, temperature_degc: float = 20.0, temperature_guessed: bool = False) -> Basis:
    """Carbon of the recipe and transfer of the vessel, from the food library and the room of oxygen.

    A temperature that nobody measured [degC] widens the rates, as guessed amounts widen the start.
    """
    now_food = now_slow = now_nitrogen = 0.0
    later: dict[float, tuple[float, float, float]] = {}
    for dose in recipe.foods:
        food = FOODS.find(dose.food)
        readily = 1000.0 * dose.g_per_l * food.carbon.mid * food.readily.mid
        slow = 1000.0 * dose.g_per_l * food.carbon.mid * food.slow.mid
        nitrogen = 1000.0 * dose.g_per_l * food.nitrogen.mid
        if dose.at_h <= 0.0:
            now_food, now_slow, now_nitrogen = now_food + readily, now_slow + slow, now_nitrogen + nitrogen
        else:
            before = later.get(dose.at_h, (0.0, 0.0, 0.0))
            later[dose.at_h] = (before[0] + readily, before[1] + slow, before[2] + nitrogen)
    kla, log_sd = vessel_kla(vessel)
    # Even a measured kLa moves with foam, fouling and what is dissolved (alpha factor, asce-ewri-2-06).
    return Basis(
        compost_g_per_l=recipe.compost_g_per_l,
        food_mg_c_per_l=now_food,
        slow_mg_c_per_l=now_slow,
        later_feeds=tuple((at, *later[at][:2]) for at in sorted(later)),
        kla_per_h=kla,
        kla_log_sd=float(np.hypot(log_sd, 0.2)),
        altitude_m=vessel.altitude_m,
        nitrogen_mg_per_l=now_nitrogen,
        later_nitrogen=tuple(later[at][2] for at in sorted(later)),
        widened=tuple(
            sorted(widenings(recipe, temperature_degc=temperature_degc, temperature_guessed=temperature_guessed).items())
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What the solver needs for many draws."""

    start: Array  # (draws, 7)
    parameters: Array  # (draws, 10)
    growth_minimum_degc: Array  # (draws,)
    food_scale: Array  # (draws,)


def decode(z: Array, basis: Basis, start_temperature_degc: float) -> Inputs:
    """What the solver takes, for scores.

    Parameters
    ----------
    z
        Standard scores of the prior's terms, shape (draws, terms). [-]
    basis
        What the recipe and the vessel say before any reading.
    start_temperature_degc
        Of the water when the brew begins, at which it is full of oxygen. [degC]
    """
    stretched = basis.stretched(z)
    theta = {term.name: term.value(stretched[:, place]) for place, term in enumerate(PRIOR)}
    # The spread of transfer is the vessel's own, not the table's.
    kla = basis.kla_per_h * np.exp(basis.kla_log_sd * z[:, _KLA])
    # No brew is sterile: tap water alone carries about this much.
    bacteria = theta["bacteria_mg_c_per_g_compost"] * basis.compost_g_per_l + 1e-3
    fungi = theta["fungi_to_bacteria"] * bacteria
    start = np.empty((len(z), len(STATES)))
    start[:, 0] = bacteria
    start[:, 1] = fungi
    start[:, 2] = theta["grazers_to_bacteria"] * bacteria
    start[:, 3] = theta["compost_food_mg_c_per_g"] * basis.compost_g_per_l + theta["food_factor"] * basis.food_mg_c_per_l
    start[:, 4] = theta["compost_slow_mg_c_per_g"] * basis.compost_g_per_l + basis.slow_mg_c_per_l
    start[:, 5] = saturation_mg_per_l(start_temperature_degc, altitude_m=basis.altitude_m)
    start[:, 6] = np.exp(-theta["lag_work"])
    parameters = np.stack([kla if name == "kla_per_h" else theta[name] for name in PARAMETERS], axis=1)
    return Inputs(
        start=start,
        parameters=parameters,
        growth_minimum_degc=theta["growth_minimum_degc"],
        food_scale=theta["food_factor"],
    )

"""What a world of brews is made of: what a person knows of a brew, what is hidden, and the law that the brew follows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]
Terms = Mapping[str, Array]

NIGHT_H = 3.5  # half width of a cold night, assumed [h]
OXYGEN_PER_CARBON = 32.0 / 12.0  # one O2 for each carbon respired (stoichiometry)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How a hidden term differs between brews, by a standard normal score z.

    "log": centre exp(spread z). "share": the logit of centre moved by spread z. "even": even between centre - spread and
    centre + spread.
    """

    centre: float
    spread: float
    scale: str = "log"

    def value(self, z: Array) -> Array:
        """The term for scores, same shape."""
        if self.scale == "log":
            return np.asarray(self.centre * np.exp(self.spread * z))
        if self.scale == "share":
            return np.asarray(1.0 / (1.0 + (1.0 / self.centre - 1.0) * np.exp(-self.spread * z)))
        return np.asarray(self.centre + self.spread * (2.0 * ndtr(z) - 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a person knows of brews when they begin, and the weather that they see; every array has shape (brews,).

    Parameters
    ----------
    compost_g_per_l, molasses_g_per_l, kelp_g_per_l, fish_g_per_l
        As put in. [g/L]
    volume_l, depth_m, air_l_per_min
        The vessel. [L, m, L/min]
    temperature_degc
        Expected water temperature. [degC]
    swing_degc, warmest_h
        The water is so much warmer than expected at this hour, and so much colder twelve hours later. [degC, h]
    cooling_degc_per_day
        By how much the water cools each day. [degC/d]
    feed_at_h, feed_g_per_l
        A second feed of molasses midway; nan and 0 where there is none. [h, g/L]
    pump_off_h, pump_on_h
        The air stops between these hours; nan where it never does. [h]
    cold_at_h, cold_by_degc
        A cold night about this hour, by so much at its coldest; nan and 0 where there is none. [h, degC]
    """

    compost_g_per_l: Array
    molasses_g_per_l: Array
    kelp_g_per_l: Array
    fish_g_per_l: Array
    volume_l: Array
    depth_m: Array
    air_l_per_min: Array
    temperature_degc: Array
    swing_degc: Array
    warmest_h: Array
    cooling_degc_per_day: Array
    feed_at_h: Array
    feed_g_per_l: Array
    pump_off_h: Array
    pump_on_h: Array
    cold_at_h: Array
    cold_by_degc: Array

    def rows(self, which: NDArray[np.int64]) -> Known:
        """Some brews of these, in this order, also one many times."""
        return Known(**{item.name: getattr(self, item.name)[which] for item in fields(self)})

    def temperature(self, elapsed_h: float) -> Array:
        """Water temperature at an hour, shape (brews,). [degC]"""
        wave = np.cos(2.0 * np.pi * (elapsed_h - self.warmest_h) / 24.0)
        usual = self.temperature_degc + self.swing_degc * wave - self.cooling_degc_per_day * elapsed_h / 24.0
        if not self.cold_by_degc.any():
            return np.asarray(usual)
        night = self.cold_by_degc * np.exp(-0.5 * ((elapsed_h - self.cold_at_h) / NIGHT_H) ** 2)
        return np.asarray(usual - np.where(np.isnan(self.cold_at_h), 0.0, night))

    @property
    def sugar_mg_c_per_l(self) -> Array:
        """Carbon that dissolves at once. [mg C/L]"""
        return np.asarray(250.0 * self.molasses_g_per_l + 38.0 * self.kelp_g_per_l + 60.0 * self.fish_g_per_l)

    @property
    def polymer_mg_c_per_l(self) -> Array:
        """Carbon in the foods that comes free slowly. [mg C/L]"""
        return np.asarray(100.0 * self.kelp_g_per_l + 75.0 * self.fish_g_per_l)

    @property
    def nitrogen_mg_per_l(self) -> Array:
        """Nitrogen in the foods that cells can use: of the order of feed tables. [mg N/L]"""
        return np.asarray(5.0 * self.molasses_g_per_l + 15.0 * self.kelp_g_per_l + 30.0 * self.fish_g_per_l)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """What acts on brews at one moment, shape (brews,) each: temperature [degC], transfer [1/h], oxygen in balance [mg/L]."""

    degc: Array
    kla_per_h: Array
    saturation_mg_per_l: Array


Rates = Callable[[float, Array, Terms, Outside, Array, Array], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """One world: how its brews begin and change.

    Parameters
    ----------
    key, title
        A word for commands, a line for tables.
    states
        Names, in mg C/L unless the law's text says otherwise; the last is "oxygen" [mg/L].
    living
        The states that a test counts as bacteria and as fungi.
    sugar
        The state that a feed midway goes to.
    hidden
        What differs between brews and nobody knows.
    begin
        State at the start, shape (states, brews).
    rates
        Writes what is made and what is lost of each state per hour into its last two arguments, from hour, states, terms
        and outside.
    habits
        Changes of how recipes are drawn in this world, see `draw_known`.
    lots
        Log standard deviation of the shift of a test's scale when a new lot is opened during a brew; 0: none.
    """

    key: str
    title: str
    states: tuple[str, ...]
    living: tuple[tuple[str, ...], tuple[str, ...]]
    sugar: str
    hidden: Mapping[str, Spread]
    begin: Callable[[Known, Terms], Array]
    rates: Rates
    habits: Mapping[str, float] | None = None
    lots: float = 0.0

    def terms(self, scores: Array) -> dict[str, Array]:
        """Hidden terms by name for scores of shape (brews, terms)."""
        return {name: spread.value(scores[:, place]) for place, (name, spread) in enumerate(self.hidden.items())}

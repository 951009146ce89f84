"""What is known of one brew: plain data in, no notebook needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import UnusableReading
from aerobe.records import AirSupply, AssayError, BrewEvent, FoodDose, Recipe, Vessel, from_plain

Array = NDArray[np.float64]

DEFAULT_HORIZON_H = 72.0
ASSUMED_ERROR = AssayError(constant_sd=5.0, proportional_cv=0.25, gain_log_sd=0.4, origin="assumed: no characterisation given")
MEASURED = ("biomass", "bacteria", "fungi", "fungal to bacterial ratio")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One assay result in house units, with what is known of the assay's error.

    Parameters
    ----------
    elapsed_h
        When the sample was taken, since aeration began. [h]
    value
        Result, already multiplied by the dilution. [ug C/mL, or a ratio]
    quantity
        One of `MEASURED`.
    error
        From the assay's certificate, or `ASSUMED_ERROR`.
    assay
        Results of one assay share its unknown scale and bias.
    below_detection, above_range
        The value is only a bound.
    """

    elapsed_h: float
    value: float
    quantity: str = "biomass"
    error: AssayError = ASSUMED_ERROR
    assay: str = "assay"
    below_detection: bool = False
    above_range: bool = False

    def __post_init__(self) -> None:
        if self.quantity not in MEASURED:
            raise UnusableReading(f"'{self.quantity}' is no quantity of a brew.", f"Use one of: {', '.join(MEASURED)}.")
        if not np.isfinite(self.value) or not np.isfinite(self.elapsed_h):
            raise UnusableReading("A reading is not a finite number.", "Enter time and value as numbers.")
        if self.elapsed_h < 0.0:
            raise UnusableReading(
                f"A reading at {self.elapsed_h:g} h lies before the air was turned on.",
                "Correct the start of the brew or the time of the sample.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """Values of one probe over time, in any spacing. Times in h since aeration began, shape (points,)."""

    elapsed_h: Array
    values: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "elapsed_h", np.asarray(self.elapsed_h, float))
        object.__setattr__(self, "values", np.asarray(self.values, float))
        if self.elapsed_h.shape != self.values.shape or self.elapsed_h.ndim != 1:
            raise UnusableReading("A log needs one value for each time.", "Check the two columns.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """What is known of an oxygen probe."""

    noise_mg_per_l: float = 0.1  # of one value [mg/L]
    offset_sd_mg_per_l: float = 0.25  # standard uncertainty of its zero and calibration [mg/L]
    lag_h: float = 0.0  # time constant [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewStory:
    """Everything the posterior of one brew is made from.

    Parameters
    ----------
    recipe, vessel
        What stands in what.
    temperature_degc
        Expected water temperature; used where no log says otherwise. [degC]
    measurements
        Assay results so far.
    oxygen, temperature
        Logs so far: dissolved oxygen [mg/L], water temperature [degC].
    probe
        Of the oxygen log.
    horizon_h
        How far to look ahead. [h]
    events
        What happened to it: air off and on, food, water, a part drawn off, warmth.
    temperature_guessed
        Nobody measured the expected temperature.
    """

    recipe: Recipe
    vessel: Vessel
    temperature_degc: float = 20.0
    measurements: tuple[Measurement, ...] = ()
    oxygen: Log | None = None
    temperature: Log | None = None
    probe: Probe = field(default_factory=Probe)
    horizon_h: float = DEFAULT_HORIZON_H
    events: tuple[BrewEvent, ...] = ()
    temperature_guessed: bool = False

    def until(self, now_h: float) -> BrewStory:
        """The story as it stood at an hour: later readings, log values and events are left out."""

        def cut(log: Log | None) -> Log | None:
            if log is None:
                return None
            seen = log.elapsed_h <= now_h
            return Log(elapsed_h=log.elapsed_h[seen], values=log.values[seen]) if seen.any() else None

        return replace(
            self,
            measurements=tuple(item for item in self.measurements if item.elapsed_h <= now_h),
            oxygen=cut(self.oxygen),
            temperature=cut(self.temperature),
            events=tuple(item for item in self.events if item.elapsed_h <= now_h),
        )

    def with_measurement(self, *fresh: Measurement) -> BrewStory:
        """The story with more results."""
        return replace(self, measurements=(*self.measurements, *fresh))


def story_of(
    *,
    compost_g_per_l: float,
    foods: Mapping[str, float] | Sequence[Mapping[str, Any]] = (),
    volume_l: float = 20.0,
    depth_m: float = 0.3,
    air_l_per_min: float = 10.0,
    diffuser: str = "coarse bubble",
    kla_per_h: float | None = None,
    kla_log_sd: float | None = None,
    altitude_m: float = 0.0,
    temperature_degc: float = 20.0,
    measurements: Sequence[Measurement] = (),
    oxygen: tuple[Sequence[float], Sequence[float]] | None = None,
    temperature: tuple[Sequence[float], Sequence[float]] | None = None,
    probe: Probe | None = None,
    horizon_h: float = DEFAULT_HORIZON_H,
) -> BrewStory:
    """A story from plain numbers, for scripts.

    Parameters
    ----------
    compost_g_per_l
        Wet compost. [g/L]
    foods
        Food key to dose as bought [g/L], for example `{"molasses": 1.5}`; or dicts with `food`, `g_per_l`, `at_h`.
    volume_l, depth_m, air_l_per_min, diffuser, kla_per_h, kla_log_sd, altitude_m
        The vessel; a measured kLa at 20 degC [1/h] with its log standard uncertainty replaces the guess from the flow.
    temperature_degc
        Expected water temperature. [degC]
    measurements
        Results so far.
    oxygen, temperature
        Times [h] and values [mg/L, degC] of the logs.
    probe
        Of the oxygen log.
    horizon_h
        How far to look ahead. [h]
    """
    if isinstance(foods, Mapping):
        doses = tuple(FoodDose(food=key, g_per_l=dose) for key, dose in foods.items())
    else:
        doses = tuple(from_plain(FoodDose, dict(item)) for item in foods)
    return BrewStory(
        recipe=Recipe(key="recipe", name="recipe", compost="compost", compost_g_per_l=compost_g_per_l, foods=doses),
        vessel=Vessel(
            key="vessel",
            name="vessel",
            volume_l=volume_l,
            depth_m=depth_m,
            altitude_m=altitude_m,
            air=AirSupply(flow_l_per_min=air_l_per_min, diffuser=diffuser, kla_per_h=kla_per_h, kla_log_sd=kla_log_sd),
        ),
        temperature_degc=temperature_degc,
        measurements=tuple(measurements),
        oxygen=None if oxygen is None else Log(elapsed_h=np.asarray(oxygen[0]), values=np.asarray(oxygen[1])),
        temperature=None if temperature is None else Log(elapsed_h=np.asarray(temperature[0]), values=np.asarray(temperature[1])),
        probe=probe or Probe(),
        horizon_h=horizon_h,
    )

"""Bands over time for a chart or a page: what is believed of a brew's course."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference import Posterior

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Low, median and high (90 % band) over time, shape (times,) each.

    Parameters
    ----------
    times_h
        Since aeration began. [h]
    biomass
        Three arrays. [ug C/mL]
    ratio
        Three arrays, fungal over bacterial biomass. [-]
    oxygen
        Three arrays; None where it cannot be forecast. [mg/L]
    """

    times_h: Array
    biomass: tuple[Array, Array, Array]
    ratio: tuple[Array, Array, Array]
    oxygen: tuple[Array, Array, Array] | None


def forecast_of(posterior: Posterior) -> Forecast:
    """Bands of a posterior."""
    return Forecast(
        times_h=posterior.times_h,
        biomass=posterior.band_of(posterior.biomass),
        ratio=posterior.band_of(posterior.ratio),
        oxygen=posterior.band_of(posterior.oxygen) if posterior.oxygen_known else None,
    )

"""Transfer before anybody has measured it: a guess that says how poor it is."""

from __future__ import annotations

import math

from aerobe.records import Vessel

# kLa = factor * u^0.7 with u the superficial gas velocity [m/s], kLa in 1/s: the form for bubble columns of clean water, where
# coarse coalescing bubbles give about 0.32. We centre between that, the transfer per metre of EPA's manual (which is lower in
# deep tanks) and small stones in a shallow laboratory vessel (runs of 2019, which are higher); see tests/oxygen.
_FACTOR = {"fine bubble": 0.60, "venturi": 0.45, "coarse bubble": 0.25, "open pipe": 0.15, "none": 0.0}
_LOG_SD = {"fine bubble": 0.7, "venturi": 0.9, "coarse bubble": 0.6, "open pipe": 0.7, "none": 0.8}
_EXPONENT = 0.7
_MEASURED_LOG_SD = 0.2  # of a measured value that nobody gave an error: our own judgement
# What a guess may be off by: the quantity itself, as one standard uncertainty on the log scale (common practice, no source).
GUESS_LOG_SD = {"depth": 0.3, "flow": 0.8, "flow of a label": 0.25, "flow of a power": 0.5, "diffuser": 0.45}
# Water that bubbles or a stirrer keep moving takes up oxygen through its surface too: about 0.02 to 0.1 m/h.
_SURFACE_M_PER_H = 0.05


def first_guess_kla(vessel: Vessel) -> tuple[float, float]:
    """Transfer coefficient of a vessel at 20 degC, guessed from its air whatever has been measured.

    Parameters
    ----------
    vessel
        Volume [L], depth [m], air flow [L/min] and diffuser of the vessel. [-]

    Returns
    -------
    tuple of float
        Median of kLa at 20 degC [1/h] and its standard uncertainty on the log scale [-].

    Notes
    -----
    What nobody gave (depth, flow, diffuser) widens it further, each by its own uncertainty.
    A guess is worth a factor of three either way. A re-aeration run of ten minutes narrows it to a few percent.
    Clean water is meant; foam, oil and dissolved matter change it further (a factor of 0.3 to 1.2).

    Source
    ------
    vant-riet-1979, epa-fine-pore-1989, cee4530-2019
    """
    air = vessel.air
    surface = _SURFACE_M_PER_H / vessel.depth_m
    if air.flow_l_per_min <= 0.0:
        return surface, _LOG_SD["none"]
    area_m2 = vessel.volume_l / 1000.0 / vessel.depth_m
    velocity_m_per_s = air.flow_l_per_min / 60000.0 / area_m2
    bubbles = 3600.0 * _FACTOR[air.diffuser] * math.pow(velocity_m_per_s, _EXPONENT)
    return bubbles + surface, math.hypot(_LOG_SD[air.diffuser], *(_widening(name) for name in vessel.guessed))


def _widening(guess: str) -> float:
    return GUESS_LOG_SD[guess] * (1.0 if guess == "diffuser" else _EXPONENT)


def vessel_kla(vessel: Vessel) -> tuple[float, float]:
    """Transfer coefficient of a vessel at 20 degC: measured where the vessel carries one, else guessed from its air.

    Parameters
    ----------
    vessel
        With the measured transfer in its air [1/h], or what a guess needs. [-]

    Returns
    -------
    tuple of float
        Median of kLa at 20 degC [1/h] and its standard uncertainty on the log scale [-]; 0.2 where a measured one came without.
    """
    air = vessel.air
    if air.kla_per_h is None:
        return first_guess_kla(vessel)
    return air.kla_per_h, air.kla_log_sd if air.kla_log_sd is not None else _MEASURED_LOG_SD

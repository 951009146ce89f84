"""From a recipe, readings and logs to the posterior of one brew."""

from aerobe.inference._air import AirStop, find_stops
from aerobe.inference._clouds import lacking_and_error
from aerobe.inference._forcing import stops_in_log
from aerobe.inference._habit import BestHour, Taught, habit_of
from aerobe.inference._infer import infer_brew
from aerobe.inference._measuring import measurements_of
from aerobe.inference._modes import Modes, descend
from aerobe.inference._ph import ph_notes
from aerobe.inference._pooling import Past, Shift, learn_from
from aerobe.inference._posterior import Band, Posterior, expected_result, peak_times, result_errors
from aerobe.inference._prior import PRIOR, Basis, Term, basis_of, decode
from aerobe.inference._sampler import Draws, Effort, Target, sample, tail_shape
from aerobe.inference._simulated import SimulatedBrew, simulate_brews
from aerobe.inference._story import (
    ASSUMED_ERROR,
    DEFAULT_HORIZON_H,
    BrewStory,
    Log,
    Measurement,
    Probe,
    story_of,
)
from aerobe.inference._threads import on_one_core, one_blas_thread
from aerobe.inference._unknowns import COMPOST_G_PER_L, COMPOST_KG_PER_L, FOOD_G_PER_L, TEMPERATURE_DEGC, Guess

__all__ = [
    "ASSUMED_ERROR",
    "COMPOST_G_PER_L",
    "COMPOST_KG_PER_L",
    "DEFAULT_HORIZON_H",
    "FOOD_G_PER_L",
    "PRIOR",
    "TEMPERATURE_DEGC",
    "AirStop",
    "BestHour",
    "Band",
    "Basis",
    "BrewStory",
    "Draws",
    "Effort",
    "Guess",
    "Log",
    "Measurement",
    "Modes",
    "Past",
    "Posterior",
    "Probe",
    "Shift",
    "SimulatedBrew",
    "Target",
    "Taught",
    "Term",
    "basis_of",
    "decode",
    "descend",
    "expected_result",
    "find_stops",
    "habit_of",
    "infer_brew",
    "lacking_and_error",
    "learn_from",
    "measurements_of",
    "on_one_core",
    "one_blas_thread",
    "peak_times",
    "result_errors",
    "ph_notes",
    "sample",
    "simulate_brews",
    "stops_in_log",
    "story_of",
    "tail_shape",
]

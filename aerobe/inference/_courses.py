"""Possible courses of one brew under one structure, before its assay results are weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ALONE = "readings alone"  # the structure of a brew of which nobody knows what is in it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Courses:
    """Courses of one structure, and what is believed of each.

    Parameters
    ----------
    structure
        One of `STRUCTURES`.
    log_mass
        Log of bacteria and fungi together, shape (courses, times). [ln ug C/mL]
    log_ratio
        Log of fungi over bacteria, shape (courses, times). [-]
    oxygen
        Shape (courses, times). [mg/L]
    scores
        Of the model terms, shape (courses, terms). [-]
    log_weight
        What is known of each without the assay results, shape (courses,), up to a constant. [-]
    runs
        Model runs that went into them.
    log_belief
        What the means of life other than food say of the structure as a whole, on top of the belief in it. [-]
    biases
        Of the assays, shape (courses, assays), where courses were sampled together with them. [unit of the results]
    """

    structure: str
    log_mass: Array
    log_ratio: Array
    oxygen: Array
    scores: Array
    log_weight: Array
    runs: int
    log_belief: float = 0.0
    biases: Array | None = None


def of_bacteria_and_fungi(log_bacteria: Array, log_fungi: Array) -> tuple[Array, Array]:
    """Log of both together, and of fungi over bacteria; any shape."""
    return np.asarray(np.logaddexp(log_bacteria, log_fungi)), np.asarray(log_fungi - log_bacteria)


def bacteria_and_fungi(log_mass: Array, log_ratio: Array) -> tuple[Array, Array]:
    """The way back, no longer logs; any shape. [ug C/mL]"""
    fungal = 1.0 / (1.0 + np.exp(-log_ratio))
    mass = np.exp(log_mass)
    return np.asarray(mass * (1.0 - fungal)), np.asarray(mass * fungal)

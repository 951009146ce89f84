"""Sampling and handling, step by step: what is done at the vessel decides what a test can show."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from aerobe.errors import NotFound

WHERE = ("vessel", "way", "bench")


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingStep:
    """One step."""

    key: str
    where: str  # one of WHERE
    do: str  # one line for the run sheet
    why: str
    source: str  # key in `sources`


@cache
def sampling_steps(where: str = "") -> tuple[SamplingStep, ...]:
    """The steps from the vessel to the bench, in order.

    Parameters
    ----------
    where
        One of WHERE; empty for all. [-]

    Raises
    ------
    NotFound
        If it is none of them: a slip must not make a step vanish.

    Source
    ------
    smww-9060, holding-times-brief, kuwae-1999, bam-3-from-memory, iso-19458-by-a-laboratory, tea-sampling-practice
    """
    if where not in ("", *WHERE):
        raise NotFound(f"There are no steps for '{where}'.", f"Use one of: {', '.join(WHERE)}, or none for all.")
    table = tomllib.loads((files(__package__) / "sampling.toml").read_text(encoding="utf-8"))
    steps = (SamplingStep(key=key, **entry) for key, entry in table.items())
    return tuple(step for step in steps if where in ("", step.where))

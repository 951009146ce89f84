"""What may be spent of the chance of a false claim: interim analyses, and questions asked beside the planned one.

One rule for better and for same. A trial whose number of brews was planned spends its allowance as Lan and DeMets do, by the
share of the brews that have results, after the pattern of O'Brien and Fleming: little before the end, nearly all of it then.
Where no number was planned the first look takes four fifths, and all later looks share the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
FALSE_DIFFERENCE, FALSE_SAMENESS = 0.05, 0.05  # both directions together; each bound of the margin
FIRST_LOOK = 0.8  # share of the allowance for the first look where no end was planned (our choice, no source)
UNTOLD_SHARE = 0.1  # of the allowance, for all that is asked beside a planned question that is not told (our choice, no source)
FULL_INFORMATION = 1.0 - 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """Chance of a false claim that one look at one question may spend."""

    difference: float = FALSE_DIFFERENCE  # of a difference, both directions together [-]
    sameness: float = FALSE_SAMENESS  # of sameness, at each bound of the margin [-]

    def shared(self, share: float) -> Allowance:
        """This share of it."""
        return Allowance(difference=self.difference * share, sameness=self.sameness * share)


FULL = Allowance()


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a question may claim of brews that may have been asked before, and why."""

    allowance: Allowance = FULL  # chance of a false claim that this look may spend
    looks: int = 1  # at this question, this one included
    side_questions: int = 0  # other questions asked of these brews
    words: str = ""  # why the bar is stricter; empty where the question has all there is
    was_planned: bool = True  # False: every comparison is marked, and held to the bar of every pair


AS_PLANNED = Standing()


def spent_by(information: float, alpha: float) -> float:
    """One-sided chance spent up to some share of the planned brews, by the spending function of O'Brien and Fleming's type. [-]

    Parameters
    ----------
    information
        Share of the planned brews. [-]
    alpha
        One-sided chance for all looks. [-]

    Source
    ------
    lan-demets-1983
    """
    if information <= 0.0:
        return 0.0
    return float(2.0 * special.ndtr(-special.ndtri(1.0 - alpha / 2.0) / math.sqrt(min(information, 1.0))))


def boundary_levels(information: Sequence[float], alpha: float) -> tuple[float, ...]:
    """Nominal one-sided level of each look, so that all looks together claim falsely with chance alpha at most.

    Parameters
    ----------
    information
        Share of the planned brews at each look, rising; beyond 1 nothing is left to spend. [-]
    alpha
        One-sided chance for all looks. [-]

    Returns
    -------
    tuple of float
        Level of each look. [-]

    Source
    ------
    lan-demets-1983, jennison-turnbull-1999
    """
    rising = [t for i, t in enumerate(information) if i == 0 or t > information[i - 1]]
    levels = dict(zip(rising, _levels(tuple(round(min(t, 1.0), 6) for t in rising), alpha), strict=True))
    return tuple(levels[t] for t in information)


@lru_cache(maxsize=256)
def _levels(information: tuple[float, ...], alpha: float) -> tuple[float, ...]:
    """Recursive integration of the density of the score over the looks that did not end the trial."""
    levels: list[float] = []
    grid, density, before, spent = np.zeros(1), np.ones(1), 0.0, 0.0
    for t in information:
        target = spent_by(t, alpha) - spent
        if t <= before or target < 1e-12:
            levels.append(0.0)
            continue
        spent += target
        step = math.sqrt(t - before)
        bound = _crossing(grid, density, step, target, 9.0 * math.sqrt(t))
        levels.append(float(special.ndtr(-bound / math.sqrt(t))))
        node, weight = np.polynomial.legendre.leggauss(160)
        low = -8.0 * math.sqrt(t)
        new = low + (bound - low) * 0.5 * (node + 1.0)
        kernel = np.exp(-0.5 * ((new[:, None] - grid[None, :]) / step) ** 2) / (step * math.sqrt(2.0 * math.pi))
        density = (kernel @ density) * weight * 0.5 * (bound - low)
        grid, before = new, t
    return tuple(levels)


def _crossing(grid: Array, density: Array, step: float, target: float, reach: float) -> float:
    """The bound that the score of the next look exceeds with this chance."""
    from scipy import optimize

    def beyond(bound: float) -> float:
        return float(density @ special.ndtr((grid - bound) / step)) - target

    return float(optimize.brentq(beyond, -reach, reach, xtol=1e-10))


def allowance_now(brews_at_looks: Sequence[int], planned_brews: int | None) -> Allowance:
    """What the last of these looks may spend.

    Parameters
    ----------
    brews_at_looks
        Brews with results at each look so far, this one last; a look at no more brews than before is the same look. [-]
    planned_brews
        Brews that the trial was planned for; None if nobody said. [-]

    Source
    ------
    lan-demets-1983
    """
    looks = sorted(set(brews_at_looks))
    if not looks:
        return FULL
    if planned_brews is None:
        return FULL.shared(share_of_later(len(looks)))
    information = [brews / planned_brews for brews in looks]
    if len(looks) == 1 and information[0] >= FULL_INFORMATION:
        return FULL
    return Allowance(
        difference=2.0 * boundary_levels(information, FALSE_DIFFERENCE / 2.0)[-1],
        sameness=boundary_levels(information, FALSE_SAMENESS)[-1],
    )


def share_of_side_question(number: int, *, planned_is_told: bool) -> float:
    """Share of the allowance for a question asked beside the planned one. [-]

    Where the planned question is told, its allowance passes on to the others (a fixed sequence); where not, they share a tenth.
    The shares 1/2, 1/6, 1/12 ... add up to one however many are asked.

    Parameters
    ----------
    number
        Its place among such questions, counted from 1. [-]
    planned_is_told
        Whether the planned question is told. [-]

    Source
    ------
    westfall-krishen-2001
    """
    return (1.0 if planned_is_told else UNTOLD_SHARE) / (number * (number + 1))


def share_of_later(look: int) -> float:
    """Share of the allowance for the so-manieth look where no end was planned, counted from 1; all looks add up to one. [-]"""
    return FIRST_LOOK if look == 1 else (1.0 - FIRST_LOOK) / (look * (look - 1))

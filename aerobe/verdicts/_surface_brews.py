"""Single brews that a surface must not hang on: one that died, results entered twice, a standard that was brewed once."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._implausible import too_alike
from aerobe.verdicts._layout import lay_out
from aerobe.verdicts._outliers import CHANCE, LEAST_FACTOR
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival
from aerobe.verdicts._surface_design import FittedDesign

Array = NDArray[np.float64]


def odd_brew(design: FittedDesign, logs: Array) -> int | None:
    """The place of the one brew that does not belong to the surface of the others, or None if there is none or more than one.

    Parameters
    ----------
    design
        Of all brews.
    logs
        Outcomes, shape (brews,). [-]

    Source
    ------
    beckman-cook-1983
    """
    place, chance, off = farthest_brew(design, logs)
    if chance >= CHANCE or abs(off) < LEAST_FACTOR:
        return None
    keep = np.arange(len(logs)) != place
    rest = design.subset(keep)
    if not rest.tells:
        return None
    _, chance, off = farthest_brew(rest, logs[keep])
    return place if chance >= CHANCE or abs(off) < LEAST_FACTOR else None


def farthest_brew(design: FittedDesign, logs: Array) -> tuple[int, float, float]:
    """The brew that lies farthest from what the others foretell: its place, the chance of any lying so far, and by how much."""
    hat = design.matrix @ design.inverse
    residual = logs - hat @ logs
    free = np.maximum(1.0 - np.diag(hat), 1e-9)
    off = np.where(free > 1e-6, residual / free, 0.0)
    left = np.maximum(float(residual @ residual) - residual * off, 0.0)
    if design.df < 2:
        return int(np.argmax(np.abs(off))), 1.0, 0.0
    t = np.abs(off) * np.sqrt(free * (design.df - 1) / np.maximum(left, 1e-300))
    place = int(np.argmax(t))
    return place, float(2.0 * special.stdtr(design.df - 1, -t[place])) * len(logs), float(off[place])


def dead_words(brew: BrewResult, off: float) -> Rival:
    """What is said of a brew that is left out because others at its point stand against it."""
    return Rival(
        name="dead brew",
        words=f"Brew {brew.brew} read {math.exp(off):.2g} times what the others foretell at {brew.arm} and is left out; the "
        "answer with it stands beside. If a recipe dies now and then, that is part of the recipe.",
        remedy="Look in the notes what went wrong with it; brew one more in its place.",
    )


def dead_alone(brew: BrewResult, off: float) -> Rival:
    """A brew that may have died is the only one at its point: nobody can tell a dead brew from a point where brews die."""
    return Rival(
        name="dead brew",
        words=f"Brew {brew.brew}, the only one at {brew.arm}, read {math.exp(off):.2g} times what the others foretell there: it "
        "may have died, or brews of that point may do so.",
        remedy=f"Brew {brew.arm} once more.",
        blocks_claim=True,
    )


def misfit_words(brew: BrewResult) -> Rival:
    """Where to look first when no smooth surface fits."""
    return Rival(
        name="misfit",
        words=f"No smooth surface fits the points; brew {brew.brew} at {brew.arm} lies farthest from what the others foretell.",
        remedy="Look whether it died, whether results of one point were entered twice, or brew that point once more.",
    )


def alike_at_points(results: Sequence[BrewResult], values: Array, *, are_logs: bool) -> Rival | None:
    """Why brews of one and the same point cannot each be a brew of its own, or None."""
    points = sorted({result.arm for result in results})
    at = [points.index(result.arm) for result in results]
    found = too_alike(results, values, lay_out(at, [result.block for result in results]), are_logs=are_logs)
    repeated = [values[np.equal(at, place)] for place in range(len(points)) if at.count(place) > 1]
    if found is None and repeated and max(float(np.ptp(own)) for own in repeated) <= 1e-12:
        return Rival(
            name="double entry",
            words="All brews of one point read the same to the last digit: one result was entered for several, or the test is "
            "too coarse to show how brews differ.",
            remedy="Enter each brew's own reading; where the scale has few steps, use a finer test.",
            blocks_claim=True,
        )
    return found


def standard_once(results: Sequence[BrewResult], standard: str, *, stands_without: bool) -> Rival | None:
    """Whether a claim hangs on the only brew of the standard: if that one died, everything else is better.

    Counted for a dead standard where no factor does anything, 12 and 18 brews: told to be better in 12 to 20 % without this rule.
    """
    brews = [result.brew for result in results if result.arm == standard]
    if len(brews) != 1 or stands_without:
        return None
    return Rival(
        name="single brew of the standard",
        words=f"The claim hangs on brew {brews[0]}, the only one of {standard}: had it died, anything else would look better.",
        remedy=f"Brew {standard} once more.",
        blocks_claim=True,
    )

"""Look-ups of safe use that write nothing: rules, amounts, cautions, limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from aerobe.notebook import Notebook
from aerobe.records import Compost
from aerobe.safety import (
    Caution,
    CompostFinding,
    Finding,
    Hazard,
    Threshold,
    all_hazards,
    all_thresholds,
    cautions,
    editions,
    heat_rules,
    judge_absence,
    judge_compost,
    judge_count,
    judge_portions,
    mix_for,
    rule_places,
)
from aerobe.usecases.safety._notes import pieces_of, place_of


def check_compost(notebook: Notebook, compost: str, *, place: str = "") -> CompostFinding:
    """What a compost's record shows under the rules of a place; without one, under those of the notebook.

    Raises
    ------
    NotFound
        If there is no such compost, or no place.
    """
    record = notebook.get(Compost, compost)
    return judge_compost(record, place or place_of(notebook), largest_piece_mm=pieces_of(notebook, compost))


def check_laboratory(
    limit: str,
    *,
    count: tuple[float, float, float] | None = None,
    portions: Sequence[float] | None = None,
    detected: bool | None = None,
    finds: float | None = None,
) -> Finding:
    """A laboratory's result held against a limit on file: a count, portions of a batch, or presence.

    Parameters
    ----------
    limit
        Key of the limit; `safety_limits` lists them.
    count
        Point value, low and high. [unit of the limit]
    portions
        One count a portion. [unit of the limit]
    detected
        Whether a germ was found.
    finds
        The least amount that the method can find. [unit of the limit]

    Raises
    ------
    NotFound
        If there is no such limit, or it asks for another kind of result.
    """
    if count is not None:
        point, low, high = count
        return judge_count(limit, point=point, low=low, high=high)
    if portions is not None:
        return judge_portions(limit, portions)
    return judge_absence(limit, detected=detected, method_finds=finds)


def mix_of(*, mix_l: float, parts: float) -> tuple[float, float]:
    """Tea and water for a wanted amount of mix, one part of tea to so many of water. [L]"""
    return mix_for(mix_l=mix_l, parts_water_to_one_tea=parts)


def cautions_for(*occasions: str) -> tuple[Caution, ...]:
    """The cautions of some occasions, of `aerobe.safety.OCCASIONS`; none for all."""
    return cautions(*occasions)


def hazards() -> tuple[Hazard, ...]:
    """The register of hazards: what can hurt whom, its caution, and where the tool decides on it or shows it."""
    return all_hazards()


def safety_limits() -> dict[str, Any]:
    """Every limit and compost rule on file with source and date."""
    limits: dict[str, Threshold] = all_thresholds()
    return {
        "limits": tuple(limits.values()),
        "compost_rules": tuple(heat_rules().values()),
        "editions": tuple(editions().values()),
    }


def places() -> tuple[str, ...]:
    """The places whose rules on use are on file; the last is for all others."""
    return rule_places()

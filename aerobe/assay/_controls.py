"""When a control itself is suspect: killing that darkens, dead matter that stains, filters that let cells through."""

from __future__ import annotations

import math

from aerobe.assay._arrays import t_quantile
from aerobe.units import number


def against_each_other(name: str, kinds: dict[str, tuple[float, float, float]], level: float) -> tuple[bool, float, str]:
    (filtered, u_filtered, c_filtered), (killed, u_killed, c_killed) = kinds["filtered blank"], kinds["killed control"]
    gap, spread = killed - filtered, math.hypot(u_filtered, u_killed)
    if abs(gap) <= t_quantile(level, math.inf) * spread:
        return False, 0.0, ""
    if gap < 0:
        why = "the filtered blank may keep cells (a torn filter, or cells that pass 0.2 um), or killing bleached the tea"
    elif c_killed > 1.1 * c_filtered:
        why = "killing darkened the tea, or the filter held coloured particles back"
    else:
        why = "dead matter may still take the stain, or the filter held particles back"
    sentence = (
        f"{name}: the killed control reads {number(killed)} and the filtered blank {number(filtered)}; {why}. "
        f"The true bias lies between them and {number(abs(gap) / math.sqrt(12), 2)} was added to its uncertainty."
    )
    return True, abs(gap) / math.sqrt(12), sentence


def against_tea(
    name: str,
    kinds: dict[str, tuple[float, float, float]],
    live: tuple[float, float] | None,
    constant_sd: float,
    cv: float,
    level: float,
) -> list[str]:
    if live is None:
        return []
    words = []
    signal, colour = live
    for kind, (mean, spread, own_colour) in kinds.items():
        wide = t_quantile(level, math.inf) * math.hypot(spread, math.hypot(constant_sd, cv * signal))
        if mean > signal + wide:
            words.append(
                f"{name}: the {kind} reads more ({number(mean)}) than the living tea ({number(signal)}). "
                "Check for swapped vials or "
                "a contaminated control; no biomass can be computed from this pair."
            )
        elif mean > signal - wide:
            words.append(
                f"{name}: the {kind} ({number(mean)}) cannot be told from the living tea ({number(signal)}): this tea shows no "
                "living biomass by this test, or the control is no control."
            )
        if colour > 0 and own_colour > 1.1 * colour:
            words.append(
                f"{name}: the {kind} is darker than the tea ({number(own_colour)} against {number(colour)}); "
                f"{'killing darkened it' if kind == 'killed control' else 'check the filter for bleeding'}. "
                "The bias was computed at the tea's own colour."
            )
        elif colour > 0 and own_colour < 0.9 * colour:
            words.append(
                f"{name}: the {kind} is paler than the tea ({number(own_colour)} against {number(colour)}); "
                "coloured particles were lost. "
                "The bias was computed at the tea's own colour."
            )
    return words


def against_colourants(name: str, held: str, slope: tuple[float, float], others: list[tuple[float, float]]) -> list[str]:
    """A control far above what colourants of the same colour read holds something besides colour.

    `slope` and `others` are slopes with their standard uncertainties.
    """
    if not others:
        return []
    highest = max(value + 2 * spread for value, spread in others)
    if slope[0] - 2 * slope[1] > 1.2 * highest:
        return [
            f"{name}: its {held} reads {number(slope[0])} per unit of colour, "
            f"above every colourant tested (at most {number(highest)}): "
            "stainable dead matter, or cells that passed the filter. Part of this 'bias' may be biomass."
        ]
    return []

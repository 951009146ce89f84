"""What a verdict says in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from aerobe.units import number, ratio_words, with_uncertainty
from aerobe.verdicts._outcomes import Outcome

if TYPE_CHECKING:
    from aerobe.verdicts._answer import Comparison
    from aerobe.verdicts._rivals import Rival


def effect_words(comparison: Comparison, kind: Outcome) -> str:
    """`1.8 (1.2 to 2.7) times` or `+3 (1 to 5)`."""
    if comparison.effect is None or comparison.low is None or comparison.high is None:
        return "not known"
    if kind.scale == "ratio":
        return f"{ratio_words(_exp(comparison.effect), _exp(comparison.low), _exp(comparison.high))} times"
    return with_uncertainty(comparison.effect, comparison.low, comparison.high) + (f" {kind.unit}" if kind.unit else "")


def _exp(value: float) -> float:
    return math.exp(value) if value < 700 else math.inf


def because_of(comparison: Comparison, bound: float, kind: Outcome, *, blocked: bool) -> str:
    """One or two sentences: the effect, its interval, and what follows."""
    what = "signal" if blocked else kind.label
    of = f" of {comparison.second}" if comparison.second else " at the low level"
    opening = f"{what.capitalize()} of {comparison.first} is {effect_words(comparison, kind)} that{of} (90 % interval)."
    if kind.scale == "difference":
        opening = f"{what.capitalize()} of {comparison.first} less that{of} is {effect_words(comparison, kind)} (90 % interval)."
    margin = f"a factor of {number(math.exp(bound))}" if kind.scale == "ratio" else number(bound)
    if blocked:
        return f"{opening} Colour may explain it, so nothing is claimed about {kind.label}."
    tail = "" if comparison.planned else " Nobody planned this comparison; it is held to a stricter bar."
    if comparison.call == "can't tell yet":
        if _open_both(comparison, bound):
            return f"{opening} The interval leaves both no difference and more than {margin} open.{tail}"
        return f"{opening} That is not enough to tell.{tail}"
    if comparison.call == "same within the margin":
        return f"{opening} Whatever difference there is, it is less than {margin}.{tail}"
    size = f" Whether it exceeds {margin} is open."
    if comparison.worthwhile:
        size = f" The whole interval lies beyond {margin}."
    elif _inside(comparison, bound):
        size = f" The difference is real and less than {margin}: hardly worth having."
    return f"{opening}{size}{tail}"


def _inside(comparison: Comparison, bound: float) -> bool:
    return (comparison.family_low or 0.0) > -bound and (comparison.family_high or 0.0) < bound


def _open_both(comparison: Comparison, bound: float) -> bool:
    low, high = comparison.family_low or 0.0, comparison.family_high or 0.0
    return low <= 0.0 <= high and (high > bound or low < -bound)


def headline_of(comparisons: Sequence[Comparison], rivals: Sequence[Rival], kind: Outcome) -> str:
    """The one line at the top."""
    if any(rival.blocks_claim for rival in rivals):
        return f"Can't tell yet: colour may explain the difference, so this says nothing about {kind.label}."
    told = [c for c in comparisons if c.call != "can't tell yet"]
    if not told:
        return "Can't tell yet."
    lines = []
    for c in told:
        if c.call == "same within the margin":
            lines.append(f"{c.label}: same within the margin")
        elif c.second:
            lines.append(f"{c.first} is {c.call} than {c.second}: {effect_words(c, kind)}")
        else:
            lines.append(f"{c.first} makes it {c.call}: {effect_words(c, kind)}")
    rest = len(comparisons) - len(told)
    return "; ".join(lines) + (f"; {rest} not told yet." if rest else ".")

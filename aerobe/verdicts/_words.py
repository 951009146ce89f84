"""What a verdict says in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from aerobe.units import number, ratio_of, ratio_words, with_uncertainty
from aerobe.verdicts._outcomes import Outcome

if TYPE_CHECKING:
    from aerobe.verdicts._answer import Comparison
    from aerobe.verdicts._rivals import Rival


def effect_words(comparison: Comparison, kind: Outcome) -> str:
    """`1.8 (1.2 to 2.7) times` or `+3 (1 to 5)`."""
    if comparison.effect is None or comparison.low is None or comparison.high is None:
        return "not known"
    if kind.is_ratio:
        return f"{ratio_words(*map(ratio_of, (comparison.effect, comparison.low, comparison.high)))} times"
    return with_uncertainty(comparison.effect, comparison.low, comparison.high) + (f" {kind.unit}" if kind.unit else "")


def because_of(comparison: Comparison, bound: float, kind: Outcome) -> str:
    """One or two sentences: the effect, its interval, and what follows."""
    opening = _opening(comparison, kind)
    margin = f"a factor of {number(math.exp(bound))}" if kind.is_ratio else number(bound)
    if comparison.held_by == "colour":
        return f"{opening} Colour may explain it, so nothing is claimed about {kind.label}."
    if comparison.held_by:
        return f"{opening} The {comparison.held_by} may explain it, so nothing is claimed."
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


def _opening(comparison: Comparison, kind: Outcome) -> str:
    what = ("signal" if comparison.held_by == "colour" else kind.label).capitalize()
    effect = f"{effect_words(comparison, kind)}"
    if comparison.is_interaction:
        first, second = _both(comparison)
        if kind.is_ratio:
            return f"What {first} does to {kind.label} beside {second} is {effect} what it does without (90 % interval)."
        return f"What {first} does to {kind.label} beside {second}, less what it does without, is {effect} (90 % interval)."
    of = f" of {comparison.second}" if comparison.second else " at the low level"
    if kind.is_ratio:
        return f"{what} of {comparison.first} is {effect} that{of} (90 % interval)."
    return f"{what} of {comparison.first} less that{of} is {effect} (90 % interval)."


def _both(interaction: Comparison) -> tuple[str, str]:
    first, _, second = interaction.first.partition(" x ")
    return first, second


def _inside(comparison: Comparison, bound: float) -> bool:
    return (comparison.family_low or 0.0) > -bound and (comparison.family_high or 0.0) < bound


def _open_both(comparison: Comparison, bound: float) -> bool:
    low, high = comparison.family_low or 0.0, comparison.family_high or 0.0
    return low <= 0.0 <= high and (high > bound or low < -bound)


def headline_of(
    comparisons: Sequence[Comparison], rivals: Sequence[Rival], kind: Outcome, *, at: str = "", left_out: str = ""
) -> str:
    """The one line at the top: what was compared, by how much, how sure; or that nothing can be told, and why.

    Parameters
    ----------
    comparisons, rivals, kind
        Of the verdict. [-]
    at
        Hour compared at, in words; empty where there is none. [-]
    left_out
        Brew that died. [-]
    """
    told = [c for c in comparisons if c.call != "can't tell yet"]
    if not told:
        return _untold_line(comparisons, rivals, kind)
    lines = []
    for c in told:
        if c.call == "same within the margin":
            lines.append(f"{c.label}: same within the margin")
        elif c.second:
            lines.append(f"{c.first} is {c.call} than {c.second}: {effect_words(c, kind)}")
        elif c.is_interaction:
            first, second = _both(c)
            lines.append(f"{first} does {'more' if c.call == 'higher' else 'less'} beside {second}: {effect_words(c, kind)}")
        else:
            lines.append(f"{c.first} makes it {c.call}: {effect_words(c, kind)}")
    rest = len(comparisons) - len(told)
    ending = f"; {rest} not told yet" if rest else ""
    without = f" (brew {left_out}, which died, left out)" if left_out else ""
    return f"{'; '.join(lines)}{at}{without}{ending}."


LONGEST = 150  # of a headline that is read in passing


def short_headline(comparisons: Sequence[Comparison], headline: str) -> str:
    """A verdict's headline for who reads it in passing: itself where it is short, else how many comparisons it tells of.

    It never says more than the headline: what is shortened says less.

    Parameters
    ----------
    comparisons, headline
        Of the verdict.
    """
    told = [c for c in comparisons if c.call != "can't tell yet"]
    if told:
        if len(headline) <= LONGEST:
            return headline
        kinds = {"same within the margin": "the same within the margin"}
        counts = [(call, sum(c.call == call for c in told)) for call in dict.fromkeys(c.call for c in told)]
        words = ", ".join(f"{count} {kinds.get(call, call)}" for call, count in counts)
        rest = len(comparisons) - len(told)
        return f"Of {len(comparisons)} comparisons: {words}{f', {rest} not told yet' if rest else ''}."
    if len(comparisons) != 1 or not comparisons[0].second:
        return "Can't tell yet."
    only = comparisons[0]
    why = {"": "", "colour": " Colour may explain what was seen."}.get(only.held_by, " Something else may explain what was seen.")
    return f"Can't tell yet whether {only.first} differs from {only.second}.{why}"


def _untold_line(comparisons: Sequence[Comparison], rivals: Sequence[Rival], kind: Outcome) -> str:
    held = [c.held_by for c in comparisons if c.held_by]
    if "colour" in held:
        return f"Can't tell yet: colour may explain the difference, so this says nothing about {kind.label}."
    if held:
        return "Can't tell yet: " + next(rival.words for rival in rivals if rival.name == held[0])
    return "Can't tell yet."

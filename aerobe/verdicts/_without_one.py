"""A claim must stand without any one reader, kit lot or vessel: whoever met several brews of the arms may favour one of them.

What a reader (lot, vessel) does to all arms alike falls out of a comparison; what it does to one arm alone looks like a recipe,
and only the other readers can tell. So each in turn is set aside, and what is claimed must still be seen, at a milder level: if
one of them favours an arm, by whatever factor, at most `MOST_FALSE` of the claims for that arm are false. What was set aside
still tells how much brews scatter (left out whole, 8 to 20 more of 100 true differences were not told). That costs power where
there are two readers alone, and no rule could have both (a linear programme over the difference and what two labels differ by,
where 80 % are told if nobody looks at labels): at most 6 % false whatever the factor leaves 49 %, at most 6 % up to a factor of
the scatter of brews leaves 57 to 65 %.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._answer import CANNOT_TELL, Comparison
from aerobe.verdicts._confounders import NOT_RECORDED, recorded
from aerobe.verdicts._evidence import Evidence
from aerobe.verdicts._interim import Allowance, Standing
from aerobe.verdicts._layout import is_estimable
from aerobe.verdicts._rivals import Rival

MOST_FALSE = 0.09  # of claims for an arm that one label favours (counted; see the benchmark of traps)
LARGEST_SHARE = 2.0 / 3.0  # of the brews: what met more of them is like the one reader of all (our choice, no source)


def leaning_on_one(
    comparisons: Sequence[Comparison],
    evidence: Evidence,
    standing: Standing,
    again: Callable[[Evidence, Standing, int], Comparison],
) -> dict[int, Rival]:
    """The claims that fall once one reader, kit lot or vessel is set aside, by place of the comparison.

    Vessels of brews that stand in days are not asked about: there a vessel that favours an arm looks like a day.

    Parameters
    ----------
    comparisons
        As judged with everything. [-]
    evidence
        What they rest on. [-]
    standing
        What this look may claim. [-]
    again
        Judges one comparison by itself, by some of the evidence and another standing. [-]

    Source
    ------
    berger-1982
    """
    found: dict[int, Rival] = {}
    if all(c.call == CANNOT_TELL for c in comparisons) or evidence.kind.is_counted or evidence.is_limited:
        return found
    milder = replace(standing, allowance=Allowance(difference=2.0 * MOST_FALSE, sameness=MOST_FALSE))
    told = [place for place, c in enumerate(comparisons) if c.call != CANNOT_TELL]
    for name, label, others in _others(evidence):
        for place in told:
            part = again(others, milder, place)
            if part.call != comparisons[place].call and part.effect is not None:
                found.setdefault(place, _leans(comparisons[place], name, label))
    return found


def _others(evidence: Evidence) -> list[tuple[str, str, Evidence]]:
    """Every label that met several brews of an arm, and the evidence without it where enough is left to judge."""
    found = []
    rows = np.eye(evidence.layout.n_arms)[1:] - np.eye(evidence.layout.n_arms)[0]
    whole = is_estimable(evidence.layout, rows)
    in_days = any(result.block for result in evidence.results)
    for name, labels in recorded(evidence.results).items():
        if name == "vessel" and in_days:
            continue
        for label in sorted(set(labels) - {NOT_RECORDED}):
            out = np.equal(labels, label)
            met = evidence.layout.membership[out].sum(axis=0)
            if (met > 0).sum() < 2 or met.max() < 2 or out.sum() > LARGEST_SHARE * len(out):
                continue
            others = _apart(evidence, out)
            if others.layout.df >= 1 and bool((is_estimable(others.layout, rows) | ~whole).all()):
                found.append((name, label, others))
    return found


def _apart(evidence: Evidence, out: NDArray[np.bool_]) -> Evidence:
    """The same with what these brews show in each arm taken out: they still tell how much brews scatter."""
    layout = evidence.layout
    own = layout.membership[out].sum(axis=0) > 0
    apart = layout.membership[:, own] * out[:, None]
    return replace(evidence, layout=replace(layout, matrix=np.column_stack([layout.matrix, apart])))


def _leans(claim: Comparison, name: str, label: str) -> Rival:
    return Rival(
        name=name,
        words=f"{claim.label}: without the brews of {name} {label} this cannot be told, so what {label} does to one arm alone "
        "may be all of it.",
        remedy=f"Let others have their share: more brews of every arm for each {name}, or three and more of them, none of "
        "whom knows the recipe.",
        blocks_claim=True,
    )

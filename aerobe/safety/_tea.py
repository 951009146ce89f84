"""What the additives, the compost and the water make of a tea: treated or not, and what grew in such teas."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._findings import FAILS, SHOWN, STATES
from aerobe.safety._thresholds import DECIDE, tables, threshold

TREATED, UNTREATED, UNKNOWN = "treated", "untreated", "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class TeaFinding:
    """Treated, untreated or not known, after 21 CFR 112.51; taken as the careful reading elsewhere too."""

    kind: str
    why: str
    has_additives: bool | None
    sources: tuple[str, ...]


def judge_tea(*, compost: str, water: str, additives: tuple[str, ...] | None) -> TeaFinding:
    """Whether a tea counts as treated.

    Parameters
    ----------
    compost
        Finding on the compost's heating, one of STATES.
    water
        Finding on the water, one of STATES.
    additives
        Names of everything else that went in; () for nothing; None when not known.

    Returns
    -------
    TeaFinding
        `treated` only if compost and water are shown to pass and nothing was added.

    Raises
    ------
    UnusableRecord
        If the finding is none of the known ones.

    Notes
    -----
    The rule is one of the United States for produce farms. Every food counts as an additive here, which is the careful reading.
    Local codes and licensed practice decide.

    Source
    ------
    cfr-21-112
    """
    if compost not in STATES or water not in STATES:
        raise UnusableRecord("That is no finding.", f"Use one of: {', '.join(STATES)}.")
    why, kind = _kind(compost, water, additives)
    return TeaFinding(
        kind=kind, why=why + DECIDE, has_additives=None if additives is None else bool(additives), sources=("cfr-21-112",)
    )


def _kind(compost: str, water: str, additives: tuple[str, ...] | None) -> tuple[str, str]:
    if additives:
        return (
            f"It holds {', '.join(additives)}: a tea with an additive counts as untreated, whatever compost it is made of.",
            UNTREATED,
        )
    if compost == FAILS:
        return "Its compost does not meet the rule of heating.", UNTREATED
    if water == FAILS:
        return "Its water is surface water or holds E. coli.", UNTREATED
    missing = [
        name
        for name, shown in (
            ("the compost's heating", compost == SHOWN),
            ("the water", water == SHOWN),
            ("the additives", additives is not None),
        )
        if not shown
    ]
    if missing:
        return f"Not shown: {', '.join(missing)}.", UNKNOWN
    return "Compost and water are shown to pass and nothing was added.", TREATED


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskNote:
    """One statement on what happened in published brews like this one."""

    text: str
    growth_log10: tuple[float, float] | None  # least and most that was reported; None: no growth seen [log10]
    sources: tuple[str, ...]


def regrowth_risk(*, molasses_g_per_l: float | None, other_additives: bool | None) -> tuple[RiskNote, ...]:
    """What published brews say about harmful bacteria in one with such food.

    Parameters
    ----------
    molasses_g_per_l
        Molasses as bought; None when not known. [g/L]
    other_additives
        Whether kelp, fish, humic or other foods went in; None when not known.

    Returns
    -------
    tuple of RiskNote
        Statements, the worst first. None of them is a forecast for this brew.

    Raises
    ------
    UnusableRecord
        If the dose is impossible.

    Source
    ------
    duffy-2004, ingram-millner-2007
    """
    if molasses_g_per_l is not None and not 0.0 <= molasses_g_per_l <= 1500.0:
        raise UnusableRecord(f"{molasses_g_per_l:g} g/L is no dose of molasses.", "Give grams per litre of brew.")
    notes, facts = [], tables("risk")
    limit = threshold("sugar-without-regrowth").value
    percent = None if molasses_g_per_l is None else molasses_g_per_l / (10.0 * threshold("molasses-density").value)
    if percent is None or percent > limit:
        notes.append(_note(facts["molasses"], "" if percent is None else f"This brew: {percent:.2f} % molasses by volume. "))
    if other_additives is not False:
        notes.append(_note(facts["supplements"]))
    if percent is not None and percent <= limit:
        notes.append(_note(facts["little-molasses"], f"This brew: {percent:.2f} % molasses by volume. "))
    if percent == 0.0 and other_additives is False:
        notes.append(_note(facts["no-additives"]))
    return tuple(notes)


def _note(fact: dict[str, object], before: str = "") -> RiskNote:
    low, high = fact.get("least_log10"), fact.get("most_log10")
    growth = (float(low), float(high)) if isinstance(low, int | float) and isinstance(high, int | float) else None
    return RiskNote(
        text=f"{before}{fact['says']} Not a forecast for this brew.{DECIDE}", growth_log10=growth, sources=(str(fact["source"]),)
    )

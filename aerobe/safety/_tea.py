"""What the additives, the compost and the water make of a tea: treated or not, and what grew in such teas."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._findings import FAILS, SHOWN, STATES
from aerobe.safety._rule_axes import FOOD, axes_of
from aerobe.safety._rule_table import decide, table_of
from aerobe.safety._thresholds import DECIDE, tables, threshold
from aerobe.safety._use_facts import (
    HUMAN,
    PLANTS,
    SLUDGE_A,
    SLUDGE_B,
    TREATED,
    TREATED_A,
    UNKNOWN,
    UNTREATED,
    UseFacts,
)

CERTIFICATES = ("112.55(a)", "112.55(b)", "class A", "class B")
# Words of the table of statuses, as kinds of tea.
KIND_OF = {
    "plants": PLANTS,
    "untreated": UNTREATED,
    "a": TREATED_A,
    "b": TREATED,
    "sludge-a": SLUDGE_A,
    "sludge-b": SLUDGE_B,
    "human": HUMAN,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TeaFinding:
    """What a tea counts as, after 21 CFR 112.51; taken as the careful reading elsewhere too."""

    kind: str
    why: str
    has_additives: bool | None
    sources: tuple[str, ...]


def judge_tea(use: UseFacts) -> TeaFinding:
    """What a tea counts as when material, additives, water and tests are looked at together.

    Parameters
    ----------
    use
        What is known of the tea; what is not answered leaves it `not known`.

    Returns
    -------
    TeaFinding
        One kind only where every answer that is still possible comes out alike.

    Notes
    -----
    The rule is one of the United States for produce farms. Local codes and licensed practice decide.

    Source
    ------
    cfr-21-112
    """
    outcome = decide(table_of("status").cells, axes_of(use, FOOD))
    cells = [cell for cell in outcome.cells if cell is not None]
    kinds = {cell.answer for cell in cells}
    why = "Not shown: what it is made of, its treatment, its additives or its water."
    if len(kinds) == 1 and None not in outcome.cells:
        why = " ".join(dict.fromkeys(f"{cell.says} [{cell.paragraph}]" for cell in cells))
    return TeaFinding(
        kind=KIND_OF[kinds.pop()] if len(kinds) == 1 and None not in outcome.cells else UNKNOWN,
        why=why + DECIDE,
        has_additives=use.has_additives,
        sources=("cfr-21-112",),
    )


def judge_material(*, compost: str, made_of: tuple[str, ...], certificate: str = "") -> str:
    """What the material counts as by its process alone.

    Parameters
    ----------
    compost
        Finding on its heating, one of STATES.
    made_of
        Some of MADE_OF; () for not known.
    certificate
        What a certificate of the process says: 112.55(a), 112.55(b), class A or class B; "" for none.

    Returns
    -------
    str
        One of KINDS. A heat log that fails is not mended by a certificate.

    Raises
    ------
    UnusableRecord
        If the finding or the certificate is none of the known ones.

    Source
    ------
    cfr-21-112: 112.54, 112.60(b); cfr-40-503
    """
    if compost not in STATES:
        raise UnusableRecord("That is no finding.", f"Use one of: {', '.join(STATES)}.")
    if certificate not in ("", *CERTIFICATES):
        raise UnusableRecord(f"'{certificate}' is no certificate on file.", f"Use one of: {', '.join(CERTIFICATES)}.")
    if "human waste" in made_of:
        return HUMAN
    if "sewage sludge" in made_of:
        return {"class A": SLUDGE_A, "class B": SLUDGE_B}.get(certificate, UNKNOWN)
    if set(made_of) == {"plants"}:
        return PLANTS
    if compost == FAILS:
        return UNTREATED
    if certificate == "112.55(a)":
        return TREATED_A
    return TREATED if compost == SHOWN or certificate == "112.55(b)" else UNKNOWN


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

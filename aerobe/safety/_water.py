"""Water and gear: what water may become a treated tea, getting rid of chlorine, sanitising."""

from __future__ import annotations

import re
from dataclasses import dataclass

from aerobe.errors import OutsideValidity, UnusableRecord
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, Finding, finding
from aerobe.safety._thresholds import tables, threshold


def water_kind(note: str) -> str:
    """The kind of water that a free-text note names; with several, the one to be most careful with."""
    words = set(re.findall(r"[a-z]+", note.lower()))
    kinds = tables("water")["kinds"]
    if not words <= set(kinds["public"]) | set(kinds["plain"]):
        # A word that is not known beside "tap" may be what went in after the tap.
        kinds = {**kinds, "public": ()}
    return next((kind for kind in ("surface", "other", "rain", "well", "public") if words & set(kinds[kind])), "not known")


def judge_water(note: str, *, e_coli_found: bool | None = None) -> Finding:
    """Whether the water is of a kind that a treated tea may be made of.

    Parameters
    ----------
    note
        What the water is, in words: tap, well, rain, pond ...
    e_coli_found
        Whether generic E. coli was found in 100 mL; None for not tested.

    Returns
    -------
    Finding
        Untreated surface water and water with E. coli fail; well and rain water need a test; a public supply stands
        on its supplier's word.

    Source
    ------
    cfr-21-112
    """
    kind, rule = water_kind(note), threshold("water-e-coli")
    source = rule.source
    if e_coli_found:
        return finding("water", FAILS, f"{rule.says} E. coli was found.", "Use drinking water.", source)
    if kind == "surface":
        return finding(
            "water",
            FAILS,
            f"'{note}' is surface water. {tables('water')['kinds']['says']}",
            "Use drinking water.",
            source,
        )
    if kind == "public":
        return finding(
            "water",
            SHOWN,
            f"'{note}' is noted as drinking water; keep the supplier's statement.",
            "Take out the chlorine; cover the vessel.",
            source,
        )
    if kind in ("well", "rain") and e_coli_found is False:
        return finding(
            "water",
            SHOWN,
            f"'{note}': no E. coli was found in 100 mL.",
            "Repeat the test when anything changes.",
            source,
        )
    return finding(
        "water",
        NOT_SHOWN,
        f"{rule.says} For '{note or 'not noted'}' that is not shown.",
        "Use drinking water, or have 100 mL tested for E. coli.",
        source,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Dechlorination:
    """Amounts that take the chlorine out of a vessel of water. Use one of them."""

    chlorine_mg: float  # [mg Cl2]
    ascorbic_acid_mg: float | None  # None where it is not to be relied on [mg]
    sodium_ascorbate_mg: float | None  # [mg]
    thiosulphate_least_mg: float  # sodium thiosulphate: start with this [mg]
    thiosulphate_most_mg: float  # as pentahydrate; more is of no use [mg]
    advice: tuple[str, ...]
    sources: tuple[str, ...]


def dechlorinate(*, water_l: float, chlorine_mg_per_l: float, chloramine: bool | None) -> Dechlorination:
    """How much it takes to rid water of chlorine or chloramine.

    Parameters
    ----------
    water_l
        Water. [L]
    chlorine_mg_per_l
        Total chlorine, from a test strip or the supplier. [mg/L]
    chloramine
        Whether the supplier uses chloramine; None when not known, which counts as yes.

    Returns
    -------
    Dechlorination
        Amounts. [mg]

    Raises
    ------
    OutsideValidity
        If the chlorine is beyond drinking water.
    UnusableRecord
        If there is no water.

    Notes
    -----
    Studies and practice disagree on ascorbic acid against chloramine, so it is given for free chlorine only.
    The ammonia of chloramine stays in the water. Thiosulphate in excess takes up oxygen.

    Source
    ------
    pipeline-disinfection-guide, basu-de-souza-2011, arithmetic-of-the-reaction, tea-common-practice

    Examples
    --------
    >>> dechlorinate(water_l=20.0, chlorine_mg_per_l=2.0, chloramine=False).ascorbic_acid_mg
    100.0
    """
    most = threshold("chlorine-possible").value
    if not 0.0 <= chlorine_mg_per_l <= most:
        raise OutsideValidity(
            f"{chlorine_mg_per_l:g} mg/L of chlorine is outside 0 to {most:g} mg/L, the range of drinking water.",
            "Check the strip and its unit; do not brew with such water.",
        )
    if not 0.0 < water_l < 1e7:
        raise UnusableRecord(f"{water_l:g} L is no amount of water for a brew.", "Give the litres in the vessel.")
    chlorine = water_l * chlorine_mg_per_l
    free = chloramine is False
    hours = threshold("chlorine-standing").value
    first = (
        f"Free chlorine: air for a few hours, or {hours:g} h standing open, will do without any chemical."
        if free
        else "Chloramine does not leave by standing or by air" + ("." if chloramine else "; not knowing counts as chloramine.")
    )
    advice = (
        first,
        "Dissolve it in a cup of water, stir it in, wait 10 minutes and test TOTAL chlorine with a strip: it must show none.",
        "Add no more than needed: what is left of thiosulphate takes up oxygen, so aerate before the compost goes in.",
        "Wear gloves and eye protection, keep chemicals from children; into the water only, never into bleach: acid and bleach "
        "give poisonous gas, thiosulphate and acid give sulphur dioxide. Follow the label.",
    )
    return Dechlorination(
        chlorine_mg=chlorine,
        ascorbic_acid_mg=chlorine * threshold("ascorbic-acid-per-chlorine").value if free else None,
        sodium_ascorbate_mg=chlorine * threshold("sodium-ascorbate-per-chlorine").value if free else None,
        thiosulphate_least_mg=chlorine * threshold("thiosulphate-least-per-chlorine").value,
        thiosulphate_most_mg=chlorine * threshold("thiosulphate-most-per-chlorine").value,
        advice=advice,
        sources=(
            "pipeline-disinfection-guide",
            "basu-de-souza-2011",
            "arithmetic-of-the-reaction",
            "tea-common-practice",
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sanitising:
    """Bleach for a bath to sanitise clean gear, and the steps."""

    bleach_ml: float
    strength_mg_per_l: float
    contact_min: float
    steps: tuple[str, ...]
    sources: tuple[str, ...]


def sanitise(*, bath_l: float, bleach_percent: float) -> Sanitising:
    """How much household bleach makes a bath for clean gear.

    Parameters
    ----------
    bath_l
        Water of the bath. [L]
    bleach_percent
        Available chlorine of the bleach by its label, mass over volume. [%]

    Returns
    -------
    Sanitising
        Bleach [mL], strength [mg/L], contact [min], steps.

    Raises
    ------
    OutsideValidity
        If the bleach is no household bleach.
    UnusableRecord
        If there is no bath.

    Source
    ------
    bleach-sanitising-guidance, bleach-safety-sheets

    Examples
    --------
    >>> round(sanitise(bath_l=1.0, bleach_percent=7.86).bleach_ml, 2)
    2.54
    """
    if not 1.0 <= bleach_percent <= 15.0:
        raise OutsideValidity(
            f"Bleach of {bleach_percent:g} % is outside 1 to 15 %.", "Read the available chlorine on the label."
        )
    if not 0.0 < bath_l < 1e6:
        raise UnusableRecord(f"{bath_l:g} L is no bath.", "Give the litres of water.")
    strength, contact = threshold("sanitiser-strength"), threshold("sanitiser-contact")
    # 1 % of mass over volume is 10 g/L = 10 mg/mL.
    return Sanitising(
        bleach_ml=strength.value * bath_l / (bleach_percent * 10.0),
        strength_mg_per_l=strength.value,
        contact_min=contact.value,
        steps=(
            "Pump off and unplugged. Never run air or a pump through bleach: its bubbles make a mist that burns the lungs.",
            "Empty, take apart, brush off all slime with detergent and rinse: bleach does not work through dirt.",
            "Outdoors or windows open, gloves and eye protection: cold water first, then plain bleach, nothing else.",
            f"Lay parts, hoses and stones under the surface, fill hoses by pouring, leave still for {contact.value:g} minutes.",
            "Drain away from your face, then flush twice with drinking water outdoors, hoses and stones too.",
            "Only then run the pump in clean water outdoors; let all dry. Bleach that is left kills the tea.",
            "Never with acids (vinegar, citric acid), ammonia, alcohol or peroxide: poisonous gas. The label decides.",
            "Pour the bath away as your authority says: not on beds, not into ponds or streams.",
        ),
        sources=(strength.source, "bleach-safety-sheets"),
    )

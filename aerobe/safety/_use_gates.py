"""Gates between a harvested tea and the ground: who eats from it, how it is put on, and when."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from aerobe.errors import UnusableRecord
from aerobe.safety._compost import jurisdictions
from aerobe.safety._facts import BrewFacts, Gate, open_gate, shut_gate, unshown_gate
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, STATES
from aerobe.safety._gates import harvest_gates
from aerobe.safety._mist import MistFacts, mist_gates
from aerobe.safety._tea import TREATED, UNKNOWN, UNTREATED
from aerobe.safety._thresholds import DECIDE, tables, threshold


@dataclass(frozen=True, slots=True, kw_only=True)
class UseFacts(MistFacts):
    """What is known of where a tea is to go and how it is put on; None means not known and keeps the gate shut."""

    jurisdiction: str = ""  # whose rules the person chose; "" for none
    crop: str = ""  # free text
    edible: bool | None = None  # is anything eaten from this place
    touches_edible_part: bool | None = None  # does tea reach a part that is eaten, now or later
    edible_part_touches_soil: bool | None = None  # roots, lettuce, strawberries ...
    days_to_harvest: float | None = None  # from the use to the first harvest of the crop [d]
    tea: str = UNKNOWN  # treated, untreated or not known
    tea_why: str = "Nothing is recorded of its compost, water and additives."
    has_additives: bool | None = None  # foods in the brew: molasses, kelp, fish ...
    e_coli: str = NOT_SHOWN  # finding of the indicator test, one of STATES
    enterococci: str = NOT_SHOWN  # the same

    def __post_init__(self) -> None:
        MistFacts.__post_init__(self)
        if self.e_coli not in STATES or self.enterococci not in STATES:
            raise UnusableRecord("That is no finding of an indicator test.", f"Use one of: {', '.join(STATES)}.")
        if self.tea not in (TREATED, UNTREATED, UNKNOWN):
            raise UnusableRecord(f"'{self.tea}' is no kind of tea.", f"Use {TREATED}, {UNTREATED} or {UNKNOWN}.")


def use_gates(brew: BrewFacts, use: UseFacts) -> tuple[Gate, ...]:
    """Every gate between a tea and this use of it: the gates of the harvest, and those of the place.

    Parameters
    ----------
    brew
        What is known of the brew. [mg/L, h, degC]
    use
        What is known of the place and the crop. [d]

    Returns
    -------
    tuple of Gate
        The gates of harvest and spray, crop, rules chosen, sprouts, contact with food, indicator tests, days to harvest.

    Notes
    -----
    All open means that nothing known stands against this use. It certifies nothing: local codes and licensed practice decide.

    Source
    ------
    nosb-2004, nosb-2006, cfr-21-112, cfr-7-205-203, spray-labels
    """
    nothing_eaten = use.edible is False and use.touches_edible_part is not True and not _is_food(use.crop)
    # What the place is for decides on the compost: a brew noted as "for flowers" carries no easier gate onto a plate.
    gates = (*harvest_gates(replace(brew, edible=False if nothing_eaten else None)), *mist_gates(use))
    if nothing_eaten:
        flowers = open_gate("crop", "Nothing is eaten from this place." + DECIDE, "aerobe-cautious-choice")
        return (*gates, flowers, _indicators(use)) if FAILS in (use.e_coli, use.enterococci) else (*gates, flowers)
    return (*gates, _crop(use), _rules_chosen(use), _sprouts(use), _contact(use), _indicators(use), _days(use))


def _crop(use: UseFacts) -> Gate:
    name, source = "crop", "aerobe-cautious-choice"
    if use.edible is None:
        return unshown_gate(name, "It is not noted whether anything is eaten from this place.", "Say so: yes or no.", source)
    if use.edible is False:
        return shut_gate(
            name,
            f"'{use.crop}' is noted as not eaten, yet it names a crop that is, or tea reaches a part that is eaten.",
            "Correct the note: eaten, or another name for the crop.",
            source,
        )
    if use.touches_edible_part is None:
        return unshown_gate(name, "It is not noted whether the tea reaches a part that is eaten.", "Say so: yes or no.", source)
    return open_gate(name, "Crop and contact are noted.", source)


def _rules_chosen(use: UseFacts) -> Gate:
    name, known = "rules chosen", jurisdictions()
    if use.jurisdiction in known:
        return open_gate(name, f"Checked beside the rules on file for {use.jurisdiction}." + DECIDE, "aerobe-cautious-choice")
    return unshown_gate(
        name,
        "No set of rules is chosen, or none is on file for that name.",
        f"Choose one of: {', '.join(known)}; for another place ask the local authority." + DECIDE,
        "aerobe-cautious-choice",
    )


def _sprouts(use: UseFacts) -> Gate:
    name = "sprouts"
    words = _words(use.crop)
    if words & set(tables("use")["sprouts"]["words"]) and not words & set(tables("use")["sprouts"]["but_not"]):
        return shut_gate(
            name,
            "Sprouts for eating grow warm and wet and are eaten whole; tea does not belong on them.",
            "It does not open." + DECIDE,
            "nosb-2006",
        )
    return open_gate(name, "Not noted as sprouts for eating.", "nosb-2006")


def _contact(use: UseFacts) -> Gate:
    name = "contact with food"
    if _kept_off(use):
        return open_gate(name, "The tea is noted as not reaching any part that is eaten." + DECIDE, "cfr-21-112")
    if use.tea == TREATED:
        return open_gate(name, "The tea counts as treated under the rule named. " + use.tea_why + DECIDE, "cfr-21-112")
    soil = "or put it on the soil where it touches no part that is eaten, and keep the days before harvest"
    sprayed = "" if use.touches_edible_part is not False else "A spray over a food crop is taken to reach what is eaten. "
    if use.tea == UNTREATED:
        return shut_gate(
            name,
            sprayed + "The tea counts as untreated. " + use.tea_why,
            f"Brew without additives from compost and water that are shown to pass, {soil}." + DECIDE,
            "cfr-21-112",
        )
    return unshown_gate(
        name,
        sprayed + "The tea is not shown to count as treated. " + use.tea_why,
        f"Record the compost's heat log, the water and all additives, {soil}." + DECIDE,
        "cfr-21-112",
    )


def _indicators(use: UseFacts) -> Gate:
    name, source = "indicator tests", "nosb-2004"
    how = (
        "Test a sample of this very batch for E. coli or enterococci with enough tubes that the upper limit passes too." + DECIDE
    )
    findings = (use.e_coli, use.enterococci)
    if FAILS in findings:
        return shut_gate(name, "An indicator test of this tea fails.", "It does not open for this batch." + DECIDE, source)
    if SHOWN in findings:
        return open_gate(
            name, "An indicator test is shown to pass. It speaks for that sample, not for every germ." + DECIDE, source
        )
    if use.tea == TREATED and use.has_additives is False:
        return open_gate(name, "Treated and without additives: the guidance asks for no test." + DECIDE, "nosb-2006")
    if _kept_off(use) and _long_before_harvest(use):
        return open_gate(name, "Not tested; the days before harvest stand in for the test." + DECIDE, "nosb-2006")
    return unshown_gate(name, "No indicator test of this tea is shown to pass.", how, source)


def _days(use: UseFacts) -> Gate:
    name, sources = "days to harvest", ("cfr-7-205-203", "nosb-2006")
    if use.tea == TREATED or (SHOWN in (use.e_coli, use.enterococci) and _kept_off(use)):
        return open_gate(name, "No number of days is asked of this tea by the rules on file." + DECIDE, *sources)
    needed = days_needed(use.edible_part_touches_soil)
    if use.days_to_harvest is None:
        return unshown_gate(
            name, f"The days to harvest are not noted; {needed:g} are asked.", "Enter the first day of harvest.", *sources
        )
    if not use.days_to_harvest >= needed:
        return shut_gate(
            name,
            f"{use.days_to_harvest:g} d to harvest; as with raw manure {needed:g} d are asked.",
            f"Use it at least {needed:g} d before harvest, or where nothing is eaten." + DECIDE,
            *sources,
        )
    return open_gate(name, f"{use.days_to_harvest:g} d to harvest; {needed:g} d are asked." + DECIDE, *sources)


def days_needed(edible_part_touches_soil: bool | None) -> float:
    """The days between an untreated tea and the harvest, as with raw manure; not knowing counts as touching the soil. [d]

    Source
    ------
    cfr-7-205-203
    """
    return threshold("raw-manure-days" if edible_part_touches_soil is False else "raw-manure-days-soil").value


def _kept_off(use: UseFacts) -> bool:
    """Whether tea reaches nothing that is eaten; a spray over a food crop does, unless it comes long before the harvest."""
    return use.touches_edible_part is False and (use.sprayed is False or _long_before_harvest(use))


def _long_before_harvest(use: UseFacts) -> bool:
    return use.days_to_harvest is not None and use.days_to_harvest >= days_needed(use.edible_part_touches_soil)


def _is_food(crop: str) -> bool:
    return bool(_words(crop) & set(tables("use")["eaten"]["words"]))


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+", text.lower()))

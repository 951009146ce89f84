"""Gates: what holds a harvest or a use back, why, and what opens it again.

A gate is never opened by not knowing. `shown` is False where it is closed only because a fact is missing.
"""

from __future__ import annotations

from aerobe.safety._air_gates import oxygen_forecast, oxygen_measured, oxygen_over_the_brew, time_without_air
from aerobe.safety._facts import BrewFacts, Gate, open_gate, shut_gate, unshown_gate
from aerobe.safety._findings import FAILS, SHOWN
from aerobe.safety._smell import smell_of
from aerobe.safety._thresholds import DECIDE, threshold


def harvest_gates(facts: BrewFacts) -> tuple[Gate, ...]:
    """The gates between a brew and its harvest.

    Parameters
    ----------
    facts
        What is known now; every missing fact keeps its gate shut. [mg/L, h, degC]

    Returns
    -------
    tuple of Gate
        Oxygen measured, oxygen over the brew, oxygen forecast, smell, time without air, temperature, compost history.

    Notes
    -----
    All open means that nothing known stands against the harvest. It is no statement that the tea is safe:
    local codes and licensed practice decide.

    Source
    ------
    aerobe-cautious-choice, tea-common-practice, ross-2003, who-legionella-2007, duffy-2004
    """
    return (
        oxygen_measured(facts),
        oxygen_over_the_brew(facts),
        oxygen_forecast(facts),
        _smell(facts),
        time_without_air(facts),
        _temperature(facts),
        _compost(facts),
    )


def _smell(facts: BrewFacts) -> Gate:
    name, source = "smell", "tea-common-practice"
    finding = smell_of(facts.smell)
    if finding == FAILS:
        return shut_gate(
            name,
            f"It smells '{facts.smell}', which goes with missing oxygen.",
            "Aerate until it smells of earth or nothing and note that; else do not use it on anything eaten: "
            "back to a compost heap.",
            source,
        )
    if finding == SHOWN:
        return open_gate(name, f"It smells '{facts.smell}'. Smell finds missing oxygen and no germs.", source)
    return unshown_gate(
        name,
        "The smell is not noted, or not in words that are known.",
        "Fan some air from the vessel towards you (do not lean over it) and note the smell: earthy, none, sour ...",
        source,
    )


def _temperature(facts: BrewFacts) -> Gate:
    name, warm, reading = "temperature", threshold("warm-limit"), facts.temperature_degc
    sources = (warm.source, "ross-2003", "who-legionella-2007")
    if reading is None:
        return unshown_gate(name, "The temperature is not known.", "Measure the water and enter it.", *sources)
    if reading > warm.value:
        return shut_gate(
            name,
            f"The brew reached {reading:.1f} degC; above {warm.value:g} degC gut bacteria and Legionella grow fast.",
            f"Cool it to {warm.value:g} degC or less and start anew, or use it only where nothing is eaten "
            "and nobody breathes the spray.",
            *sources,
        )
    return open_gate(name, f"{reading:.1f} degC is at or below {warm.value:g} degC.", *sources)


def _compost(facts: BrewFacts) -> Gate:
    name, source = "compost history", "duffy-2004"
    if "human waste" in facts.made_of:
        return shut_gate(name, "It holds human waste.", "It does not open: such a compost makes no tea." + DECIDE, "cfr-21-112")
    if facts.compost == SHOWN:
        return open_gate(name, facts.compost_why, source)
    if facts.made_of:
        # A harvest is no use: whoever knows what is in it can ask where it may go, as of raw manure 90 or 120 days ahead.
        said = f"Noted as made of {', '.join(facts.made_of)}, and its heating is not shown to meet a rule."
        return open_gate(
            name, f"{said} Ask where such a tea may go, and how many days ahead, before you harvest it." + DECIDE, source
        )
    how = (
        "Note what the compost was made of, then ask where such a tea may go; or use one whose heat log meets the rule." + DECIDE
    )
    make = shut_gate if facts.compost == FAILS else unshown_gate
    return make(name, facts.compost_why, how, source)

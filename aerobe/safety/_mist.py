"""Gates of a spray: a mist that carries living microbes is breathed by whoever stands near, or drifts to the neighbour.

Too much wind carries it off; too little, a clear still evening or a closed room leave it hanging where people breathe.
"""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._facts import Gate, open_gate, shut_gate, unshown_gate
from aerobe.safety._thresholds import DECIDE, Threshold, threshold

OUTDOORS, GREENHOUSE, ROOM = "outdoors", "greenhouse", "room"
SPRAY_PLACES = ("", OUTDOORS, GREENHOUSE, ROOM)
LEGIONELLA, AIR, DRIFT, BREATHING = "worksafe-qld-legionella", "wind and still air", "spray drift", "people and breathing"
POUR = "Pour it with a can close to the soil."


@dataclass(frozen=True, slots=True, kw_only=True)
class MistFacts:
    """What is known of how a tea is put on, and of the air and the people around; None or "" means not known."""

    sprayed: bool | None = None  # puts drops into the air; None counts as yes
    spray_place: str = ""  # one of SPRAY_PLACES
    wind_m_per_s: float | None = None  # where it is sprayed [m/s]
    inversion: bool | None = None  # signs of a still layer: smoke, mist or dust lies flat; clear calm dusk to dawn
    coarse_drops: bool | None = None  # medium or coarser drops by the nozzle's label, that fall at once
    clear_m: float | None = None  # distance kept free of people, houses and stalls on all sides [m]
    water_clear: bool | None = None  # no pond, stream, well or drain within the drift
    neighbours_clear: bool | None = None  # no neighbour's ground, open window or washing within the drift
    people_away: bool | None = None  # nobody without protection within reach of the drift
    animals_away: bool | None = None  # no pets, livestock or hives within reach of the drift
    breathing_protection: bool | None = None  # well-fitting P2, N95 or FFP2 worn by everyone who sprays
    aired: bool | None = None  # under glass: aired before anyone goes in again without protection

    def __post_init__(self) -> None:
        if self.spray_place not in SPRAY_PLACES:
            raise UnusableRecord(
                f"'{self.spray_place}' is no place to spray.", f"Use {OUTDOORS}, {GREENHOUSE} or {ROOM}, or leave it out."
            )


def mist_gates(facts: MistFacts) -> tuple[Gate, ...]:
    """The gates of the air, the drift and the people around a spray; one open gate where it is poured.

    Parameters
    ----------
    facts
        What is known of the spray. [m/s, m]

    Returns
    -------
    tuple of Gate
        Wind and still air, spray drift, people and breathing.

    Notes
    -----
    The distance is that of a rule for pesticides, which a tea is not: it is the nearest that is published. Local codes and
    licensed practice decide.

    Source
    ------
    spray-labels, inversion-guides, cfr-40-170, worksafe-qld-legionella
    """
    if facts.sprayed is False:
        return (open_gate(DRIFT, "It is poured, not sprayed.", LEGIONELLA),)
    if facts.spray_place == ROOM:
        why = "In a closed room the mist hangs where people breathe, and settles on what they touch."
        return (shut_gate(AIR, why, f"It does not open for a spray. {POUR}", LEGIONELLA), _drift(facts), _people(facts))
    return (_under_glass(facts) if facts.spray_place == GREENHOUSE else _air(facts), _drift(facts), _people(facts))


def _air(facts: MistFacts) -> Gate:
    most, least = threshold("spray-wind-most"), threshold("spray-wind-least")
    wind, sources = facts.wind_m_per_s, (most.source, "inversion-guides")
    if not facts.spray_place:
        return unshown_gate(AIR, "It is not noted where it is sprayed.", "Say: outdoors, greenhouse or room.", *sources)
    if wind is None:
        return unshown_gate(AIR, "The wind is not noted.", f"Measure the wind where you spray and note it. {POUR}", *sources)
    # Asked so that a value that is no number fails both.
    if not wind <= most.value:
        return shut_gate(AIR, f"Wind of {wind:.1f} m/s. {most.says}", f"Wait for less wind. {POUR}" + DECIDE, *sources)
    if not wind >= least.value:
        return shut_gate(AIR, f"Wind of {wind:.1f} m/s. {least.says}", f"Wait for a light steady wind. {POUR}" + DECIDE, *sources)
    return _answered(
        AIR,
        facts.inversion,
        wanted=False,
        asked="whether the air lies still in a layer",
        against="Smoke, mist or dust lies flat: fine drops hang in such air for hours and move far, also with some wind.",
        how="Look at smoke or dust: it must rise and mix. Wait for the sun to warm the ground.",
        good=f"Wind of {wind:.1f} m/s and no sign of a still layer.",
        sources=sources,
    )


def _under_glass(facts: MistFacts) -> Gate:
    return _answered(
        AIR,
        facts.aired,
        wanted=True,
        asked="whether the house is aired before anyone goes in again",
        against="Under glass no wind takes the mist away, and nobody airs the house.",
        how=f"Open all vents, or run the fans, and keep everyone out. {threshold('airing-least').says} {POUR}",
        good="Under glass; it is aired before anyone goes in again without protection.",
        sources=(LEGIONELLA, threshold("airing-least").source),
    )


def _drift(facts: MistFacts) -> Gate:
    drops, band = threshold("drop-size-least"), threshold("spray-band")
    coarse = _answered(
        DRIFT,
        facts.coarse_drops,
        wanted=True,
        asked="how fine the drops are",
        against=f"A fine mist. {drops.says}",
        how=f"Take a coarser nozzle and less pressure, by the nozzle's label medium or coarser. {POUR}",
        good="Medium or coarser drops.",
        sources=(drops.source,),
    )
    if not coarse.is_open or facts.spray_place != OUTDOORS:
        # Under glass the walls hold the drift; a place that is not known has shut the first gate.
        return coarse
    return _distance(facts.clear_m, band) or _all_of(
        DRIFT,
        {
            "that no pond, stream, well or drain is within the drift": facts.water_clear,
            "that no neighbour's ground, open window or washing is within the drift": facts.neighbours_clear,
        },
        how=f"Turn away from it, keep more distance, or wait for wind the other way. {POUR}",
        good=f"Medium or coarser drops; {facts.clear_m or 0.0:g} m are kept free, no water and no neighbour within the drift.",
        sources=(band.source, "aerobe-cautious-choice"),
    )


def _distance(clear_m: float | None, band: Threshold) -> Gate | None:
    if clear_m is None:
        return unshown_gate(
            DRIFT, f"The distance kept free is not noted. {band.says}", "Pace it on all sides and note it.", band.source
        )
    if not clear_m >= band.value:
        return shut_gate(DRIFT, f"{clear_m:g} m are kept free. {band.says}", f"Keep more distance. {POUR}" + DECIDE, band.source)
    return None


def _people(facts: MistFacts) -> Gate:
    return _all_of(
        BREATHING,
        {
            "that nobody without protection is within reach of the drops": facts.people_away,
            "that pets, livestock and hives are out of reach of the drops": facts.animals_away,
            "that everyone who sprays wears a well-fitting P2, N95 or FFP2 mask": facts.breathing_protection,
        },
        how=f"See to it and note it. {POUR}",
        good="People and animals are away, and breathing is protected.",
        sources=(LEGIONELLA, "cfr-40-170"),
    )


def _all_of(name: str, asked: dict[str, bool | None], *, how: str, good: str, sources: tuple[str, ...]) -> Gate:
    """Open only where everything asked is answered with yes; a no weighs more than a missing answer."""
    if refused := [what for what, answer in asked.items() if answer is False]:
        return shut_gate(name, f"It is noted as not so: {'; '.join(refused)}.", how + DECIDE, *sources)
    if missing := [what for what, answer in asked.items() if answer is None]:
        return unshown_gate(name, f"It is not noted: {'; '.join(missing)}.", how, *sources)
    return open_gate(name, good + DECIDE, *sources)


def _answered(
    name: str, answer: bool | None, *, wanted: bool, asked: str, against: str, how: str, good: str, sources: tuple[str, ...]
) -> Gate:
    if answer is None:
        return unshown_gate(name, f"It is not noted {asked}.", how, *sources)
    return open_gate(name, good + DECIDE, *sources) if answer is wanted else shut_gate(name, against, how + DECIDE, *sources)

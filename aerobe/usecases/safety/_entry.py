"""A use as a person types it, and how each field is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety import (
    Amounts,
    Applied,
    Finding,
    MistFacts,
    amounts,
    applied_per_m2,
    judge_mesh,
    judge_weather,
    mesh_opening_mm,
    threshold,
)
from aerobe.units import COUNT, LENGTH, TEMPERATURE, VOLUME, parse_number
from aerobe.usecases.notebook._from_form import text_fields
from aerobe.usecases.safety._place_entry import PlaceEntry, number_or_none, yes_or_no

POURED = {
    "pour",
    "poured",
    "pouring",
    "drench",
    "drenched",
    "watering",
    "can",
    "drip",
    "dripper",
    "drippers",
    "soaker",
    "ladle",
    "bucket",
    "jug",
    "subsurface",
    "subirrigation",
    "wick",
}
# Words that change nothing beside those.
BESIDE_POURED = {
    "a",
    "by",
    "from",
    "hand",
    "line",
    "on",
    "onto",
    "roots",
    "rose",
    "slowly",
    "soil",
    "the",
    "to",
    "with",
    "and",
    "root",
    "irrigation",
    "hose",
    "tape",
    "emitter",
    "emitters",
    "zone",
    "at",
    "base",
    "foot",
    "of",
    "plant",
    "plants",
    "into",
    "low",
}
SPRAYED = {
    "spray",
    "sprayed",
    "spraying",
    "sprayer",
    "mist",
    "mister",
    "foliar",
    "sprinkler",
    "sprinkle",
    "fog",
    "fogger",
    "fogged",
    "fogging",
    "misted",
    "misting",
    "atomiser",
    "atomizer",
    "blower",
    "drone",
    "knapsack",
    "backpack",
    "nebuliser",
    "nebulizer",
    "aerosol",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class UseEntry(PlaceEntry):
    """A use as a person types it, planned or done. What is left empty is not known.

    Parameters
    ----------
    brew
        Key of the brew.
    crop
        What grows there.
    place
        Bed, field or pots.
    edible
        Is anything eaten from there: yes or no.
    touches
        Does tea reach a part that is eaten: yes or no.
    soil
        Does the part that is eaten touch the soil: yes or no.
    days
        To the first harvest of the crop. [d]
    method
        Drench, watering can, drip, foliar spray ...
    tea
        Undiluted tea, with unit.
    water
        Water added, with unit.
    area
        Area, with unit.
    beds
        Number of equal beds.
    pots
        Number of equal pots.
    wind
        Where it is sprayed. [m/s]
    spray_place
        Where it is sprayed: outdoors, greenhouse or room.
    inversion
        Does the air lie still in a layer (smoke, mist or dust lies flat): yes or no.
    coarse
        Medium or coarser drops by the nozzle's label, that fall at once: yes or no.
    clear
        Distance kept free of people, houses and stalls on all sides. [m]
    water_clear
        No pond, stream, well or drain within the drift: yes or no.
    neighbours_clear
        No neighbour's ground, open window or washing within the drift: yes or no.
    people_away
        Nobody without protection within reach of the drops: yes or no.
    animals_away
        No pets, livestock or hives within reach of the drops: yes or no.
    mask
        Well-fitting P2, N95 or FFP2 mask on everyone who sprays: yes or no.
    aired
        Under glass, aired before anyone goes in again without protection: yes or no.
    warmth
        Of the air. [degC]
    uv
        UV index.
    drops
        Median drop size of the nozzle. [um]
    mesh
        Opening of the strainer with unit, or its sieve number such as "no 50".
    nozzle
        Smallest opening of the nozzle, with unit.
    density
        Median, low and high of the undiluted tea with unit: "1e8 5e7 2e8 /mL".
    at
        Date and time; empty for now.
    notes
        Anything else.
    token
        Name of this entry: sent twice, kept once.
    """

    brew: str
    crop: str = ""
    place: str = ""
    edible: str = ""
    touches: str = ""
    soil: str = ""
    days: str = ""
    method: str = ""
    tea: str = ""
    water: str = ""
    area: str = ""
    beds: str = ""
    pots: str = ""
    wind: str = ""
    spray_place: str = ""
    inversion: str = ""
    coarse: str = ""
    clear: str = ""
    water_clear: str = ""
    neighbours_clear: str = ""
    people_away: str = ""
    animals_away: str = ""
    mask: str = ""
    aired: str = ""
    warmth: str = ""
    uv: str = ""
    drops: str = ""
    mesh: str = ""
    nozzle: str = ""
    density: str = ""
    at: str = ""
    notes: str = ""
    token: str = ""

    @classmethod
    def from_form(cls, form: Mapping[str, object]) -> UseEntry:
        """From the fields of a form or a JSON object; unknown fields are left aside."""
        return cls(**{"brew": "", **text_fields(cls.__dataclass_fields__, form)})


def field_findings(entry: UseEntry, *, sprayed: bool) -> tuple[Finding, ...]:
    """Weather, drops and strainer, as far as they were noted."""
    weather = judge_weather(
        sprayed=sprayed,
        wind_m_per_s=number_or_none(entry.wind),
        temperature_degc=TEMPERATURE.read_or_house(entry.warmth) if entry.warmth.strip() else None,
        uv_index=number_or_none(entry.uv),
        drop_um=number_or_none(entry.drops),
    )
    if not entry.mesh.strip() or not entry.nozzle.strip():
        return weather
    number = re.fullmatch(r"no\.?\s*(\d+)", entry.mesh.strip().lower())
    opening = mesh_opening_mm(int(number[1])) if number else LENGTH.read(entry.mesh) * 1000.0
    return (*weather, judge_mesh(mesh_mm=opening, nozzle_mm=LENGTH.read(entry.nozzle) * 1000.0))


def is_sprayed(method: str) -> bool | None:
    """Whether a way of putting it on makes drops; a way that is not known, or not wholly, counts as one that does."""
    words = set(re.findall(r"[^\W\d_]+", method.lower()))
    if words & SPRAYED:
        return True
    return False if words & POURED and words <= POURED | BESIDE_POURED else None


def mist_of(entry: UseEntry) -> MistFacts:
    """What is noted of the spray."""
    return MistFacts(
        sprayed=is_sprayed(entry.method),
        spray_place=entry.spray_place.strip().lower(),
        wind_m_per_s=number_or_none(entry.wind),
        inversion=yes_or_no(entry.inversion),
        coarse_drops=_coarse(entry),
        clear_m=number_or_none(entry.clear),
        water_clear=yes_or_no(entry.water_clear),
        neighbours_clear=yes_or_no(entry.neighbours_clear),
        people_away=yes_or_no(entry.people_away),
        animals_away=yes_or_no(entry.animals_away),
        breathing_protection=yes_or_no(entry.mask),
        aired=yes_or_no(entry.aired),
    )


def _coarse(entry: UseEntry) -> bool | None:
    """The answer, unless the size that was typed is finer: then that counts."""
    size, said = number_or_none(entry.drops), yes_or_no(entry.coarse)
    if size is None:
        return said
    return size >= threshold("drop-size-least").value and said is not False


def amounts_of(entry: UseEntry, area: float | None) -> Amounts | None:
    """Dilution and rates; None if no tea was typed."""
    if not entry.tea.strip():
        return None
    whole = {}
    for name in ("beds", "pots"):
        number = number_or_none(getattr(entry, name))
        if number is not None and number != int(number):
            raise UnusableRecord(f"{number:g} is no number of {name}.", "Give a whole number.")
        whole[name] = None if number is None else int(number)
    water = VOLUME.read(entry.water) if entry.water.strip() else 0.0
    return amounts(tea_l=VOLUME.read(entry.tea), water_l=water, area_m2=area, **whole)


def applied_of(density: str, tea_l: float, area_m2: float) -> Applied | None:
    """Microbes a square metre, if their density was typed."""
    if not density.strip():
        return None
    words = density.split()
    if len(words) < 4:
        raise UnusableRecord(
            f"'{density}' is no density with its interval.", "Write median, low, high and unit: 1e8 5e7 2e8 /mL."
        )
    middle, low, high = (COUNT.convert(parse_number(word), " ".join(words[3:])) for word in words[:3])
    return applied_per_m2(per_ml=middle, low_per_ml=low, high_per_ml=high, tea_l=tea_l, area_m2=area_m2)

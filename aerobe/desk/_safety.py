"""Safe use: the gates of a brew from its record, advice before a use, the record after it.

Whatever a page or a command says about harvesting or using a tea comes from here, and from the gates alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from aerobe.desk._records import new_key
from aerobe.desk._safety_facts import brew_facts, compost_state
from aerobe.desk._safety_notes import indicator_findings, place_of, water_finding
from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Recipe, Use
from aerobe.safety import (
    Amounts,
    Applied,
    Caution,
    Finding,
    Gate,
    RiskNote,
    TeaFinding,
    UseAdvice,
    UseFacts,
    advise_use,
    all_cautions,
    amounts,
    applied_per_m2,
    judge_mesh,
    judge_tea,
    judge_weather,
    jurisdictions,
    mesh_opening_mm,
    regrowth_risk,
)
from aerobe.units import AREA, COUNT, LENGTH, VOLUME, parse_number

YES, NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")
POURED = {"pour", "poured", "pouring", "drench", "drenched", "watering", "can", "drip", "dripper"}
SPRAYED = {"spray", "sprayed", "spraying", "sprayer", "mist", "mister", "foliar", "sprinkler", "sprinkle", "fog", "fogger"}


@dataclass(frozen=True, slots=True, kw_only=True)
class UseEntry:
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
    people_away
        Nobody without protection within reach of the drops: yes or no.
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
    people_away: str = ""
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
    def from_form(cls, form: Mapping[str, Any]) -> UseEntry:
        """From the fields of a form or a JSON object; unknown fields are left aside."""
        known = {field.name for field in fields(cls)}
        return cls(**{"brew": "", **{name: str(value) for name, value in form.items() if name in known and value is not None}})


@dataclass(frozen=True, slots=True, kw_only=True)
class UseAnswer:
    """What stands against a use, what it puts on the ground, and what to mind. It never says more than its gates."""

    call: str
    sentence: str
    gates: tuple[Gate, ...]
    tea: TeaFinding
    risks: tuple[RiskNote, ...]
    field: tuple[Finding, ...]
    amounts: Amounts | None
    applied: Applied | None
    advice: UseAdvice


def ask_use(notebook: Notebook, entry: UseEntry, *, now: datetime) -> UseAnswer:
    """May this tea go there now? Nothing is written.

    Parameters
    ----------
    notebook
        The open notebook.
    entry
        The use as typed.
    now
        The moment asked about.

    Raises
    ------
    AerobeError
        If a field cannot be read.
    """
    record = notebook.get(Brew, entry.brew)
    recipe = notebook.get(Recipe, record.recipe)
    tea = _tea(notebook, record, recipe)
    brew, use = brew_facts(notebook, entry.brew, now=now), _use_facts(notebook, entry, tea)
    advice = advise_use(brew, use)
    area = AREA.read(entry.area) if entry.area.strip() else None
    put = _amounts(entry, area)
    return UseAnswer(
        call=advice.call,
        sentence=advice.sentence,
        gates=advice.gates,
        tea=tea,
        risks=_risks(recipe),
        advice=advice,
        amounts=put,
        field=_field(entry, sprayed=use.sprayed is not False),
        applied=None if put is None or area is None else _applied(entry.density, put.tea_l, area),
    )


def record_use(notebook: Notebook, entry: UseEntry, *, now: datetime, who: str = "") -> tuple[Receipt, UseAnswer]:
    """Keep what was done with a tea, together with the gates as they stood. What was done is kept also where gates held back.

    Parameters
    ----------
    notebook
        The open notebook.
    entry
        The use as typed.
    now
        Time of the entry.
    who
        Who enters it.

    Raises
    ------
    AerobeError
        If a field cannot be read; then nothing is written and the form comes back.
    """
    moment = _moment(entry.at, now)
    answer = ask_use(notebook, entry, now=moment)
    use = Use(
        key=new_key(notebook, Use, f"{entry.brew}-{entry.place or entry.crop or 'use'}"[:60]),
        brew=entry.brew,
        used_at=moment,
        place=entry.place,
        crop=entry.crop,
        edible=_yes(entry.edible),
        touches_edible_part=_yes(entry.touches),
        area_m2=AREA.read(entry.area) if entry.area.strip() else None,
        tea_l=0.0 if answer.amounts is None else answer.amounts.tea_l,
        water_l=0.0 if answer.amounts is None else answer.amounts.water_l,
        method=entry.method or "not noted",
        notes=entry.notes,
    )
    with notebook.writing() as pen:
        receipt = pen.add(use, at=now, who=who, token=entry.token)
        if receipt.was_new:
            kept = {"call": answer.call, "sentence": answer.sentence, "gates": answer.gates, "typed": entry}
            pen.keep("use gates", receipt.key, kept, at=now, who=who)
    return receipt, answer


@dataclass(frozen=True, slots=True, kw_only=True)
class SafetySection:
    """What a report on brews must say: who decides, the cautions in short, and the gates as they stood at each use."""

    statement: str
    cautions: tuple[Caution, ...]
    uses: tuple[tuple[Use, str, tuple[str, ...]], ...]  # each use, its call, and the gates that held back
    sources: tuple[str, ...]


def safety_section(notebook: Notebook, *brews: str) -> SafetySection:
    """The section on safe use for a report.

    Parameters
    ----------
    notebook
        The open notebook.
    brews
        Keys of the brews that the report is about.
    """
    uses = []
    for use in (use for brew in brews for use in notebook.find(Use, of=brew)):
        kept = notebook.latest("use gates", use.key)
        gates = [] if kept is None else kept.payload["gates"]
        held = tuple(gate["name"] for gate in gates if not gate["is_open"])
        uses.append((use, "gates not asked" if kept is None else str(kept.payload["call"]), held))
    warned = all_cautions()
    return SafetySection(
        statement="Nothing here says that a tea is safe or allowed: local codes and licensed practice decide.",
        cautions=warned,
        uses=tuple(uses),
        sources=tuple(dict.fromkeys(item.source for item in warned)),
    )


def places() -> tuple[str, ...]:
    """The places whose rules are on file."""
    return jurisdictions()


def _tea(notebook: Notebook, record: Brew, recipe: Recipe) -> TeaFinding:
    state, _ = compost_state(notebook, record)
    foods = tuple(dose.food for dose in recipe.foods)
    return judge_tea(compost=state, water=water_finding(notebook, recipe).state, additives=foods)


def _risks(recipe: Recipe) -> tuple[RiskNote, ...]:
    molasses = sum(dose.g_per_l for dose in recipe.foods if "molasses" in dose.food)
    return regrowth_risk(molasses_g_per_l=molasses, other_additives=any("molasses" not in dose.food for dose in recipe.foods))


def _use_facts(notebook: Notebook, entry: UseEntry, tea: TeaFinding) -> UseFacts:
    e_coli, enterococci = indicator_findings(notebook, entry.brew)
    return UseFacts(
        jurisdiction=place_of(notebook),
        crop=f"{entry.crop} {entry.place}".strip(),
        edible=_yes(entry.edible),
        touches_edible_part=_yes(entry.touches),
        edible_part_touches_soil=_yes(entry.soil),
        days_to_harvest=_maybe(entry.days),
        tea=tea.kind,
        tea_why=tea.why,
        has_additives=tea.has_additives,
        e_coli=e_coli,
        enterococci=enterococci,
        sprayed=_sprayed(entry.method),
        wind_m_per_s=_maybe(entry.wind),
        people_away=_yes(entry.people_away),
    )


def _field(entry: UseEntry, *, sprayed: bool) -> tuple[Finding, ...]:
    weather = judge_weather(
        sprayed=sprayed,
        wind_m_per_s=_maybe(entry.wind),
        temperature_degc=_maybe(entry.warmth),
        uv_index=_maybe(entry.uv),
        drop_um=_maybe(entry.drops),
    )
    if not entry.mesh.strip() or not entry.nozzle.strip():
        return weather
    number = re.fullmatch(r"no\.?\s*(\d+)", entry.mesh.strip().lower())
    opening = mesh_opening_mm(int(number[1])) if number else LENGTH.read(entry.mesh) * 1000.0
    return (*weather, judge_mesh(mesh_mm=opening, nozzle_mm=LENGTH.read(entry.nozzle) * 1000.0))


def _sprayed(method: str) -> bool | None:
    """Whether a way of putting it on makes drops; a way that is not known counts as one that does."""
    words = set(re.findall(r"[a-z]+", method.lower()))
    if words & SPRAYED:
        return True
    return False if words & POURED else None


def _yes(text: str) -> bool | None:
    word = text.strip().lower()
    if word in ("", "not known", "unknown", "none"):
        return None
    if word in YES or word in NO:
        return word in YES
    raise UnusableRecord(f"'{text}' is neither yes nor no.", "Write yes or no, or leave it empty if it is not known.")


def _maybe(text: str) -> float | None:
    return parse_number(text) if text.strip() else None


def _amounts(entry: UseEntry, area: float | None) -> Amounts | None:
    if not entry.tea.strip():
        return None
    whole = {}
    for name in ("beds", "pots"):
        number = _maybe(getattr(entry, name))
        if number is not None and number != int(number):
            raise UnusableRecord(f"{number:g} is no number of {name}.", "Give a whole number.")
        whole[name] = None if number is None else int(number)
    water = VOLUME.read(entry.water) if entry.water.strip() else 0.0
    return amounts(tea_l=VOLUME.read(entry.tea), water_l=water, area_m2=area, **whole)


def _applied(density: str, tea_l: float, area_m2: float) -> Applied | None:
    if not density.strip():
        return None
    words = density.split()
    if len(words) < 4:
        raise UnusableRecord(
            f"'{density}' is no density with its interval.", "Write median, low, high and unit: 1e8 5e7 2e8 /mL."
        )
    middle, low, high = (COUNT.convert(parse_number(word), " ".join(words[3:])) for word in words[:3])
    return applied_per_m2(per_ml=middle, low_per_ml=low, high_per_ml=high, tea_l=tea_l, area_m2=area_m2)


def _moment(text: str, now: datetime) -> datetime:
    if not text.strip():
        return now
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UnusableRecord(f"'{text}' is no clock time.", "Write a date and time such as 2026-05-01 08:30.") from None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=now.tzinfo)

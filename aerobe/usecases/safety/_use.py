"""Safe use: advice before a use, the record after it.

Whatever a page or a command says about harvesting or using a tea comes from here, and from the gates alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Recipe, Use, as_json
from aerobe.safety import (
    Amounts,
    Applied,
    Caution,
    Clearance,
    Finding,
    Gate,
    RiskNote,
    RuleQuestion,
    TeaFinding,
    UseAdvice,
    UseFacts,
    advise_use,
    all_cautions,
    clearances,
    decides_by,
    judge_tea,
    questions,
    regrowth_risk,
)
from aerobe.units import AREA
from aerobe.usecases.brews._behind_code import recipe_and_compost, stand_in_words
from aerobe.usecases.notebook._moments import moment_of
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.safety._entry import (
    UseEntry,
    amounts_of,
    applied_of,
    field_findings,
)
from aerobe.usecases.safety._facts import brew_facts, gates_as_data
from aerobe.usecases.safety._place_entry import yes_or_no
from aerobe.usecases.safety._use_facts import use_facts


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
    use: UseFacts
    clearances: tuple[Clearance, ...]  # what the rules say of each way in

    @property
    def asks(self) -> tuple[RuleQuestion, ...]:
        """The questions that could still change the answer, in the order in which they are asked."""
        open_ = {fact for found in self.clearances for fact in found.asks}
        return tuple(item for item in questions() if item.fact in open_)

    def as_data(self) -> dict[str, Any]:
        """Everything for programs: each gate with its state, and the sentence that says who decides."""
        plain: dict[str, Any] = as_json(
            {
                "call": self.call,
                "sentence": self.sentence,
                "tea": self.tea,
                "risks": self.risks,
                "field": self.field,
                "amounts": self.amounts,
                "applied": self.applied,
                "cautions": self.advice.cautions,
                "decided_by": decides_by(self.clearances),
                "asks": self.asks,
            }
        )
        return {**plain, "gates": gates_as_data(self.gates)["gates"]}


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
    recipe, _ = recipe_and_compost(notebook, record)
    brew, use = brew_facts(notebook, entry.brew, now=now), use_facts(notebook, entry, now=now)
    advice = advise_use(brew, use)
    area = AREA.read(entry.area) if entry.area.strip() else None
    put = amounts_of(entry, area)
    return UseAnswer(
        call=advice.call,
        sentence=f"{advice.sentence} {stand_in_words(notebook, entry.brew)}".strip(),
        gates=advice.gates,
        tea=judge_tea(use),
        use=use,
        clearances=clearances(use),
        risks=_risks(recipe),
        advice=advice,
        amounts=put,
        field=field_findings(entry, sprayed=use.sprayed is not False),
        applied=None if put is None or area is None else applied_of(entry.density, put.tea_l, area),
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
    moment = moment_of(entry.at, now=now)
    answer = ask_use(notebook, entry, now=moment)
    use = Use(
        key="pending",
        brew=entry.brew,
        used_at=moment,
        place=entry.place,
        crop=entry.crop,
        edible=yes_or_no(entry.edible),
        touches_edible_part=yes_or_no(entry.touches),
        area_m2=AREA.read(entry.area) if entry.area.strip() else None,
        tea_l=0.0 if answer.amounts is None else answer.amounts.tea_l,
        water_l=0.0 if answer.amounts is None else answer.amounts.water_l,
        method=entry.method or "not noted",
        notes=entry.notes,
    )
    with notebook.writing() as pen:
        # The key is chosen while nobody else writes: two phones that pour on one bed are two uses.
        named = replace(use, key=new_key(notebook, Use, f"{entry.brew}-{entry.place or entry.crop or 'use'}"[:60]))
        receipt = pen.add(named, at=now, who=who, token=entry.token)
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


def _risks(recipe: Recipe) -> tuple[RiskNote, ...]:
    molasses = sum(dose.g_per_l for dose in recipe.foods if "molasses" in dose.food)
    return regrowth_risk(molasses_g_per_l=molasses, other_additives=any("molasses" not in dose.food for dose in recipe.foods))

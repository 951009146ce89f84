"""Two recipes by all their brews, though nobody planned it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Brew, Trial
from aerobe.usecases.brews._behind_code import recipes_in_question
from aerobe.usecases.trials._afterwards import Afterwards, changed_afterwards, held_to_the_look, read_too_early
from aerobe.usecases.trials._asked import AskedQuestion, require_asked, standing_of_pair, write_down
from aerobe.usecases.trials._blinding import refuse_while_hidden
from aerobe.usecases.trials._values import results_of
from aerobe.verdicts import Verdict, hold_back, judge

SUBJECT = "recipes"  # of questions about pairs of them


def compare_recipes(
    notebook: Notebook,
    first: str,
    second: str,
    *,
    outcome: str = "biomass",
    at_h: float | None = None,
    margin: float = 1.25,
    now: datetime,
    asks: bool = True,
) -> Verdict:
    """Two recipes by all their brews, whenever brewed: marked as unplanned, and worth less than a trial.

    Raises
    ------
    UnusableRecord
        If the two are the same recipe.
    NotAllowed
        If brews of them are still blind, or the answer is only to be shown again (`asks` false) and was never asked for.
    """
    if first == second:
        raise UnusableRecord("A recipe cannot be compared with itself.", "Choose two recipes.")
    trial = Trial(
        key="afterwards",
        name=f"{first} against {second}",
        question="two recipes",
        outcome=outcome,
        margin_ratio=margin,
        arms=(Arm(key=second, recipe=second, is_standard=True), Arm(key=first, recipe=first)),
    )
    # Any brew of a blind trial may be of a recipe of its arms: which ones are would be told by a refusal of these alone.
    may_be = {brew.key: recipes_in_question(notebook, brew) for brew in notebook.find(Brew)}
    refuse_while_hidden(notebook, [brew for brew in notebook.find(Brew) if {first, second} & may_be[brew.key]])
    whole = [brew for brew in notebook.find(Brew) if brew.recipe in (first, second)]
    pair = " and ".join(sorted((first, second)))
    changed = changed_afterwards(notebook, SUBJECT, whole, lambda was: was.recipe in (first, second), f"{pair} ")
    brews = _side_by_side(whole)
    results = results_of(notebook, brews, outcome, at_h=at_h, now=now)
    question = AskedQuestion(outcome=outcome, at_h=at_h, margin=None if margin == 1.25 else margin, pair=pair)
    if asks:
        write_down(notebook, SUBJECT, question, len(results), now=now, of=[result.brew for result in results])
    else:
        require_asked(notebook, SUBJECT, question, len(results))
    brewed = len(set().union(*may_be.values()))
    standing = standing_of_pair(notebook, SUBJECT, pair, max(1, brewed * (brewed - 1) // 2))
    standing = replace(standing, was_planned=False)
    verdict = judge(trial, results, standing=standing)

    def judged_then(were: Afterwards) -> Verdict:
        stood = _side_by_side(were.brews)
        found = results_of(notebook, stood, outcome, at_h=at_h, now=now, readings=were.readings)
        return judge(trial, found, standing=replace(standing, looks=1, words=""), extent="comparisons")

    verdict, _ = held_to_the_look(notebook, f"{SUBJECT} {pair}", verdict, changed, judged_then)
    early = read_too_early(notebook, brews)
    return verdict if early is None else hold_back(verdict, early)


def _side_by_side(brews: Sequence[Brew]) -> list[Brew]:
    """The brews with their recipes as arms; days are blocks only where both recipes stood on every one of them."""
    found = [replace(brew, arm=brew.recipe, block=_day_block(brew)) for brew in brews]
    blocks = {brew.block for brew in found}
    shared = all(len({brew.recipe for brew in found if brew.block == block}) == 2 for block in blocks)
    return found if shared else [replace(brew, block="") for brew in found]


def _day_block(brew: Brew) -> str:
    return brew.block or f"{brew.started_at.date()}"

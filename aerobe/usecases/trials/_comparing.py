"""Two recipes by all their brews, though nobody planned it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Brew, Trial
from aerobe.usecases.trials._asked import Question, require_asked, standing_of_pair, write_down
from aerobe.usecases.trials._blinding import refuse_while_hidden
from aerobe.usecases.trials._values import results_of
from aerobe.verdicts import Verdict, judge


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
    brews = [
        replace(brew, arm=brew.recipe, block=_day_block(brew)) for brew in notebook.find(Brew) if brew.recipe in (first, second)
    ]
    refuse_while_hidden(notebook, brews)
    shared = {block for block in {brew.block for brew in brews} if len({b.recipe for b in brews if b.block == block}) == 2}
    # Blocks help only where both recipes stood side by side; other brews are compared without.
    if len(shared) < len({brew.block for brew in brews}):
        brews = [replace(brew, block="") for brew in brews]
    results = results_of(notebook, brews, outcome, at_h=at_h, now=now)
    pair = " and ".join(sorted((first, second)))
    question = Question(outcome=outcome, at_h=at_h, margin=None if margin == 1.25 else margin, pair=pair)
    if asks:
        write_down(notebook, "recipes", question, len(results), now=now)
    else:
        require_asked(notebook, "recipes", question, len(results))
    brewed = len({brew.recipe for brew in notebook.find(Brew)})
    standing = standing_of_pair(notebook, "recipes", pair, max(1, brewed * (brewed - 1) // 2))
    return judge(trial, results, standing=replace(standing, was_planned=False))


def _day_block(brew: Brew) -> str:
    return brew.block or f"{brew.started_at.date()}"

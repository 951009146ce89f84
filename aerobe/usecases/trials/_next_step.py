"""What the next step after a verdict costs: the brews that still wait on the run sheet, or as many as would tell."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from aerobe.notebook import Notebook
from aerobe.records import Brew, Costs, RunSheet
from aerobe.trials import MOST_SENSIBLE, Circumstances, Plot, Scatter, power_of
from aerobe.units import amount, given, number, percent
from aerobe.usecases.brews._starting import price_of
from aerobe.usecases.trials._sheet import HOURS_APART
from aerobe.usecases.trials._steps import TrialLine, trial_lines
from aerobe.usecases.trials._tests import rests_on
from aerobe.usecases.trials._values import AREA
from aerobe.usecases.trials._view import trial_view
from aerobe.verdicts import CANNOT_TELL, Verdict

SIMULATIONS = 1000


def next_step(notebook: Notebook, key: str, verdict: Verdict) -> tuple[str, float | None]:
    """What to do next where something is not told yet, in words, and what it costs; empty and None where all is told.

    Parameters
    ----------
    notebook
        Open notebook.
    key
        Of the trial.
    verdict
        Of the trial as it stands.
    """
    if all(item.call != CANNOT_TELL for item in verdict.comparisons):
        return "", None
    brews = notebook.find(Brew, of=key)
    assay = rests_on(notebook, key, outcome_key=verdict.outcome.key).assay
    costs = Costs(test=price_of(assay), brew=brews[0].costs.brew if brews else Costs().brew)
    sheet = trial_view(notebook, key).sheet
    hour = _hour(verdict, sheet) if assay is not None and verdict.outcome.key != AREA else None
    judged = {result.brew for result in verdict.results}
    left = [line for line in trial_lines(notebook, key) if line.brew not in judged and line.state != "harvested"]
    if left and sheet is not None:
        return _rest_of_sheet(notebook, key, verdict, sheet, left, costs, hour)
    return _as_many_as_tell(verdict, sheet, costs, hour)


def _rest_of_sheet(
    notebook: Notebook,
    key: str,
    verdict: Verdict,
    sheet: RunSheet,
    left: Sequence[TrialLine],
    costs: Costs,
    hour: float | None,
) -> tuple[str, float | None]:
    waiting = sum(line.state == "waiting" for line in left)
    under_air = len(left) - waiting
    steps = [step for line in left for step in line.open_steps]
    tests = len(steps) if hour is None else sum(abs(step.elapsed_h - hour) <= HOURS_APART for step in steps)
    cost = waiting * costs.brew + tests * costs.test
    parts = [f"{waiting} to begin"] if waiting else []
    parts += [f"{under_air} under air"] if under_air else []
    brews = "one brew of the run sheet is" if len(left) == 1 else f"{len(left)} brews of the run sheet are"
    at = "" if hour is None else f" at {given(hour)} h"
    words = (
        f"Next step: {brews} still to come ({', '.join(parts)}). To see it through costs {amount(cost)}: {tests} tests{at}, "
        f"controls included, at {given(costs.test)} each, and {waiting} brews at {given(costs.brew)} each."
    )
    chance = _chance(notebook, key, verdict, sheet)
    if chance is not None:
        times = number(verdict.margin)
        words += f" The whole sheet would tell a difference of {times} times about {percent(round(chance, 1))} of the time."
    return words, cost


def _chance(notebook: Notebook, key: str, verdict: Verdict, sheet: RunSheet) -> float | None:
    """How often the whole sheet would tell a difference of the margin, at the scatter seen, as far as its brews tell it."""
    trial = trial_view(notebook, key).trial
    if not verdict.brew_sd or verdict.df < 1 or verdict.outcome.scale != "ratio" or trial.margin_ratio <= 1.0:
        return None
    arms, blocks = [arm.key for arm in trial.arms], list(dict.fromkeys(item.block for item in sheet.brews))
    plots = [Plot(arm=arms.index(item.arm), round=blocks.index(item.block), place=i) for i, item in enumerate(sheet.brews)]
    seen = Scatter(brew_log_sd=verdict.brew_sd, test_log_sd=0.0, df=float(verdict.df), origin="this trial")
    return power_of(trial, plots, seen, 1, given=Circumstances(looks=verdict.looks + 1), simulations=SIMULATIONS).assurance


def _as_many_as_tell(verdict: Verdict, sheet: RunSheet | None, costs: Costs, hour: float | None) -> tuple[str, float | None]:
    """Where nothing waits any more: all that was planned is judged, so that a claim needs a trial of its own."""
    each = verdict.settle.brews_per_arm if verdict.settle else None
    if each is None or each > MOST_SENSIBLE:
        return "", None
    seen = Counter(result.arm for result in verdict.results)
    more = each * len(seen) if sheet is not None else sum(max(0, each - count) for count in seen.values())
    tests = more * _tests_of_brew(verdict, sheet, hour)
    cost = more * costs.brew + tests * costs.test
    what = f"a new trial with {each} brews of each arm" if sheet is not None else f"{more} brews more"
    words = (
        f"Next step: {what}, at {amount(cost)}: {tests} tests, controls included, at {given(costs.test)} each, and {more} brews "
        f"at {given(costs.brew)} each."
    )
    return words, cost


def _hour(verdict: Verdict, sheet: RunSheet | None) -> float:
    """The hour at which the brews were compared. [h]"""
    hours = [result.elapsed_h for result in verdict.results if result.elapsed_h is not None]
    planned = [sample.elapsed_h for sample in sheet.brews[0].samples] if sheet is not None and sheet.brews else []
    return max(hours or planned or [0.0])


def _tests_of_brew(verdict: Verdict, sheet: RunSheet | None, hour: float | None) -> int:
    """Tests of one brew that its result takes, controls included: as the sheet plans them, else as they were made."""
    if sheet is not None and sheet.brews:
        near = [item for item in sheet.brews[0].samples if hour is None or abs(item.elapsed_h - hour) <= HOURS_APART]
        return sum(sample.tests + len(sample.controls) for sample in near) or 1
    made = [result.tests + result.colour_checked for result in verdict.results]
    return math.ceil(sum(made) / len(made)) if made else 1

"""What a plan and a verdict look like: pictures for the page, lines for the terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence

from aerobe.charts import Picture, best_dose_words, designs_by_cost, dose_curve
from aerobe.records import Arm
from aerobe.reports import trial_pictures
from aerobe.trials import Plan, informed_words
from aerobe.units import number, percent, ratio_of
from aerobe.usecases.trials._values import hour_in_words
from aerobe.verdicts import Check, Comparison, Verdict, effect_words


def plan_pictures(plan: Plan) -> tuple[Picture, ...]:
    """The designs by cost, if any fits the budget."""
    if plan.recommended is None:
        return ()
    return (designs_by_cost(plan.alternatives, plan.recommended, margin_ratio=plan.trial.margin_ratio),)


def verdict_pictures(verdict: Verdict, arms: Sequence[Arm]) -> tuple[Picture, ...]:
    """Raw points, comparisons, and the curve of a dose series or the profiles of a surface; `arms` has doses and levels."""
    pictures = trial_pictures(verdict, arms)
    doses = {arm.key: arm.dose for arm in arms if arm.dose is not None}
    if verdict.dose is None:
        return pictures
    points = [(doses[result.arm], result) for result in verdict.results if result.arm in doses]
    kind = verdict.outcome
    curve = dose_curve(
        verdict.dose,
        points,
        quantity=kind.label.capitalize(),
        unit=kind.unit,
        is_ratio=kind.is_ratio,
    )
    return (curve, *pictures)


def verdict_lines(verdict: Verdict) -> list[str]:
    """The verdict in lines for the terminal."""
    lines = [verdict.headline, ""]
    for item in verdict.comparisons:
        mark = "" if item.planned else " (unplanned)"
        lines.append(f"{item.label}{mark}: {effect_words(item, verdict.outcome)} -> {item.call}")
        if item.probability_better is not None and item.probability_worse is not None and item.probability_same is not None:
            lines.append(
                f"  better by more than the margin {percent(item.probability_better)}, worse {percent(item.probability_worse)}, "
                f"within it {percent(item.probability_same)}"
            )
        lines.append(f"  {item.because}")
    for place in verdict.ranking:
        span = f"{place.best_place}" if place.best_place == place.worst_place else f"{place.best_place} to {place.worst_place}"
        lines.append(f"place {span}: {place.arm} (best with probability {percent(place.probability_best)})")
    if verdict.dose is not None:
        lines.append(f"{best_dose_words(verdict.dose)} {verdict.dose.because}")
    lines += [words for words in (hour_in_words(verdict.results),) if words]
    if verdict.brew_sd is not None:
        lines.append(
            f"Brews of one recipe scatter by {number(verdict.brew_sd, 2)} (log), testing by {number(verdict.test_sd, 2)}."
        )
    if verdict.asked:
        lines.append(verdict.asked)
    for item in verdict.with_all:
        lines.append(f"With {verdict.left_out} in: {item.label}: {effect_words(item, verdict.outcome)} -> {item.call}")
    lines += hour_lines(verdict)
    lines += informed_words(verdict)
    for rival in verdict.rivals:
        lines.append(f"Beware: {rival.words} {rival.remedy}")
    for check in verdict.checks:
        lines.append(f"Check: {check.label}, {check.method}: p {check.p:.3g}")
    if verdict.settle is not None:
        lines.append(f"What would settle it: {verdict.settle.words}")
    return [*lines, f"Taken as given: {verdict.assumes}"]


def hour_lines(verdict: Verdict) -> list[str]:
    """Each comparison at every hour that all arms share; nothing where there is one hour only."""
    lines = []
    for label in dict.fromkeys(item.label for item in verdict.by_hour):
        at = [item for item in verdict.by_hour if item.label == label]
        said = (ratio_of(item.effect) if verdict.outcome.is_ratio else item.effect for item in at)
        parts = [f"{number(value, 2)} at {number(item.hour_h)} h" for value, item in zip(said, at, strict=True)]
        lines.append(f"{label} by hour: {', '.join(parts)}.")
    return lines


def effect_in_words(comparison: Comparison, verdict: Verdict) -> str:
    """The effect with its interval, in the words of the verdict's outcome."""
    return effect_words(comparison, verdict.outcome)


def check_in_words(check: Check, verdict: Verdict) -> str:
    """The effect by a textbook method."""
    numbers = (check.estimate, check.low, check.high)
    middle, low, high = map(math.exp, numbers) if verdict.outcome.is_ratio else numbers
    return f"{number(middle, 2)} ({number(low, 2)} to {number(high, 2)})"

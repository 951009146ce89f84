"""What would help a trial most, for its money: more alike brews, controls, more brews, another test, a larger question."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from aerobe.records import Trial
from aerobe.trials._circumstances import Circumstances
from aerobe.trials._design import Design
from aerobe.trials._layouts import plots_of, weighted_plots
from aerobe.trials._power import power_of
from aerobe.trials._scatter import SAME_DAY_BOTTLES, Scatter
from aerobe.units import number, percent

SIMULATIONS = 600
WORTH_NAMING = 0.03  # gain in the chance of telling [-]
WIDER = (2.0, 3.0, 5.0)  # differences to ask for instead [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """One change of the plan, and what it buys."""

    name: str
    words: str
    told: float  # chance to tell the difference with this change alone [-]
    gain: float  # over the plan as it is [-]
    cost: float  # more than the plan as it is [money]


def rank_levers(
    trial: Trial, scatter: Scatter, given: Circumstances, design: Design, *, cost_of_brews: float, short: float = 0.0
) -> tuple[Lever, ...]:
    """Each lever tried alone on the design, those that buy most for their money first; free ones before those that cost.

    Parameters
    ----------
    trial, scatter, given
        The plan as it is. [-]
    design
        The best design within the budget. [-]
    cost_of_brews
        What its brews cost with their tests; as many again would cost it once more. [money]
    short
        What the very verdict takes off the quick count of the design. [-]
    """

    def told(changed: Trial = trial, spread: Scatter = scatter, how: Circumstances = given, times: int = 1) -> float:
        counts = tuple(count * times for count in design.brews_of)
        per_round = 1 + max(plot.place for plot in design.plots)
        equal = len(set(counts)) == 1
        plots = plots_of(len(counts), counts[0], per_round) if equal else weighted_plots(counts, per_round)
        quick = power_of(changed, plots, spread, design.tests_per_brew, given=how, simulations=SIMULATIONS).assurance
        return max(0.0, quick - short)

    base = told()
    found: list[Lever] = []

    def tried(name: str, words: str, run: Callable[[], float], cost: float = 0.0) -> None:
        reached = run()
        if reached >= base + WORTH_NAMING:
            found.append(Lever(name=name, words=words, told=reached, gain=reached - base, cost=cost))

    alike = min(scatter.brew_log_sd, SAME_DAY_BOTTLES.brew_log_sd)
    if alike < 0.8 * scatter.brew_log_sd:
        tried(
            "same day and heap",
            "brew all arms side by side, on one day and from one heap, as alike as bottles filled from one water",
            lambda: told(spread=replace(scatter, brew_log_sd=alike)),
        )
    if given.colour > 0.0 and given.control_tests < 2:
        wanted = given.control_tests + 1
        tried(
            "controls",
            "test the killed control of each brew" + (" twice" if wanted == 2 else ""),
            lambda: told(how=replace(given, control_tests=wanted)),
            0.5 * cost_of_brews / 3.0,
        )
    if scatter.test_log_sd > 0.1:
        tried(
            "other test",
            "use a test that errs half as much",
            lambda: told(spread=replace(scatter, test_log_sd=scatter.test_log_sd / 2.0)),
        )
    tried("more brews", "make twice as many brews", lambda: told(times=2), cost_of_brews)
    wider = next((ratio for ratio in WIDER if ratio > 1.2 * trial.margin_ratio), None)
    if wider is not None:
        tried(
            "larger question",
            f"ask for a difference of {number(wider)} times, and let smaller ones go",
            lambda: told(changed=replace(trial, margin_ratio=wider)),
        )
    return tuple(sorted(found, key=lambda lever: (lever.cost > 0.0, -lever.gain / (1.0 + lever.cost))))


def levers_in_words(levers: tuple[Lever, ...], base: float) -> str:
    """The levers in one sentence, or that none helps."""
    if not levers:
        return "No single change of the plan would tell it."
    parts = [
        f"{lever.words} ({percent(lever.told)}{f', {number(lever.cost)} more' if lever.cost else ', at no cost'})"
        for lever in levers
    ]
    return f"As it is it would be told {percent(base)} of the time. What helps, best first: {'; '.join(parts)}."

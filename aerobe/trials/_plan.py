"""Plan a trial within a budget: designs with what each can answer, or why the budget cannot answer."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

from aerobe.errors import UnusableRecord
from aerobe.records import Trial
from aerobe.trials._budget import Budget, brews_a_round, cost_of, rounds_for
from aerobe.trials._checked import checked_power, like
from aerobe.trials._circumstances import CLEAR, Circumstances
from aerobe.trials._composite import counts_of, surface_in_words, surface_power
from aerobe.trials._controls import Controls, controls_for
from aerobe.trials._design import GOOD_POWER, Design, answer_in_words
from aerobe.trials._layouts import Plot, plots_of, weighted_plots
from aerobe.trials._levers import Lever, levers_in_words, rank_levers
from aerobe.trials._power import Power, power_of
from aerobe.trials._scatter import Scatter
from aerobe.units import amount, number, percent
from aerobe.verdicts import best_tests_per_brew, brews_needed, is_surface, planned_contrasts, standard_of

# Every number of brews while each one counts, then in steps of about a fifth.
_BREWS_TRIED = (2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 17, 20, 24, 29, 35, 42)
_COMPOSITES_TRIED = (1, 2, 3, 4)

LARGEST_ASKED = 5.0  # a food that does more shows without a trial: a smaller question it is not (common practice, no source) [-]
MOST_SIMULATED = 120  # brews of all arms beyond which the closed form has to do
MOST_CHECKED = 3  # designs judged whole before the best so far is taken
CHECK_ERROR = 0.01  # more than the last one fell short by, so that the next one is another [-]
MOST_SENSIBLE = 40  # brews of each arm beyond which more of the same is no advice (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The designs worth looking at, best first, and the plain answer."""

    trial: Trial
    scatter: Scatter
    recommended: Design | None  # cheapest that answers, else the most powerful within the budget
    alternatives: tuple[Design, ...]
    can_answer: bool
    words: str
    levers: tuple[Lever, ...]  # what would help, best first; empty where the budget answers
    tests_worth_making: float  # of each brew, by cost and scatter, not rounded


def plan_trial(
    trial: Trial,
    scatter: Scatter,
    budget: Budget,
    *,
    given: Circumstances = CLEAR,
    colour_sensitive: bool = True,
    seed: int = 1,
    simulations: int = 4000,
) -> Plan:
    """Designs that fit the budget, each with the chance that the verdict would be right.

    Parameters
    ----------
    trial
        Question, arms and the ratio worth having. [-]
    scatter
        How much brews and tests differ. [-]
    budget
        Money, tests, vessels and days. [money, d]
    given
        Colour of the tea, its controls, and brews that will be lost. [-]
    colour_sensitive
        Whether the method reads colour, so that each brew needs its killed control. [-]
    seed
        Of the simulation. [-]
    simulations
        Trials simulated for each design. [-]

    Returns
    -------
    Plan
        Recommended design, alternatives and the plain answer. [-]

    Raises
    ------
    UnusableRecord
        If the margin is 1: a difference worth having must be named first.

    Source
    ------
    cochran-1977, cohen-1988
    """
    if trial.margin_ratio <= 1.0:
        raise UnusableRecord("A plan needs a difference worth having.", "Give a ratio above 1, for example 1.5.")
    planned_contrasts(trial)
    if is_surface(trial.arms):
        return _plan_surface(trial, scatter, budget, given, colour_sensitive=colour_sensitive, seed=seed, simulations=simulations)
    controls = controls_for(trial, colour_sensitive=colour_sensitive)
    best_tests = best_tests_per_brew(budget.costs.brew, budget.costs.test, scatter.brew_log_sd, scatter.test_log_sd)
    power = partial(power_of, trial, scatter=scatter, given=given, seed=seed, simulations=simulations)
    designs = [
        _design(trial, budget, controls, counts, tests, power)
        for tests in _tests_to_try(best_tests)
        for counts in _counts_to_try(trial, budget, controls, tests)
    ]
    designs, recommended, short = _checked_designs(trial, scatter, given, designs, seed)
    answered = recommended is not None and recommended.answers
    levers = (
        rank_levers(trial, scatter, given, recommended, budget, short=short) if recommended is not None and not answered else ()
    )
    return Plan(
        trial=trial,
        scatter=scatter,
        recommended=recommended,
        alternatives=_alternatives(designs, recommended),
        can_answer=answered,
        words=_words(trial, scatter, budget, controls, recommended, levers, given, short),
        levers=levers,
        tests_worth_making=best_tests,
    )


def _plan_surface(
    trial: Trial,
    scatter: Scatter,
    budget: Budget,
    given: Circumstances,
    *,
    colour_sensitive: bool,
    seed: int,
    simulations: int,
) -> Plan:
    """The central composite once, twice or more, as far as the budget reaches; the cheapest that answers, else the largest."""
    controls = controls_for(trial, colour_sensitive=colour_sensitive)
    best_tests = best_tests_per_brew(budget.costs.brew, budget.costs.test, scatter.brew_log_sd, scatter.test_log_sd)

    def power(plots: tuple[Plot, ...], *, tests_per_brew: int) -> Power:
        few = min(simulations, 1000)
        return surface_power(trial, plots, scatter, tests_per_brew, given=given, seed=seed, simulations=few)

    designs = []
    for repeats, tests in product(_COMPOSITES_TRIED, _tests_to_try(best_tests)):
        counts = counts_of(trial, repeats)
        rounds = -(-sum(counts) // max(1, budget.vessels))
        plots = weighted_plots(counts, -(-sum(counts) // rounds))  # rounds alike: a brew alone in its round tells nothing
        rounds = 1 + max(plot.round for plot in plots)
        n_tests, cost = cost_of(budget, controls, sum(counts), tests, rounds)
        if rounds > budget.rounds or n_tests > budget.tests or cost > budget.money:
            continue
        designs.append(_design_on(plots, budget, controls, counts, tests, power))
    good = sorted((design for design in designs if design.answers), key=lambda design: design.cost)
    most = sorted(designs, key=lambda design: (-design.power.assurance, design.cost))
    recommended = good[0] if good else most[0] if most else None
    least = sum(counts_of(trial, 1))
    return Plan(
        trial=trial,
        scatter=scatter,
        recommended=recommended,
        alternatives=_alternatives(designs, recommended),
        can_answer=bool(good),
        words=surface_in_words(trial, recommended, answers=bool(good))
        if recommended is not None
        else f"The budget does not reach the {least} brews of a central composite; more brews side by side take fewer days.",
        levers=(),
        tests_worth_making=best_tests,
    )


def _checked_designs(
    trial: Trial, scatter: Scatter, given: Circumstances, designs: Sequence[Design], seed: int
) -> tuple[list[Design], Design | None, float]:
    """All designs with the quick count corrected by the very verdict, the one recommended, and what was taken off its count.

    The cheapest design that should answer is judged whole; where it does not answer after all, the next one that could is.
    """
    quick = sorted(designs, key=lambda design: (-design.power.assurance, design.cost))
    if not quick:
        return [], None, 0.0
    short, chosen, power = 0.0, quick[0], quick[0].power
    judged: dict[int, Power] = {}
    for _ in range(MOST_CHECKED):
        good = sorted((d for d in quick if d.power.assurance - short >= GOOD_POWER), key=lambda design: design.cost)
        chosen = good[0] if good else quick[0]
        power = checked_power(trial, chosen.plots, scatter, chosen.tests_per_brew, chosen.power, given=given, seed=seed)
        judged[id(chosen)] = power
        if power.assurance >= GOOD_POWER or not good or chosen is quick[0]:
            break
        short = chosen.power.assurance - max(0.0, power.assurance) + CHECK_ERROR
    recommended = replace(chosen, power=power)
    corrected = [
        recommended
        if design is chosen
        else replace(design, power=judged.get(id(design)) or like(design.power, chosen.power, power))
        for design in quick
    ]
    return corrected, recommended, chosen.power.assurance - power.assurance


def _tests_to_try(best: float) -> tuple[int, ...]:
    whole = min(6, max(1, round(best))) if math.isfinite(best) else 6
    return tuple(sorted({1, whole, min(6, whole + 1)}))


def _counts_to_try(trial: Trial, budget: Budget, controls: Controls, tests: int) -> list[tuple[int, ...]]:
    """Brews of each arm, equal and with more of the standard, as far as the budget reaches."""
    found = []
    for brews in _BREWS_TRIED:
        reached = False
        for counts in {(brews,) * len(trial.arms): None, _more_of_the_standard(trial, brews): None}:
            rounds = rounds_for(trial, budget, sum(counts))
            n_tests, cost = cost_of(budget, controls, sum(counts), tests, rounds)
            if rounds <= budget.rounds and n_tests <= budget.tests and cost <= budget.money:
                found.append(counts)
                reached = True
        if not reached:
            break
    return found


def _more_of_the_standard(trial: Trial, brews: int) -> tuple[int, ...]:
    """Where k arms are compared with one standard, it is in every comparison: about sqrt(k) times the brews of each arm.

    Source
    ------
    dunnett-1955
    """
    others = len(trial.arms) - 1
    standard = standard_of(trial.arms)
    if trial.question != "several against a standard" or others < 2 or standard is None:
        return (brews,) * len(trial.arms)
    more = max(brews, round(brews * math.sqrt(others)))
    return tuple(more if arm.key == standard.key else brews for arm in trial.arms)


def _design(
    trial: Trial,
    budget: Budget,
    controls: Controls,
    counts: tuple[int, ...],
    tests: int,
    power: Callable[..., Power],
) -> Design:
    per_round = brews_a_round(trial, budget, sum(counts))
    equal = len(set(counts)) == 1
    plots = plots_of(len(counts), counts[0], per_round) if equal else weighted_plots(counts, per_round)
    return _design_on(plots, budget, controls, counts, tests, power)


def _design_on(
    plots: tuple[Plot, ...],
    budget: Budget,
    controls: Controls,
    counts: tuple[int, ...],
    tests: int,
    power: Callable[..., Power],
) -> Design:
    rounds = 1 + max(plot.round for plot in plots)
    n_tests, cost = cost_of(budget, controls, sum(counts), tests, rounds)
    return Design(
        brews_per_arm=min(counts),
        brews_of=counts,
        tests_per_brew=tests,
        plots=plots,
        rounds=rounds,
        controls=controls,
        tests=n_tests,
        cost=cost,
        power=power(plots, tests_per_brew=tests),
    )


def _alternatives(designs: Sequence[Design], recommended: Design | None) -> tuple[Design, ...]:
    """The designs that no other beats in both cost and power."""
    kept: list[Design] = []
    for design in sorted(designs, key=lambda d: (d.cost, -d.power.assurance)):
        if design is not recommended and (not kept or design.power.assurance > kept[-1].power.assurance + 0.01):
            kept.append(design)
    return tuple(kept)


def _words(
    trial: Trial,
    scatter: Scatter,
    budget: Budget,
    controls: Controls,
    design: Design | None,
    levers: tuple[Lever, ...],
    given: Circumstances,
    short: float,
) -> str:
    arms, margin = len(trial.arms), trial.margin_ratio
    if design is not None and design.answers:
        return answer_in_words(trial, scatter, design, given)
    needed = _needed(trial, scatter, budget, given, short)
    if needed is None or needed > MOST_SENSIBLE:
        tail = "No number of brews that one person makes can tell it at this scatter."
    else:
        rounds = rounds_for(trial, budget, needed * arms)
        _, cost = cost_of(budget, controls, needed * arms, 1, rounds)
        tail = f"It would take about {needed} brews of each arm in {rounds} rounds ({amount(cost)} in all)."
    smaller = _smaller_question(arms, design)
    now = f": it would be told {percent(design.power.assurance)} of the time" if design is not None else ""
    helps = f" {levers_in_words(levers)}" if design is not None else ""
    return f"Your budget cannot answer whether there is a difference of {number(margin)} times{now}. {tail}{helps} {smaller}"


def _needed(trial: Trial, scatter: Scatter, budget: Budget, given: Circumstances, short: float) -> int | None:
    """Brews of each arm that would answer: no fewer than by the closed form, halved in on by simulation while that is quick."""
    low = brews_needed(scatter.of_brew_mean(1), math.log(trial.margin_ratio), arms=len(trial.arms))
    if low is None or low * len(trial.arms) > MOST_SIMULATED:
        return low

    def answers(brews: int) -> bool:
        per_round = brews_a_round(trial, budget, brews * len(trial.arms))
        plots = plots_of(len(trial.arms), brews, per_round)
        return power_of(trial, plots, scatter, 1, given=given, simulations=600).assurance - short >= GOOD_POWER

    high = max(low, MOST_SIMULATED // len(trial.arms))
    if not answers(high):
        return None
    while high - low > max(1, low // 20):
        middle = (low + high) // 2
        low, high = (low, middle) if answers(middle) else (middle, high)
    return high


def _smaller_question(arms: int, design: Design | None) -> str:
    if design is None:
        return "The budget does not reach two brews of each arm, the least that shows how much brews of one recipe differ."
    asked = "Ask whether two of the arms" if arms > 2 else "Ask whether they"
    if design.power.detectable_ratio > LARGEST_ASKED:
        return "Make brews more alike first (one compost, one day, one vessel type), then plan again."
    return f"{asked} differ by {number(design.power.detectable_ratio)} times or more instead: this budget can tell that."

"""What would help a trial most, for its money: brews more alike, controls, repeated tests, more brews, a larger difference."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aerobe.records import Trial
from aerobe.trials._budget import Budget, cost_of
from aerobe.trials._circumstances import Circumstances
from aerobe.trials._design import Design
from aerobe.trials._layouts import plots_of, weighted_plots
from aerobe.trials._power import Power, power_of
from aerobe.trials._scatter import ONE_DAY_AND_HEAP, SAME_DAY_BOTTLES, Scatter
from aerobe.units import amount, given, number, percent

SIMULATIONS = 600
WORTH_NAMING = 0.03  # gain in the chance of telling [-]
WIDER = (2.0, 3.0, 5.0)  # differences to ask for instead [-]
LARGEST_SHOWN = 100.0  # a difference told beyond which it is none [-]
LEVER_HEAD = (
    "what to change",
    "tells the difference",
    "tells 4 in 5 a ratio of",
    "costs more [in your currency]",
    "gain for each 100 spent",
)
MONEY_UNIT = 100.0  # the gain is told for so much [money]
TOGETHER = "all that cost nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """One change of the plan, what it buys, and what it costs."""

    name: str
    words: str
    told: float  # chance to tell the difference with this change alone, over all that the scatter may be [-]
    gain: float  # over the plan as it is [-]
    detectable_ratio: float  # told four times in five with this change [-]
    cost: float | None  # more than the plan as it is; None: at a price that nobody has named [money]
    gain_per_100: float | None  # gain for each 100 spent; None where it costs nothing or nobody knows [1/money]
    helps: bool  # whether the gain is worth naming


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """A plan with one thing otherwise."""

    name: str
    words: str
    trial: Trial
    scatter: Scatter
    given: Circumstances
    tests: int
    per_round: int
    times: int = 1
    cost: float | None = 0.0


def rank_levers(
    trial: Trial, scatter: Scatter, how: Circumstances, design: Design, budget: Budget, *, short: float = 0.0
) -> tuple[Lever, ...]:
    """Each change of the plan tried alone, those that gain most for their money first: free ones, priced ones, then the others.

    Parameters
    ----------
    trial, scatter, how
        The plan as it is. [-]
    design
        The best design within the budget. [-]
    budget
        What tests and brews cost, and how many brews stand side by side. [money]
    short
        What the very verdict takes off the quick count of the design. [-]
    """
    plain = _Change(
        name="as it is",
        words="",
        trial=trial,
        scatter=scatter,
        given=how,
        tests=design.tests_per_brew,
        per_round=1 + max(plot.place for plot in design.plots),
    )
    base = max(0.0, _power(plain, design).assurance - short)
    changes = _changes(plain, design, budget)
    found = [_lever(change, design, base, short) for change in changes]
    free = [change for change, lever in zip(changes, found, strict=True) if lever.helps and lever.cost == 0.0]
    if len(free) > 1:
        found.append(_lever(_all_of(free, plain), design, base, short))
    return tuple(sorted(found, key=_rank))


def _rank(lever: Lever) -> tuple[int, float]:
    if not lever.helps or lever.cost is None:
        return 2 if lever.helps else 3, -lever.gain
    return (0, -lever.gain) if lever.gain_per_100 is None else (1, -lever.gain_per_100)


def _changes(plain: _Change, design: Design, budget: Budget) -> list[_Change]:
    """What can be done otherwise, whether or not it helps."""
    arms, brews = len(plain.trial.arms), sum(design.brews_of)
    tests_at_once = brews * budget.samplings
    found = []
    alike = next((to for to in (ONE_DAY_AND_HEAP, SAME_DAY_BOTTLES) if to.brew_log_sd < 0.8 * plain.scatter.brew_log_sd), None)
    if alike is not None:
        best = "at best as alike as bottles filled from one water"
        usual = "as alike as such brews are thought to be"
        found.append(
            replace(
                plain,
                name="same day and heap",
                words=f"brew all arms on one day and from one heap, {best if alike is SAME_DAY_BOTTLES else usual}",
                scatter=replace(plain.scatter, brew_log_sd=alike.brew_log_sd, df=min(plain.scatter.df, ONE_DAY_AND_HEAP.df)),
            )
        )
    if plain.per_round < arms:
        words = f"let all {arms} arms stand side by side in each round, in {arms} vessels: days then fall out"
        found.append(replace(plain, name="side by side", words=words, per_round=arms, cost=None))
    if plain.given.colour > 0.0 and plain.given.control_tests < 2:
        wanted = plain.given.control_tests + 1
        words = f"test the killed control of each brew{' twice' if wanted == 2 else ''}"
        found.append(
            replace(
                plain,
                name="controls",
                words=words,
                given=replace(plain.given, control_tests=wanted),
                cost=tests_at_once * budget.costs.test,
            )
        )
    repeats = plain.tests + 1
    words = f"test each brew {'twice' if repeats == 2 else f'{repeats} times'} with the test you have"
    found.append(replace(plain, name="repeated tests", words=words, tests=repeats, cost=tests_at_once * budget.costs.test))
    better = replace(plain.scatter, test_log_sd=plain.scatter.test_log_sd / 2.0)
    four = amount(3 * tests_at_once * budget.costs.test)
    words = f"use a test that errs half as much (four of yours for each would do, for {four})"
    found.append(replace(plain, name="better test", words=words, scatter=better, cost=None))
    rounds = 2 * design.rounds
    _, cost = cost_of(budget, design.controls, 2 * brews, plain.tests, rounds)
    words = f"make twice as many brews, {2 * brews} in {rounds} rounds: {given(rounds * budget.days_per_round)} days"
    found.append(replace(plain, name="more brews", words=words, times=2, cost=cost - design.cost))
    wider = next((ratio for ratio in WIDER if ratio > 1.2 * plain.trial.margin_ratio), None)
    if wider is not None:
        words = f"ask for a difference of {given(wider)} times, and let smaller ones go"
        found.append(replace(plain, name="larger difference", words=words, trial=replace(plain.trial, margin_ratio=wider)))
    return found


def _all_of(changes: list[_Change], plain: _Change) -> _Change:
    """Several changes made together; each leaves alone what the others change."""
    both = replace(plain, name=TOGETHER, words="all that cost nothing, together")
    for change in changes:
        fields = {
            name: getattr(change, name) for name in ("trial", "scatter", "given") if getattr(change, name) != getattr(plain, name)
        }
        both = replace(both, **fields)
    return both


def _lever(change: _Change, design: Design, base: float, short: float) -> Lever:
    """What a change buys; a loss by the chance of the simulation counts as no gain."""
    power = _power(change, design)
    told = max(base, power.assurance - short)
    gain = told - base
    return Lever(
        name=change.name,
        words=change.words,
        told=told,
        gain=gain,
        detectable_ratio=power.detectable_ratio,
        cost=change.cost,
        gain_per_100=MONEY_UNIT * gain / change.cost if change.cost else None,
        helps=gain >= WORTH_NAMING,
    )


def _power(change: _Change, design: Design) -> Power:
    counts = tuple(count * change.times for count in design.brews_of)
    equal = len(set(counts)) == 1
    plots = plots_of(len(counts), counts[0], change.per_round) if equal else weighted_plots(counts, change.per_round)
    return power_of(change.trial, plots, change.scatter, change.tests, given=change.given, simulations=SIMULATIONS)


def lever_rows(levers: tuple[Lever, ...]) -> list[tuple[str, ...]]:
    """What helps, best first, a row each: what to do, the chance to tell, the difference told, its cost, the gain for 100."""
    return [
        (
            lever.words[0].upper() + lever.words[1:],
            percent(lever.told),
            number(lever.detectable_ratio) if lever.detectable_ratio < LARGEST_SHOWN else "-",
            "its price" if lever.cost is None else given(lever.cost),
            "free" if lever.cost == 0.0 else "-" if lever.gain_per_100 is None else f"{100.0 * lever.gain_per_100:.1f} points",
        )
        for lever in levers
        if lever.helps
    ]


def idle_in_words(levers: tuple[Lever, ...]) -> str:
    """What was tried and hardly helps; empty where all of it helps."""
    idle = [lever.words for lever in levers if not lever.helps]
    return f"Hardly helps here (under {percent(WORTH_NAMING)}): {'; '.join(idle)}." if idle else ""


def cost_in_words(cost: float | None) -> str:
    """What a lever costs, as a person reads it."""
    if cost is None:
        return "at its price"
    return f"{amount(cost)} more" if cost else "at no cost"


def levers_in_words(levers: tuple[Lever, ...]) -> str:
    """What helps most for its money, in one sentence, or that nothing helps."""
    one = next((lever for lever in levers if lever.helps and lever.name != TOGETHER), None)
    if one is None:
        return "No single change of the plan would help."
    return f"What helps most for its money: {one.words} ({percent(one.told)}, {cost_in_words(one.cost)})."

"""Commands that plan a trial: what a budget can answer, how often it would, and when to sample. `_trials` takes them in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from aerobe.cli._common import OWN, Where, counted, now, progress, say, table, then
from aerobe.units import given, number, percent

if TYPE_CHECKING:
    from aerobe.usecases.trials import PlannedTrial, TrialWish

NAME = Parameter(name="--name")
CONTROLS = Parameter(negative="--no-controls")


def plan(
    name: Annotated[str, NAME],
    *,
    arms: str,
    question: str = "two recipes",
    of_recipe: str = "",
    runs: str = "",
    outcome: str = "biomass",
    margin: str = "1.5",
    money: str = "500",
    test_price: str = "10",
    brew_price: str = "20",
    tests: str = "",
    vessels: str = "2",
    vessel_names: str = "",
    days: str = "28",
    days_per_round: str = "3",
    scatter: str = "",
    test_scatter: str = "0.15",
    scatter_brews: str = "",
    colour: str = "0",
    lost: str = "0",
    assay: str = "",
    sample_at: str = "24 h",
    start: str = "",
    seed: str = "",
    controls: Annotated[bool, CONTROLS] = True,
    begin: bool = False,
    where: Where = OWN,
) -> None:
    """What a budget can answer; with --begin, write the trial down and draw its run sheet.

    Parameters
    ----------
    name
        What you call the trial.
    arms
        Recipes ("kelp, plain"), doses ("0, 1, 2") or factors ("molasses: 0 / 2; kelp: 0 / 1").
    question
        two recipes, several against a standard, dose series, factors, brewing time, vessels, field response.
    of_recipe
        Recipe behind a dose series, brewing times or vessels.
    runs
        Number of arms of a fractional factorial, or "central composite" for the best point of two to four factors; all
        combinations if left out.
    outcome
        What it is judged by: biomass, area under the curve, ratio, peak time, cost per biomass, oxygen, yield ...
    margin
        Difference worth having, as a ratio.
    money
        What you can spend in all, in your currency.
    test_price
        Cost of one test.
    brew_price
        Cost of one brew.
    tests
        Tests at hand; as many as the money buys if left out.
    vessels
        How many brews can stand side by side.
    days
        Days until you want the answer.
    days_per_round
        Days from the start of one round of brews to the next.
    vessel_names
        Keys of the vessels to use.
    scatter
        "one day and heap", "weekly batches", "same-day bottles", "own brews", or the SD of the log between brews (0.1 is 10 %).
        Left out: own brews once three of them repeat another's recipe, else one day and heap.
    test_scatter
        SD of the log between tests of one brew, where the scatter is given as a number.
    scatter_brews
        How many brews a scatter given as a number was learnt from; taken as known if left out.
    colour
        How dark the tea is to the test: its signal without cells over that of the biomass (0.5 is half as much).
    lost
        Share of brews that will give no result (0.1, or 10 %).
    assay
        Key of the assay; decides whether killed controls are needed.
    sample_at
        When each brew is sampled ("16 h, 24 h, 36 h").
    start
        Start of the first brew (2026-05-04T08:00); tomorrow if left out.
    seed
        Kept with the run sheet: the same seed draws the same sheet. Whoever knows it, or guesses a short one, knows the arms; by
        chance if left out.
    controls
        Whether arms without food, water and so on are added where the question needs them.
    begin
        Write it down and draw the run sheet.
    """
    from aerobe.usecases.trials import plan_for, start_trial, usual_scatter

    typed = {
        "name": name,
        "arms": arms,
        "question": question,
        "of_recipe": of_recipe,
        "runs": runs,
        "outcome": outcome,
        "margin": margin,
        "money": money,
        "test_price": test_price,
        "brew_price": brew_price,
        "tests": tests,
        "vessels": vessels,
        "vessel_names": vessel_names,
        "days": days,
        "days_per_round": days_per_round,
        "scatter": scatter,
        "test_scatter": test_scatter,
        "scatter_brews": scatter_brews,
        "colour": colour,
        "lost": lost,
        "assay": assay,
        "sample_at": sample_at,
        "start": start,
        "seed": seed,
        "controls": "yes" if controls else "no",
    }
    with where.open() as notebook:
        wish = _wish(**{**typed, "scatter": scatter or usual_scatter(notebook)})
        with progress("simulating the verdict of each design"):
            planned = plan_for(notebook, wish, now=now())
        key = start_trial(notebook, wish, now=now()) if begin else ""
    say(_plan_data(planned, key), as_json=where.json, text=_plan_text(planned, key))


def _plan_data(planned: PlannedTrial, key: str) -> dict[str, object]:
    found = planned.plan
    designs = [found.recommended, *found.alternatives] if found.recommended else []
    return {
        "can_answer": found.can_answer,
        "words": found.words,
        "levers": found.levers,
        "scatter": found.scatter,
        "beside": planned.beside,
        "started": key,
        "arms": [arm.key for arm in found.trial.arms],
        "designs": [
            {
                "brews_per_arm": d.brews_per_arm,
                "brews_of": d.brews_of,
                "tests_per_brew": d.tests_per_brew,
                "rounds": d.rounds,
                "tests": d.tests,
                "cost": d.cost,
                "power": d.power,
                "controls": d.controls.roles,
            }
            for d in designs
        ],
    }


def _plan_text(planned: PlannedTrial, key: str) -> list[str]:
    from aerobe.usecases.trials import LEVER_HEAD, arm_in_words, idle_in_words, lever_rows

    found = planned.plan
    lines = [found.words, ""]
    if rows := lever_rows(found.levers):
        lines += ["What would help, most for its money first:", *table(LEVER_HEAD, rows), ""]
    lines += [words for words in (idle_in_words(found.levers),) if words]
    lines += [f"Arms: {', '.join(arm_in_words(arm) for arm in found.trial.arms)}", f"Scatter: {found.scatter.origin}"]
    lines += [words for words in (planned.beside,) if words]
    if found.recommended:
        controls = found.recommended.controls
        lines += [f"Controls: {', '.join((*controls.roles, *controls.round_roles)) or 'none'}. {' '.join(controls.reasons)}", ""]
        designs = [
            (
                "*" if d is found.recommended else "",
                d.brews_per_arm,
                d.tests_per_brew,
                d.rounds,
                given(d.cost),
                percent(d.power.told),
                percent(d.power.assurance),
                percent(d.power.same_told),
                number(d.power.detectable_ratio) if d.power.detectable_ratio < 100.0 else "-",
            )
            for d in (found.recommended, *found.alternatives)
        ]
        lines += table(
            (
                "",
                "brews/arm",
                "tests/brew",
                "rounds",
                "cost [in your currency]",
                "tells margin",
                "on average",
                "tells same",
                "tells 4 in 5 a ratio of",
            ),
            designs,
        )
    return [*lines, *([f"Trial '{key}' is written down.", *then(f"trial sheet {key}", f"trial show {key}")] if key else [])]


def power(
    key: str,
    /,
    *,
    scatter: str = "one day and heap",
    test_scatter: str = "0.15",
    simulations: int = 1000,
    workers: int = 0,
    cluster: str = "",
    seed: int = 1,
    where: Where = OWN,
) -> None:
    """How often a planned trial would be told, if its recipes behave as the brew model believes.

    Parameters
    ----------
    key
        Of a trial with a run sheet.
    scatter
        Between brews, as in `aerobe trial plan`.
    test_scatter
        Between tests of one brew, as in `aerobe trial plan`.
    simulations
        Trials simulated.
    workers
        Processes; as many as the machine has if left out.
    cluster
        Address of a Dask scheduler, for many machines.
    seed
        Same seed, same answer.
    """
    from aerobe.usecases.trials import power_through_model, scatter_of_words

    with where.open(create=False) as notebook, counted("running the trial over and over") as tell:
        found = power_through_model(
            notebook,
            key,
            scatter=scatter_of_words(scatter, test_scatter),
            simulations=simulations,
            workers=workers,
            cluster=cluster,
            seed=seed,
            progress=tell,
        )
    rows = [
        (label, percent(better), percent(worse), percent(same), percent(wrong, 1), f"{true:.3g}")
        for label, better, worse, same, wrong, true in zip(
            found.labels, found.better, found.worse, found.same, found.wrong, found.true_ratio, strict=True
        )
    ]
    say(found, as_json=where.json, text=table(("comparison", "higher", "lower", "same", "told wrongly", "believed ratio"), rows))


def times(
    recipe: str, vessel: str, /, *, samples: int = 4, until_h: float = 48.0, aim: str = "course", where: Where = OWN
) -> None:
    """When to sample brews of a recipe so that few tests tell most.

    Parameters
    ----------
    recipe
        Key of the recipe.
    vessel
        Key of the vessel it is brewed in.
    samples
        Samples of each brew.
    until_h
        Latest hour. [h]
    aim
        "course" for the whole curve, "peak time" for the time of the peak.
    """
    from aerobe.usecases.trials import suggest_sampling_times

    with where.open(create=False) as notebook, progress("drawing believed courses"):
        found = suggest_sampling_times(notebook, recipe, vessel, samples=samples, until_h=until_h, aim=aim)
    hours = ", ".join(f"{hour:.1f}" for hour in found.times_h)
    say(
        found,
        as_json=where.json,
        text=f"Sample at {hours} h. Evenly spread samples would tell {percent(found.efficiency_of_even)} as much.",
    )


def _wish(**typed: object) -> TrialWish:
    from aerobe.usecases.trials import TrialWish

    return TrialWish.from_form(typed)

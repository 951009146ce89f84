"""Commands about trials: plan, start, print, judge, and what to ask next."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Annotated, Any

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, counted, now, progress, say, table
from aerobe.cli._files import write_whole
from aerobe.cli._pictures import save_picture
from aerobe.errors import ImportFault, UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.units import percent

trial = App(name="trial", help="Plan a trial, print its run sheet, judge it, and find out what to ask next.")
NAME = Parameter(name="--name")
CONTROLS = Parameter(negative="--no-controls")


def _wish(**typed: Any) -> Any:
    from aerobe.desk import TrialWish

    return TrialWish.from_form(typed)


@trial.command(name="plan")
def plan(
    name: Annotated[str, NAME], *, arms: str, question: str = "two recipes", of_recipe: str = "", runs: str = "",
    outcome: str = "biomass", margin: str = "1.5", money: str = "500", test_price: str = "10", brew_price: str = "20",
    tests: str = "", vessels: str = "2", vessel_names: str = "", days: str = "28", days_per_round: str = "3",
    scatter: str = "weekly batches", test_scatter: str = "0.15", assay: str = "", sample_at: str = "24 h", start: str = "",
    seed: str = "1", controls: Annotated[bool, CONTROLS] = True, begin: bool = False, where: Where = OWN,
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
        Number of arms of a fractional factorial; all combinations if left out.
    outcome
        What it is judged by: biomass, ratio, peak time, cost per biomass, oxygen, yield ...
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
        "weekly batches", "same-day bottles", "own brews", or the SD of the log between brews (0.1 is 10 %).
    test_scatter
        SD of the log between tests of one brew, where the scatter is given as a number.
    assay
        Key of the assay; decides whether killed controls are needed.
    sample_at
        When each brew is sampled ("16 h, 24 h, 36 h").
    start
        Start of the first brew (2026-05-04T08:00); tomorrow if left out.
    seed
        Kept with the run sheet: the same seed draws the same sheet.
    controls
        Whether arms without food, water and so on are added where the question needs them.
    begin
        Write it down and draw the run sheet.
    """
    from aerobe.desk import plan_for, start_trial

    wish = _wish(
        name=name, arms=arms, question=question, of_recipe=of_recipe, runs=runs, outcome=outcome, margin=margin, money=money,
        test_price=test_price, brew_price=brew_price, tests=tests, vessels=vessels, vessel_names=vessel_names, days=days,
        days_per_round=days_per_round, scatter=scatter, test_scatter=test_scatter, assay=assay, sample_at=sample_at, start=start,
        seed=seed, controls="yes" if controls else "no",
    )
    with where.open() as notebook:
        with progress("simulating the verdict of each design"):
            planned = plan_for(notebook, wish, now=now())
        key = start_trial(notebook, wish, now=now()) if begin else ""
    say(_plan_data(planned.plan, key), as_json=where.json, text=_plan_text(planned.plan, key))


def _plan_data(found: Any, key: str) -> dict[str, Any]:
    designs = [found.recommended, *found.alternatives] if found.recommended else []
    return {
        "can_answer": found.can_answer,
        "words": found.words,
        "scatter": found.scatter,
        "started": key,
        "arms": [arm.key for arm in found.trial.arms],
        "designs": [
            {
                "brews_per_arm": d.brews_per_arm,
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


def _plan_text(found: Any, key: str) -> list[str]:
    lines = [found.words, "", f"Arms: {', '.join(arm.key for arm in found.trial.arms)}", f"Scatter: {found.scatter.origin}"]
    if found.recommended:
        controls = found.recommended.controls
        lines += [f"Controls: {', '.join((*controls.roles, *controls.round_roles)) or 'none'}. {' '.join(controls.reasons)}", ""]
        rows = [
            (
                "*" if d is found.recommended else "",
                d.brews_per_arm,
                d.tests_per_brew,
                d.rounds,
                f"{d.cost:g}",
                percent(d.power.told),
                percent(d.power.same_told),
                f"{d.power.detectable_ratio:.3g}",
            )
            for d in (found.recommended, *found.alternatives)
        ]
        lines += table(
            ("", "brews/arm", "tests/brew", "rounds", "cost", "tells margin", "tells same", "tells 4 in 5 a ratio of"), rows
        )
    return [*lines, *([f"Trial '{key}' is written down; print it with: aerobe trial sheet {key}"] if key else [])]


@trial.command(name="power")
def power(
    key: str, /, *, scatter: str = "weekly batches", test_scatter: str = "0.15", simulations: int = 1000, workers: int = 0,
    cluster: str = "", seed: int = 1, where: Where = OWN,
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
    from aerobe.desk import power_through_model, scatter_of_words

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


@trial.command(name="list")
def trial_list(*, where: Where = OWN) -> None:
    """All trials."""
    from aerobe.desk import trial_list as listed

    with where.open(create=False) as notebook:
        found = listed(notebook)
    rows = [(item["key"], item["question"], item["outcome"], item["arms"], item["brews"], item["name"]) for item in found]
    say(found, as_json=where.json, text=table(("key", "question", "outcome", "arms", "brews", "name"), rows))


@trial.command(name="show")
def show(key: str, /, *, picture: Path | None = None, where: Where = OWN) -> None:
    """A trial with its brews, started and waiting.

    Parameters
    ----------
    key
        Key of the trial.
    picture
        Also draw the readings of all its brews over time, to this file (.svg or .png).
    """
    from aerobe.desk import course_picture, trial_view

    with where.open(create=False) as notebook:
        view = trial_view(notebook, key)
        drawn = [save_picture(course_picture(notebook, key), picture)] if picture is not None else []
    rows = [(brew.blind_code or "-", brew.key, brew.vessel, "started") for brew in view.brews]
    rows += [
        (item.blind_code, item.brew, item.vessel, f"waiting, {item.starts_at:%a %d %b %H:%M}" if item.starts_at else "waiting")
        for item in view.waiting
    ]
    text = [
        f"{view.trial.name}: {view.trial.question}, judged by {view.trial.outcome}.",
        f"Brews with results: {view.with_results} of {len(view.brews) + len(view.waiting)}.",
        "",
    ]
    text += [*table(("code", "brew", "vessel", "state"), rows), *drawn]
    if view.waiting:
        text.append(f"When the air goes on in one of them: aerobe trial begin {key} CODE")
    say(view, as_json=where.json, text=text)


@trial.command(name="begin")
def begin(key: str, code: str, /, *, where: Where = OWN) -> None:
    """The air is on in a planned brew.

    Parameters
    ----------
    key
        Key of the trial.
    code
        The brew's blind code on the run sheet, such as XD6.
    """
    from aerobe.desk import start_planned_brew

    with where.open() as notebook:
        receipt = start_planned_brew(notebook, key, code, now=now())
    say(receipt, as_json=where.json, text=[
        f"Brew '{receipt.key}' began.", f"Record its tests: aerobe reading add {receipt.key} RESULT --assay KEY",
    ])


@trial.command(name="sheet")
def sheet(key: str, to: Path | None = None, /, *, with_arms: bool = False, where: Where = OWN) -> None:
    """Write the run sheet as a page to print, one page a brew.

    Parameters
    ----------
    key
        Key of the trial.
    to
        File to write; <key>-run-sheet.html if left out.
    with_arms
        Add the key of codes to arms, for the person who mixes the recipes.
    """
    from aerobe.desk import print_run_sheet

    with where.open(create=False) as notebook:
        page = print_run_sheet(notebook, key, with_arms=with_arms)
    path = to or Path(f"{key}-run-sheet.html")
    write_whole(path, page)
    say({"written": str(path)}, as_json=where.json, text=f"Written: {path}")


@trial.command(name="calendar")
def calendar(key: str, to: Path | None = None, /, *, where: Where = OWN) -> None:
    """Write starts and samplings as a calendar file (.ics).

    Parameters
    ----------
    key
        Key of the trial.
    to
        File to write; <key>.ics if left out.
    """
    from aerobe.desk import trial_calendar

    with where.open(create=False) as notebook:
        content = trial_calendar(notebook, key, now=now())
    path = to or Path(f"{key}.ics")
    write_whole(path, content)
    say({"written": str(path)}, as_json=where.json, text=f"Written: {path}")


@trial.command(name="verdict")
def verdict(
    key: str, /, *, outcome: str = "", assay: str = "", at_h: float | None = None, margin: float | None = None,
    also: tuple[str, ...] = (), where: Where = OWN,
) -> int:
    """Judge a trial. Exit code 4: nothing can be told yet.

    Parameters
    ----------
    key
        Key of the trial.
    outcome
        Judged by; what the trial was planned for if left out.
    assay
        Key of the assay whose readings are judged; the one that measured the most brews if left out.
    at_h
        Hour to compare at; the last planned hour that every arm has reached if left out. [h]
    margin
        Ratio worth having, if not that of the plan.
    also
        Comparisons nobody planned, as first/second; they are marked.
    """
    from aerobe.desk import keep_verdict, verdict_of_trial

    pairs = [_pair(item) for item in also]
    with where.open() as notebook:
        with progress("judging"):
            found = verdict_of_trial(
            notebook, key, outcome=outcome, assay=assay, at_h=at_h, margin=margin, also=pairs, now=now()
        )
        keep_verdict(notebook, key, found, now=now())
    return _say_verdict(found, where.json)


def _pair(text: str) -> tuple[str, str]:
    first, slash, second = text.partition("/")
    if not slash or not first or not second:
        raise UnusableRecord(f"'{text}' is no comparison.", "Write it as first/second, for example kelp/plain.")
    return first, second


def _say_verdict(found: Any, as_json: bool) -> int:
    from aerobe.desk import verdict_lines

    say(found, as_json=as_json, text=verdict_lines(found))
    return NOT_SETTLED if all(item.call == "can't tell yet" for item in found.comparisons) else 0


@trial.command(name="next")
def next_one(key: str, /, *, where: Where = OWN) -> None:
    """What to ask next, from what this trial showed.

    Parameters
    ----------
    key
        Key of the trial.
    """
    from aerobe.desk import next_trial

    with where.open(create=False) as notebook:
        found = next_trial(notebook, key, now=now())
    lines = list(found.because)
    if found.trial is not None:
        lines.append(f"Next: {found.trial.question} with {', '.join(arm.key for arm in found.trial.arms)}"
                     + (f", {found.brews_per_arm} brews of each arm in all." if found.brews_per_arm else "."))
    say(found, as_json=where.json, text=lines)


@trial.command(name="compare")
def compare(
    first: str, second: str, /, *, outcome: str = "biomass", at_h: float | None = None, margin: float = 1.25, where: Where = OWN
) -> int:
    """Two recipes by all their brews, planned or not; the answer is marked as unplanned. Exit code 4: it cannot be told yet.

    Parameters
    ----------
    first
        Key of one recipe.
    second
        Key of the recipe it is compared with.
    outcome
        Judged by: biomass, count, ratio, peak time, cost per biomass, oxygen ...
    at_h
        Hour to compare at; each brew's last sample if left out. [h]
    margin
        Ratio worth having.
    """
    from aerobe.desk import compare_recipes

    with where.open(create=False) as notebook:
        found = compare_recipes(notebook, first, second, outcome=outcome, at_h=at_h, margin=margin, now=now())
    return _say_verdict(found, where.json)


@trial.command(name="judge")
def judge_file(
    file: Path,
    /,
    *,
    standard: str = "",
    question: str = "several against a standard",
    outcome: str = "biomass",
    margin: float = 1.25,
    where: Where = OWN,
) -> int:
    """Judge a CSV file with the columns arm, value, unit (brew, pot or bed), and if there are any block and source_brew.

    Parameters
    ----------
    file
        The table.
    standard
        Arm that the others are compared with; the first in the file if left out.
    question
        As in `aerobe trial plan`.
    outcome
        biomass, count, yield, score ...
    margin
        Ratio worth having (difference, for a score).
    """
    from aerobe.desk import judge_table

    rows = _rows_of(file)
    names = list(dict.fromkeys(row.get("arm", "") for row in rows if row.get("arm")))
    if not names:
        raise UnusableRecord("The table names no arm.", "Give the columns arm, value and unit (brew, pot or bed).")
    arms = tuple(Arm(key=name, recipe=name, is_standard=name == (standard or names[0])) for name in names)
    asked = Trial(key="table", name=file.stem, question=question, outcome=outcome, arms=arms)
    return _say_verdict(judge_table(asked, rows, margin=margin), where.json)


def _rows_of(file: Path) -> list[dict[str, str]]:
    try:
        with file.open(newline="", encoding="utf-8-sig") as stream:
            return [
                {key.strip(): str(value or "").strip() for key, value in row.items() if key} for row in csv.DictReader(stream)
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise ImportFault(f"{file} is no table: {fault}.", "Check the path; save the table as CSV in UTF-8.") from None


@trial.command(name="times")
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
    from aerobe.desk import suggest_sampling_times

    with where.open(create=False) as notebook, progress("drawing believed courses"):
        found = suggest_sampling_times(notebook, recipe, vessel, samples=samples, until_h=until_h, aim=aim)
    hours = ", ".join(f"{hour:.1f}" for hour in found.times_h)
    say(
        found,
        as_json=where.json,
        text=f"Sample at {hours} h. Evenly spread samples would tell {percent(found.efficiency_of_even)} as much.",
    )

"""The report of a trial."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aerobe.charts import Course, FigureTable, Picture, RatioRow, arm_points, courses_by_arm, forest, surface_profiles
from aerobe.evidence import Weighed
from aerobe.records import Arm, Assay, Brew, Compost, Reading, Recipe, RunSheet, Trial
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Report, Section, Shown, Warned, Words
from aerobe.reports._brew import known_sources
from aerobe.reports._imprint import Imprint
from aerobe.reports._pooled import POOL_SOURCES, pooled_blocks, pooled_numbers
from aerobe.reports._recompute import recompute_files
from aerobe.reports._tables import limits_of_readings, noise_and_colour, readings_table, recipe_blocks
from aerobe.sources import cite
from aerobe.trials import arm_in_words
from aerobe.units import number, ratio_of
from aerobe.verdicts import Comparison, Verdict, effect_words, is_surface, short_headline

MOST_ARMS = 6  # that one picture can tell apart
VERDICT_SOURCES = ("welch-1947", "games-howell-1976", "hurlbert-1984", "schuirmann-1987", "lan-demets-1983", "rank-sets-2022")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRecords:
    """What the notebook holds of one trial; `recipes` with their composts, one for each recipe in the trial."""

    trial: Trial
    run_sheet: RunSheet | None
    brews: Sequence[Brew]
    recipes: Sequence[tuple[Recipe, Compost | None]]
    readings: Sequence[Reading]
    assays: Mapping[str, Assay]
    starts: Mapping[str, str]  # by key of a brew what to say where its start is not known


def trial_report(
    kept: TrialRecords,
    verdict: Verdict,
    imprint: Imprint,
    *,
    pooled: Sequence[Weighed] = (),
    notes: Sequence[str] = (),
    basis: str = "",
) -> Report:
    """The report of a trial: the verdict, the raw result of every brew, rivals, and what was planned before and what not.

    Parameters
    ----------
    kept
        The records.
    verdict
        On them.
    imprint
        As in `brew_report`.
    notes
        What was noticed about the brews, such as those left out.
    pooled
        What other people's trials say of the same recipes, if any were taken in.
    basis
        Which test the verdict rests on, and which others there are.
    """
    trial, run_sheet, brews, readings, assays = kept.trial, kept.run_sheet, kept.brews, kept.readings, kept.assays
    sources: tuple[str, ...] = VERDICT_SOURCES
    first: list[Block] = [Facts(rows=tuple(_facts(trial, run_sheet, verdict)))]
    first += [Shown(picture=picture) for picture in trial_pictures(verdict, trial.arms)]
    first += [PointList(items=tuple(item.because for item in verdict.comparisons))]
    limits = [*notes, *_limits(trial, run_sheet, verdict, brews, readings, assays)]
    if limits:
        first.append(Warned(title="What this trial cannot tell", items=tuple(limits)))
    if verdict.settle is not None:
        first.append(Words(text=f"What would settle it: {verdict.settle.words}"))
    first += [*imprint.blocks()]
    sections = [
        Section(title="What was planned before, and what was not", blocks=_planned(trial, run_sheet, verdict)),
        Section(
            title="Result of every brew", blocks=(*_results(verdict, brews, kept.starts), *_over_time(brews, readings, assays))
        ),
        Section(title="How colour and noise were handled", blocks=noise_and_colour(readings, assays)),
        Section(title="How the verdict was reached", blocks=_method(verdict)),
        Section(title="The recipes", blocks=tuple(block for pair in kept.recipes for block in recipe_blocks(*pair))),
        Section(title="All readings", blocks=(readings_table(readings, assays, with_brew=True),)),
    ]
    if pooled:
        sections.insert(1, Section(title="With the trials of others", blocks=pooled_blocks(pooled)))
        sources = (*sources, *POOL_SOURCES)
    return Report(
        title=trial.name,
        beside=recompute_files(verdict, trial.arms),
        kind="trial",
        headline=verdict.headline,
        in_passing=short_headline(verdict.comparisons, verdict.headline),
        sure=_sure(verdict, len(trial.arms)),
        basis=basis,
        first=tuple(first),
        sections=tuple(sections),
        sources=tuple(cite(*known_sources(*sources))),
        made_at=imprint.made_at,
        versions=imprint.versions,
        seed=run_sheet.seed if run_sheet else None,
        numbers={**trial_numbers(verdict), **pooled_numbers(pooled)},
        package_name=f"{trial.key}-data.zip",
        from_tables=bool(imprint.tables),
        invented=imprint.invented,
    )


def trial_numbers(verdict: Verdict) -> dict[str, float | str | None]:
    """The numbers of a trial's report, by name."""
    found: dict[str, float | str | None] = {"headline": verdict.headline, "claims": verdict.claims, "brews": float(verdict.brews)}
    for item in verdict.comparisons:
        for name in (
            "effect",
            "low",
            "high",
            "family_low",
            "family_high",
            "probability_better",
            "probability_worse",
            "probability_same",
        ):
            value = getattr(item, name)
            found[f"{item.label}: {name.replace('_', ' ')}"] = None if value is None else float(f"{value:.6g}")
        found[f"{item.label}: call"] = item.call
    for name, sd in (("scatter between brews", verdict.brew_sd), ("scatter of testing", verdict.test_sd)):
        found[name] = None if sd is None else float(f"{sd:.6g}")
    return found


def trial_pictures(verdict: Verdict, arms: Sequence[Arm] = ()) -> tuple[Picture, ...]:
    """Raw points of all brews, by arm or by the levels of a surface's factors, and the comparisons with their intervals."""
    kind, results = verdict.outcome, verdict.results
    is_ratio = kind.scale == "ratio"
    levels = {arm.key: arm.levels for arm in arms}
    if verdict.surface is not None and all(result.arm in levels for result in results):
        return (*surface_profiles(verdict.surface, results, levels, kind), *_forest(verdict))
    points = arm_points(
        [item.arm for item in results],
        [item.value for item in results],
        [item.block for item in results],
        [item.brew for item in results],
        quantity=kind.label.capitalize(),
        unit=kind.unit,
        log_scale=is_ratio,
    )
    return (points, *_forest(verdict))


def _forest(verdict: Verdict) -> tuple[Picture, ...]:
    kind = verdict.outcome
    told = [item for item in verdict.comparisons if item.effect is not None]
    if not told or kind.scale != "ratio":
        return ()
    rows = [_row(item) for item in verdict.comparisons]
    says = "; ".join(f"{item.label}: {effect_words(item, kind)}, {item.call}" for item in told) + "."
    title = "Comparisons with their 90 % intervals"
    return (forest(rows, title=title, says=says, margin_ratio=verdict.margin, level="90 %"),)


def _row(item: Comparison) -> RatioRow:
    label = item.label if item.planned else f"{item.label} (unplanned)"
    if item.effect is None or item.low is None or item.high is None:
        return RatioRow(label=label, ratio=None)
    return RatioRow(label=label, ratio=ratio_of(item.effect), low=ratio_of(item.low), high=ratio_of(item.high))


def _facts(trial: Trial, run_sheet: RunSheet | None, verdict: Verdict) -> list[tuple[str, str]]:
    margin = f"a factor of {number(verdict.margin)}" if verdict.outcome.scale == "ratio" else number(verdict.margin)
    return [
        ("Question", trial.question),
        ("Judged by", verdict.claims),
        ("Brews", f"{verdict.brews} in {len(trial.arms)} arms"),
        *([("Arms", "; ".join(map(arm_in_words, trial.arms)))] if trial.arms[0].levels else []),
        ("A difference worth having", margin),
        ("Planned", _when(trial, verdict)),
        ("Drawn by lot", "yes" + _seed(run_sheet) if run_sheet else "no run sheet was drawn"),
        ("Brews of one recipe differ by", _factor(verdict.brew_sd)),
    ]


def _seed(run_sheet: RunSheet) -> str:
    return "" if run_sheet.seed is None else f", seed {run_sheet.seed}"


def _sure(verdict: Verdict, arms: int) -> str:
    drawn = any(item.effect is not None for item in verdict.comparisons) and verdict.outcome.scale == "ratio"
    claims = "" if verdict.claims == verdict.outcome.label else f", judged by {verdict.claims}"
    return f"{verdict.brews} brews in {arms} arms{claims}. {'Bars: 90 % intervals.' if drawn else 'Each point is a brew.'}"


def _when(trial: Trial, verdict: Verdict) -> str:
    if trial.planned_at is None:
        return "not recorded"
    at = f"{trial.planned_at:%Y-%m-%d %H:%M %z}"
    return at if _shown_to_be_planned(verdict) else f"{at}, it is said; the order of writing does not show it"


def _shown_to_be_planned(verdict: Verdict) -> bool:
    return not {"unplanned", "written in afterwards"} & {rival.name for rival in verdict.rivals}


def _before(trial: Trial, verdict: Verdict) -> str:
    """What may be said of comparisons of the question asked, which share one bar."""
    if trial.planned_at is None:
        return "not recorded"  # nobody can say they were planned where no plan was recorded
    if not _shown_to_be_planned(verdict):
        return "not shown to be planned"
    changed = any(rival.name == "plan changed" and "after the first result" in rival.words for rival in verdict.rivals)
    return "planned, and the plan changed after the first result" if changed else "planned"


def _factor(sd: float | None) -> str:
    return "cannot be known: no arm was brewed twice" if sd is None else f"about a factor of {number(math.exp(sd))} (one sd)"


def _limits(
    trial: Trial,
    run_sheet: RunSheet | None,
    verdict: Verdict,
    brews: Sequence[Brew],
    readings: Sequence[Reading],
    assays: Mapping[str, Assay],
) -> list[str]:
    found = [f"{rival.words} {rival.remedy}" for rival in verdict.rivals]
    counts: dict[str, int] = {}
    for item in verdict.results:
        counts[item.arm] = counts.get(item.arm, 0) + 1
    single = [] if is_surface(trial.arms) else sorted(arm for arm, count in counts.items() if count == 1)
    if single:
        found.append(f"One brew per recipe ({', '.join(single)}): nothing can be said about the recipe.")
    found += [words for words in limits_of_readings(readings, assays) if not (verdict.rivals and "colour" in words)]
    found.append(verdict.assumes)
    if run_sheet is None:
        found.append("Vessels and days were not drawn by lot: what stood where may explain a difference.")
    coded = any(brew.blind_code for brew in brews) or any(line.blind_code for line in (run_sheet.brews if run_sheet else ()))
    if not coded:
        found.append("The reader knew which recipe was read.")
    if trial.planned_at is None:
        found.append("It is not recorded when the comparison was planned.")
    elif any(brew.started_at < trial.planned_at for brew in brews):
        found.append("At least one brew began before the plan was fixed.")
    return found


def _planned(trial: Trial, run_sheet: RunSheet | None, verdict: Verdict) -> tuple[Block, ...]:
    before = _before(trial, verdict)
    rows = tuple(
        (item.label, before if item.planned else "not planned: held to a stricter bar", item.call) for item in verdict.comparisons
    )
    blocks: list[Block] = [
        Facts(
            rows=(
                ("Design", trial.design or "not recorded"),
                ("Outcome fixed", trial.outcome),
                ("Looks at the data", str(verdict.looks)),
            )
        )
    ]
    blocks.append(Grid(table=FigureTable(columns=("comparison", "before or after", "call"), rows=rows)))
    if run_sheet is not None:
        sheet = tuple(
            (
                item.brew,
                item.arm,
                item.block,
                item.vessel,
                item.blind_code,
                ", ".join(f"{sample.elapsed_h:g}" for sample in item.samples),
            )
            for item in run_sheet.brews
        )
        blocks.append(
            Grid(
                table=FigureTable(
                    columns=("brew", "arm", "block", "vessel", "code", "samples at [h]"),
                    rows=sheet,
                    caption="Run sheet, drawn by lot" + _seed(run_sheet),
                )
            )
        )
    return tuple(blocks)


def course_pictures(brews: Sequence[Brew], readings: Sequence[Reading], assays: Mapping[str, Assay]) -> tuple[Picture, ...]:
    """The readings of all brews over time, a picture for each assay that read them more than once."""
    made = []
    for key in sorted({reading.assay for reading in readings}):
        courses = tuple(course for brew in brews if (course := _course(brew, readings, key)) is not None)
        arms = {course.arm for course in courses}
        if len(arms) <= MOST_ARMS and any(len(set(course.hours)) > 1 for course in courses):
            made.append(courses_by_arm(courses, quantity=assays[key].name.capitalize(), unit=assays[key].unit))
    return tuple(made)


def _course(brew: Brew, readings: Sequence[Reading], assay: str) -> Course | None:
    replaced = {reading.replaces for reading in readings if reading.replaces}
    own = [item for item in readings if item.brew == brew.key and item.assay == assay and item.role == "sample"]
    own = sorted((item for item in own if item.key not in replaced and item.signal > 0.0), key=lambda item: item.elapsed_h)
    if not own:
        return None
    values = tuple(item.signal * item.dilution for item in own)
    return Course(brew=brew.name, arm=brew.arm or brew.recipe, hours=tuple(item.elapsed_h for item in own), values=values)


def _over_time(brews: Sequence[Brew], readings: Sequence[Reading], assays: Mapping[str, Assay]) -> tuple[Block, ...]:
    return tuple(Shown(picture=picture) for picture in course_pictures(brews, readings, assays))


def _together(dates: Sequence[str]) -> str:
    return ", ".join(dict.fromkeys(dates))


def _results(verdict: Verdict, brews: Sequence[Brew], starts: Mapping[str, str]) -> tuple[Block, ...]:
    started = {brew.key: starts.get(brew.key) or f"{brew.started_at:%Y-%m-%d}" for brew in brews}
    unit = f" [{verdict.outcome.unit}]" if verdict.outcome.unit else ""
    rows = tuple(
        (
            item.brew,
            item.arm,
            item.block,
            _together([started[key] for key in (item.members or (item.brew,)) if key in started]),
            item.value,
            str(item.tests),
            ", ".join(number(point) for point in item.points),
            "at the limit" if item.at_limit else "counted as one" if item.members else "",
        )
        for item in verdict.results
    )
    columns = ("brew", "arm", "block", "began", f"{verdict.outcome.label}{unit}", "tests", "single results", "note")
    words = "The brew is the unit: tests of one brew are averaged and narrow its own error, they never count as brews."
    return Words(text=words), Grid(table=FigureTable(columns=columns, rows=rows))


def _method(verdict: Verdict) -> tuple[Block, ...]:
    words = (
        "Effects are compared between brews within blocks; intervals hold 90 % and allow for brews of one recipe that "
        "differ, for the error of testing and for what colour may add. Several comparisons are held to a common bar."
    )
    blocks: list[Block] = [Words(text=words)]
    if verdict.ranking:
        rows = tuple(
            (place.arm, f"{place.best_place} to {place.worst_place}", place.probability_best) for place in verdict.ranking
        )
        blocks.append(Grid(table=FigureTable(columns=("arm", "place", "probability of being best [-]"), rows=rows)))
    if verdict.checks:
        rows_of_checks = tuple(
            (check.label, check.method, check.estimate, check.low, check.high, check.p) for check in verdict.checks
        )
        columns = ("comparison", "method", "estimate (ln ratio or difference)", "90 % from", "to", "p [-]")
        blocks.append(Grid(table=FigureTable(columns=columns, rows=rows_of_checks, caption="The same data by textbook methods")))
    return tuple(blocks)

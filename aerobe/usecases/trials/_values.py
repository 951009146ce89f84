"""The value of each brew by any outcome: from readings, from its oxygen log, or from its inferred course."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from aerobe.errors import NotAQuantity, NotEnoughData, NotFound
from aerobe.notebook import Notebook, brew_history
from aerobe.records import Assay, Brew, Reading, RunSheet, Vessel
from aerobe.units import COUNT, number
from aerobe.usecases.brews._started import ASSUMED, assumed_start
from aerobe.usecases.trials._sheet import HOURS_APART
from aerobe.verdicts import BrewResult, brew_results, outcome

FROM_COURSE = ("peak biomass", "peak time")
AREA = "area under the curve"
FEWEST_HOURS = 3  # with two an area says no more than their mean (our choice, no source)
ReadingsOf = Mapping[str, Sequence[Reading]]  # by brew


def results_of(
    notebook: Notebook,
    brews: Sequence[Brew],
    outcome_key: str,
    *,
    assay: str = "",
    at_h: float | None = None,
    now: datetime,
    readings: ReadingsOf | None = None,
) -> tuple[BrewResult, ...]:
    """One result for each brew that has one, by one assay: the one named, else the one that measured the most brews.

    Readings of each brew come from the notebook unless they are given.

    Raises
    ------
    NotEnoughData
        If no brew has a result for this outcome.
    """
    kind = outcome(outcome_key)
    if kind.key in FROM_COURSE:
        found = [_from_course(notebook, brew, kind.key, now) for brew in brews]
    elif kind.key == "oxygen":
        found = [_lowest_oxygen(notebook, brew) for brew in brews]
    elif kind.key == AREA:
        found = list(_areas(notebook, brews, assay, at_h, readings))
    else:
        found = _from_readings(notebook, brews, kind.key, assay, at_h, readings)
    kept = tuple(_with_size(notebook, result) for result in found if result is not None)
    if not kept:
        raise NotEnoughData(f"No brew has a result for {kind.label} yet.", "Add readings to the brews, then judge again.")
    return kept


def _from_readings(
    notebook: Notebook, brews: Sequence[Brew], key: str, assay: str, at_h: float | None, given: ReadingsOf | None
) -> list[BrewResult | None]:
    assays, readings = _by_one_assay(notebook, brews, key, assay, given)
    sampled = {r.brew for r in readings if r.role == "sample" and (at_h is None or abs(r.elapsed_h - at_h) <= HOURS_APART)}
    with_results = [brew for brew in brews if brew.key in sampled]
    results = brew_results(with_results, readings, assays, at_h=at_h, tolerance_h=HOURS_APART)
    if key == "cost per biomass":
        return [_cost(notebook, brew, result) for brew, result in zip(with_results, results, strict=True)]
    # A start that a table without a clock was given at its import tells nothing of the day.
    unknown = {brew.key for brew in with_results if assumed_start(notebook, brew) == ASSUMED}
    return [replace(result, began_h=None) if result.brew in unknown else result for result in results]


def _areas(
    notebook: Notebook, brews: Sequence[Brew], assay: str, at_h: float | None, given: ReadingsOf | None
) -> Iterator[BrewResult]:
    """The area under each brew's own readings, straight from one to the next, over hours at which all these brews were read.

    No model is in it. A brew that lacks the last hour has no area yet. [ug C h/mL]
    """
    assays, readings = _by_one_assay(notebook, brews, AREA, assay, given)
    sampled = {brew.key: sorted({r.elapsed_h for r in readings if r.brew == brew.key and r.role == "sample"}) for brew in brews}
    last = max((hours[-1] for hours in sampled.values() if hours), default=0.0) if at_h is None else at_h
    whole = [brew for brew in brews if any(abs(hour - last) <= HOURS_APART for hour in sampled[brew.key])]
    hours: list[float] = []
    for hour in sampled[whole[0].key] if whole else ():
        shared = all(any(abs(hour - other) <= HOURS_APART for other in sampled[brew.key]) for brew in whole)
        if shared and hour <= last + HOURS_APART and (not hours or hour - hours[-1] > HOURS_APART):
            hours.append(hour)
    if len(hours) < FEWEST_HOURS:
        raise NotEnoughData(
            f"The brews share {len(hours)} hours of sampling; an area under the curve needs {FEWEST_HOURS} or more.",
            "Sample all brews at the same hours.",
        )
    by_hour = [brew_results(whole, readings, assays, at_h=hour, tolerance_h=HOURS_APART) for hour in hours]
    for parts in zip(*by_hour, strict=True):
        yield _area(parts, hours)


def _area(parts: Sequence[BrewResult], hours: Sequence[float]) -> BrewResult:
    """One brew's results of every hour put together by the trapezoidal rule."""
    gaps = [later - earlier for earlier, later in pairwise(hours)]
    weights = [0.5 * (before + after) for before, after in zip((0.0, *gaps), (*gaps, 0.0), strict=True)]
    area = sum(weight * part.value for weight, part in zip(weights, parts, strict=True))
    error = math.hypot(*(weight * part.value * part.test_log_sd for weight, part in zip(weights, parts, strict=True)))
    biases = [
        None if part.bias_log_sd is None else w * part.value * part.bias_log_sd for w, part in zip(weights, parts, strict=True)
    ]
    known = [bias for bias in biases if bias is not None]
    return replace(
        parts[-1],
        value=area,
        test_log_sd=error / area,
        points=(),
        bias_log_sd=sum(known) / area if len(known) == len(biases) else None,
        colour_checked=all(part.colour_checked for part in parts),
        at_limit=all(part.at_limit for part in parts),
        above_range=any(part.above_range for part in parts),
    )


def _with_size(notebook: Notebook, result: BrewResult) -> BrewResult:
    """The result with the size of its vessel, which may go along with the recipe though no vessel is used twice."""
    if not result.column:
        return result
    size = f"{number(notebook.get(Vessel, result.column).volume_l)} L"
    return replace(result, confounders={**result.confounders, "vessel size": size})


def _by_one_assay(
    notebook: Notebook, brews: Sequence[Brew], key: str, assay: str, given: ReadingsOf | None = None
) -> tuple[dict[str, Assay], list[Reading]]:
    """The readings that an outcome is judged by, controls included: those of one assay."""
    assays = {item.key: _as_counts(item) if key == "count" else item for item in notebook.find(Assay)}
    wanted = [item.key for item in assays.values() if _measures(item, key) and assay in ("", item.key)]
    if assay and not wanted:
        raise NotFound(f"No assay '{assay}' of this notebook measures {key}.", f"It has: {', '.join(sorted(assays)) or 'none'}.")
    of_brews = [reading for brew in brews for reading in (notebook.readings(brew.key) if given is None else given[brew.key])]
    readings = [reading for reading in of_brews if reading.assay in wanted]
    chosen = _one_assay(readings, wanted)
    return assays, [reading for reading in readings if reading.assay == chosen]


def assays_that_judge(notebook: Notebook, brews: Sequence[Brew], key: str, assay: str = "") -> tuple[str, ...]:
    """Keys of the assays that read samples of these brews and could judge an outcome; the one that does comes first."""
    assays, readings = _by_one_assay(notebook, brews, key, assay)
    read = {r.assay for brew in brews for r in notebook.readings(brew.key) if r.role == "sample"}
    judging = {reading.assay for reading in readings if reading.role == "sample"}
    others = sorted(name for name in read - judging if _measures(assays[name], key))
    return (*judging, *others) if judging else ()


def hour_to_compare(
    notebook: Notebook, brews: Sequence[Brew], outcome_key: str, sheet: RunSheet | None, *, assay: str = ""
) -> float | None:
    """The last hour of a run sheet at which every sampled arm was read by the assay judged; None: each brew's last sample. [h]"""
    key = outcome(outcome_key).key
    if sheet is None or key == "oxygen" or key in FROM_COURSE:
        return None
    sampled = sample_hours(notebook, brews, key, assay=assay)
    arms = {arm for arm, _ in sampled}
    hours = sorted({sample.elapsed_h for planned in sheet.brews for sample in planned.samples}, reverse=True)
    return next((hour for hour in hours if {arm for arm, at in sampled if abs(at - hour) <= HOURS_APART} == arms), None)


def sample_hours(notebook: Notebook, brews: Sequence[Brew], outcome_key: str, *, assay: str = "") -> list[tuple[str, float]]:
    """Arm and hour of every sample read by the assay judged. [h]"""
    arm_of = {brew.key: brew.arm or brew.recipe for brew in brews}
    _, readings = _by_one_assay(notebook, brews, outcome(outcome_key).key, assay)
    return [(arm_of[reading.brew], reading.elapsed_h) for reading in readings if reading.role == "sample"]


def hour_in_words(results: Sequence[BrewResult]) -> str:
    """At which hour brews stand in a verdict; empty where none is known, or where they differ, of which the verdict warns."""
    hours = [result.elapsed_h for result in results if result.elapsed_h is not None]
    if not hours or max(hours) - min(hours) > 2.0 * HOURS_APART:
        return ""
    return f"Brews are compared at {sum(hours) / len(hours):.3g} h; what they were at other hours may differ."


def _measures(assay: Assay, key: str) -> bool:
    if key == "ratio":
        return assay.quantity == "fungal to bacterial ratio"
    if key == "count":
        return _per_ml(assay) is not None
    return assay.quantity != "fungal to bacterial ratio"


def _per_ml(assay: Assay) -> float | None:
    """Counts per mL for one unit of the assay's signal; None if it does not count."""
    try:
        return COUNT.convert(1.0, assay.unit)
    except NotAQuantity:
        return None


def _as_counts(assay: Assay) -> Assay:
    """The assay with results in counts: carbon per cell is a guess that a comparison of counts can do without."""
    factor = _per_ml(assay)
    return assay if factor is None else replace(assay, to_house=factor)


def _one_assay(readings: Sequence[Reading], wanted: Sequence[str]) -> str:
    """The assay that measured the most brews; the first by key where several did."""
    reach = {key: len({r.brew for r in readings if r.assay == key and r.role == "sample"}) for key in sorted(wanted)}
    return max(reach, key=lambda key: reach[key]) if reach else ""


def _cost(notebook: Notebook, brew: Brew, result: BrewResult) -> BrewResult:
    """Cost of the brew over the mass of microbial carbon in it. [money/mg C]"""
    litres = notebook.get(Vessel, brew.vessel).volume_l
    if brew.costs.brew <= 0:
        raise NotEnoughData(f"Brew {brew.key} has no cost.", "Enter what the brew cost, foods and power included.")
    # 1 ug C/mL is 1 mg C/L.
    return replace(result, value=brew.costs.brew / (litres * result.value), points=())


def _lowest_oxygen(notebook: Notebook, brew: Brew) -> BrewResult | None:
    log = brew_history(notebook, brew.key).log("oxygen")
    if log is None or not log.values:
        return None
    # A meter that reads zero or below is at its limit.
    low = max(min(log.values), 0.05)
    return BrewResult(brew=brew.key, arm=brew.arm or brew.recipe, value=low, block=brew.block, column=brew.vessel)


def _from_course(notebook: Notebook, brew: Brew, key: str, now: datetime) -> BrewResult | None:
    """Height or time of the peak of the inferred course, with its posterior uncertainty."""
    import numpy as np

    from aerobe.inference import peak_times
    from aerobe.usecases.brews._beliefs import infer_history

    history = brew_history(notebook, brew.key)
    if not any(reading.role == "sample" for reading in history.readings):
        return None
    posterior = infer_history(notebook, history, now=now)
    if not posterior.settled:
        return None
    biomass = posterior.bacteria + posterior.fungi
    values = np.log(biomass.max(axis=1) if key == "peak biomass" else np.maximum(peak_times(posterior.times_h, biomass), 0.25))
    assays = [history.assays[name] for name in posterior.assays if name in history.assays]
    blind = any(assay.method in ("colour test", "turbidity", "fumigation extraction", "other") for assay in assays)
    checked = any(reading.role in ("killed control", "filtered blank") for reading in history.readings)
    return BrewResult(
        brew=brew.key,
        arm=brew.arm or brew.recipe,
        value=math.exp(float(values.mean())),
        block=brew.block,
        column=brew.vessel,
        test_log_sd=float(values.std()),
        # Courses known so badly that the model makes them alike make no claim: brews then differ by less than this error.
        test_is_measured=True,
        colour_sensitive=blind,
        colour_checked=checked,
    )

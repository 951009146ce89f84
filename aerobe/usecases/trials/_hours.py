"""Which hour brews are compared at, and what the comparison is at the other hours."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from aerobe.errors import AerobeError, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Brew, RunSheet, Trial
from aerobe.units import ratio_of
from aerobe.usecases.trials._sheet import HOURS_APART
from aerobe.usecases.trials._values import AREA, FROM_COURSE, results_of, sample_hours
from aerobe.verdicts import CANNOT_TELL, BrewResult, HourRatio, LostBrew, Rival, Verdict, hold_back, judge

LATE_ENOUGH = 0.5  # hours from this share of the hour judged on are ones that one might harvest at (our choice, no source)
OVERDUE = timedelta(hours=24)


def results_at_own_hours(
    notebook: Notebook, trial: Trial, brews: Sequence[Brew], outcome: str, *, assay: str, now: datetime
) -> tuple[BrewResult, ...]:
    """A trial of brewing times: every arm read at its own hour.

    Raises
    ------
    UnusableRecord
        If an arm does not say its hour.
    """
    found: list[BrewResult] = []
    for arm in trial.arms:
        own = [brew for brew in brews if brew.arm == arm.key]
        try:
            found += results_of(notebook, own, outcome, assay=assay, at_h=hour_of_arm(arm), now=now)
        except UnusableRecord:
            raise
        except AerobeError:
            continue  # the arm has no result yet; the verdict names it
    return tuple(found)


def hour_of_arm(arm: Arm) -> float:
    """The brewing time that an arm stands for. [h]

    Raises
    ------
    UnusableRecord
        If neither its dose nor its name says it.
    """
    said = re.search(r"\d+(?:\.\d+)?", arm.key)
    if arm.dose is None and said is None:
        raise UnusableRecord(f"Arm {arm.key} does not say its brewing time.", "Name it by its hour, for example 24 h.")
    return float(arm.dose) if arm.dose is not None else float(said.group() if said else math.nan)


def with_hours(
    notebook: Notebook, trial: Trial, brews: Sequence[Brew], verdict: Verdict, *, assay: str, at_h: float | None, now: datetime
) -> Verdict:
    """The verdict with the ratio at every hour that all arms share; held back where its direction turns among the later ones."""
    kind = verdict.outcome
    if kind.key in (*FROM_COURSE, AREA, "oxygen") or trial.question == "brewing time":
        return verdict
    judged = at_h if at_h is not None else max((r.elapsed_h or 0.0 for r in verdict.results), default=0.0)
    found: list[HourRatio] = []
    for hour in _shared_hours(notebook, trial, brews, kind.key, assay):
        try:
            there = results_of(notebook, brews, kind.key, assay=assay, at_h=hour, now=now)
            at_hour = judge(trial, there, outcome_key=kind.key, margin=verdict.margin, extent="without check")
        except AerobeError:
            continue
        found += [
            HourRatio(hour_h=hour, label=c.label, effect=c.effect, low=c.low, high=c.high)
            for c in at_hour.comparisons
            if c.effect is not None and c.low is not None and c.high is not None
        ]
    if len({item.hour_h for item in found}) < 2:
        return verdict
    verdict = replace(verdict, by_hour=tuple(found))
    bound = math.log(verdict.margin) if kind.is_ratio else verdict.margin
    for item in verdict.comparisons:
        turned = _turned(item.effect, [h for h in found if h.label == item.label and h.hour_h >= LATE_ENOUGH * judged], bound)
        if item.call != CANNOT_TELL and turned is not None:
            verdict = hold_back(verdict, _turning(item.label, judged, item.effect or 0.0, turned), [item.label])
    return verdict


def _turned(effect: float | None, hours: Sequence[HourRatio], bound: float) -> HourRatio | None:
    """The hour at which the difference is worth having in the other direction, if there is one."""
    if effect is None:
        return None
    others = [item for item in hours if item.effect * effect < 0.0 and abs(item.effect) >= bound]
    return max(others, key=lambda item: abs(item.effect), default=None)


def _turning(label: str, judged: float, effect: float, turned: HourRatio) -> Rival:
    return Rival(
        name="hour",
        words=f"{label}: {ratio_of(effect):.2g} times at {judged:.3g} h and {ratio_of(turned.effect):.2g} times at "
        f"{turned.hour_h:.3g} h, so which is better depends on the hour.",
        remedy="Say at which hour you harvest, plan the trial for it, or judge by the peak.",
        blocks_claim=True,
    )


def _shared_hours(notebook: Notebook, trial: Trial, brews: Sequence[Brew], outcome: str, assay: str) -> list[float]:
    """Hours at which brews of every arm were sampled. [h]"""
    arms = {arm.key for arm in trial.arms}
    sampled = sample_hours(notebook, brews, outcome, assay=assay)
    hours: list[float] = []
    for hour in sorted({at for _, at in sampled}):
        if {arm for arm, at in sampled if abs(at - hour) <= HOURS_APART} >= arms and (
            not hours or hour - hours[-1] > HOURS_APART
        ):
            hours.append(hour)
    return hours


def lost_brews(
    brews: Sequence[Brew], results: Sequence[BrewResult], sheet: RunSheet | None, *, at_h: float | None, now: datetime
) -> tuple[LostBrew, ...]:
    """Brews of a plan that should have a result by now and have none."""
    if sheet is None or not results:
        return ()
    got = {result.brew for result in results}
    begun: Mapping[str, Brew] = {brew.key: brew for brew in brews}
    found = []
    for planned in sheet.brews:
        if planned.brew in got:
            continue
        due_h = at_h if at_h is not None else max((sample.elapsed_h for sample in planned.samples), default=0.0)
        brew = begun.get(planned.brew)
        starts = brew.started_at if brew is not None else planned.starts_at
        later = any(other.started_at > starts + OVERDUE for other in brews) if starts is not None else False
        if starts is not None and now > starts + timedelta(hours=due_h) + OVERDUE and (brew is not None or later):
            found.append(LostBrew(arm=planned.arm, block=planned.block))
    return tuple(found)

"""Brews of a trial made comparable: one hour for all, and a word on those that lack it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from aerobe.records import Assay, Brew, Reading, RunSheet, Trial
from aerobe.verdicts import Verdict, brew_results, judge

TOLERANCE_H = 1.0       # how far from the hour compared a sample may lie [h]


def hour_of(run_sheet: RunSheet | None, readings: Sequence[Reading]) -> float | None:
    """The hour to compare brews at: the last planned sample, else the last hour that most brews were sampled at. [h]"""
    planned = [sample.elapsed_h for line in (run_sheet.brews if run_sheet else ()) for sample in line.samples]
    if planned:
        return max(planned)
    last: dict[str, float] = {}
    for item in readings:
        if item.role == "sample":
            last[item.brew] = max(last.get(item.brew, item.elapsed_h), item.elapsed_h)
    hours = sorted(last.values())
    return max(hours, key=lambda hour: (sum(abs(other - hour) <= TOLERANCE_H for other in hours), hour)) if hours else None


def judged(
    trial: Trial, brews: Sequence[Brew], readings: Sequence[Reading], assays: Mapping[str, Assay], at_h: float | None,
) -> tuple[Verdict, list[Brew], tuple[str, ...]]:
    """The verdict on the brews that have a sample near the hour, those brews, and notes: hours must not pose as recipes."""
    near = {item.brew for item in readings
            if item.role == "sample" and (at_h is None or abs(item.elapsed_h - at_h) <= TOLERANCE_H)}
    told = [brew for brew in brews if brew.key in near]
    left_out = [brew.key for brew in brews if brew.key not in near]
    notes = []
    if at_h is not None:
        notes.append(f"Brews are compared at {at_h:g} h; what they were at other hours may differ.")
    if left_out:
        notes.append(f"Left out for want of a sample at that hour: {', '.join(left_out)}.")
    results = brew_results(told, readings, assays, at_h=at_h, tolerance_h=TOLERANCE_H)
    return judge(trial, results), told, tuple(notes)


def is_blinded(brews: Sequence[Brew], sheets: Sequence[RunSheet]) -> bool:
    """Whether samples carry codes in the place of recipes, on the brew or on the run sheet."""
    return any(brew.blind_code for brew in brews) or any(line.blind_code for sheet in sheets for line in sheet.brews)

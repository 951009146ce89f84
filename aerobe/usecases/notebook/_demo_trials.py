"""The two trials of the invented notebook: which brew stands when and where. One is told, the other not yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.records import Arm, PlannedBrew, PlannedSample, RunSheet, Trial
from aerobe.usecases.notebook._demo_shelf import INVENTED

KELP, MOLASSES = "kelp-question", "molasses-question"
BREWING_H = 14.5  # how long the last brew has had air when the demo is made [h]
HARVESTED_AT_H = 31.0
SAMPLED_AT_H = {KELP: (0.5, 6.0, 12.0, 20.0, 30.0), MOLASSES: (24.0,)}
TESTS = 2  # of each sample, and one of its killed control
LIVE = "kelp-5"
_DEGREES = (19.0, 21.0, 20.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One brew of the demo: what is poured where, when its air goes on, and how far it is known."""

    key: str
    name: str
    trial: str
    arm: str
    recipe: str
    vessel: str
    block: str
    started_at: datetime
    until_h: float  # to the harvest, or to now; 0: not begun [h]
    temperature_degc: float
    has_probe: bool


def demo_runs(now: datetime) -> list[Run]:
    """Every brew of both trials, in the order of starting; those to come are the last.

    Two buckets stand side by side on each day, one of each recipe, as the lot drew them. On the fifth day of the kelp trial only
    one bucket was free: its plain brew had stood two days earlier, and its kelp brew still bubbles.
    """
    began = now - timedelta(hours=BREWING_H)

    def ago(days: float) -> datetime:
        return began - timedelta(days=days)

    runs = [
        *_day(MOLASSES, 1, ago(36), ("bare-1", "molasses-1")),
        *_day(MOLASSES, 2, ago(33), ("molasses-2", "bare-2")),
        *_day(MOLASSES, 3, ago(29), ("bare-3", "molasses-3")),
        *_day(MOLASSES, 4, ago(26), ("bare-4", "molasses-4")),
        *_day(KELP, 1, ago(17), ("plain-1", "kelp-1")),
        *_day(KELP, 2, ago(13), ("kelp-2", "plain-2")),
        *_day(KELP, 3, ago(9), ("kelp-3", "plain-3")),
        *_day(KELP, 4, ago(5), ("plain-4", "kelp-4")),
        *_day(KELP, 5, ago(2), ("plain-5",)),
        *_day(KELP, 5, began, ("", LIVE), until_h=BREWING_H),
        *_day(KELP, 6, ago(-3), ("plain-6", "kelp-6"), until_h=0.0),
        *_day(KELP, 7, ago(-6), ("kelp-7", "plain-7"), until_h=0.0),
    ]
    return sorted(runs, key=lambda run: run.started_at)


def _day(trial: str, day: int, start: datetime, keys: Sequence[str], *, until_h: float = HARVESTED_AT_H) -> list[Run]:
    """The brews of one day in buckets a and b; an empty key is an empty bucket."""
    names = {"kelp": "With kelp", "plain": "Plain", "bare": "Compost only", "molasses": "With molasses"}
    return [
        Run(
            key=key,
            name=f"{names[arm]}, day {day} (invented)",
            trial=trial,
            arm=arm,
            recipe="plain" if arm == "molasses" else arm,
            vessel=f"bucket-{letter}",
            block=f"day-{day}",
            started_at=start,
            until_h=until_h,
            temperature_degc=_DEGREES[(day - 1) % len(_DEGREES)],
            has_probe=trial == KELP,
        )
        for letter, key in zip("ab", keys, strict=False)
        if key
        for arm in (key.split("-")[0],)
    ]


def demo_trials(runs: Sequence[Run]) -> list[tuple[Trial, RunSheet, datetime]]:
    """Each trial with its run sheet, and when both were written down: before the first brew."""
    return [
        _written(KELP, "Does kelp pay? (invented)", ("plain", "kelp"), runs),
        _written(MOLASSES, "Does molasses feed? (invented)", ("bare", "molasses"), runs),
    ]


def _written(key: str, name: str, arms: tuple[str, str], runs: Sequence[Run]) -> tuple[Trial, RunSheet, datetime]:
    mine = [run for run in runs if run.trial == key]
    at = mine[0].started_at - timedelta(days=2)
    recipe_of = {run.arm: run.recipe for run in mine}
    trial = Trial(
        key=key,
        name=name,
        question="two recipes",
        planned_at=at,
        arms=tuple(Arm(key=arm, recipe=recipe_of[arm], is_standard=arm == arms[0]) for arm in arms),
        design="randomised blocks",
        notes=INVENTED,
    )
    samples = tuple(PlannedSample(elapsed_h=hour, tests=TESTS, controls=("killed control",)) for hour in SAMPLED_AT_H[key])
    planned = tuple(
        PlannedBrew(
            brew=run.key if run.until_h > 0.0 else f"{key}-{code.lower()}",  # one to come tells no recipe by its key
            arm=run.arm,
            block=run.block,
            vessel=run.vessel,
            starts_at=run.started_at,
            blind_code=code,
            samples=samples,
        )
        for number, run in enumerate(mine, start=1)
        for code in (f"{'T' if key == KELP else 'M'}{number:02d}",)
    )
    return trial, RunSheet(trial=key, seed=3, brews=planned), at

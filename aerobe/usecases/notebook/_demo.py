"""An invented notebook to play with. Place, people and numbers are made up; the courses come from the brew model itself."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import numpy as np

from aerobe.errors import NotAllowed
from aerobe.inference import BrewStory, Measurement, SimulatedBrew, simulate_brews
from aerobe.notebook import Notebook, Pen
from aerobe.records import AssayError, Brew, Harvest, Reading, SensorLog, Use
from aerobe.usecases.notebook._demo_shelf import ASSAY, COLOUR, COMPOST, INVENTED, PROBE, PROBE_NAME, RECIPES, VESSELS
from aerobe.usecases.notebook._demo_trials import HARVESTED_AT_H, KELP, LIVE, SAMPLED_AT_H, TESTS, Run, demo_runs, demo_trials

DRAWN, DRAWN_AGAIN = 24, 6  # courses from which an ordinary one is taken: of the brew under air, and of each other one


def make_demo(notebook: Notebook, *, now: datetime, seed: int = 7) -> str:
    """Fill an empty notebook with two invented trials: one that is told, one that is not yet, with a brew still under air. Gives
    the key of that brew.

    The true courses are drawn from the brew model, and readings and logs from the very errors that inference assumes. What nobody
    knew of the heap, of the test and of the air is nearly the same for all brews, as it is where one person brews one heap.

    Parameters
    ----------
    now
        The last brew began some hours before it.
    seed
        Another seed invents other numbers.

    Raises
    ------
    NotAllowed
        If the notebook holds brews already.
    """
    if notebook.find(Brew):
        raise NotAllowed("This notebook holds brews already.", "Make the demo in a notebook of its own.")
    runs = demo_runs(now)
    live = next(run for run in runs if run.key == LIVE)
    heap = live_course(live, seed=seed)
    with notebook.writing() as pen:
        _fixed_things(pen, runs)
        for number, run in enumerate(run for run in runs if run.until_h > 0.0):
            course = heap if run is live else _course_like(heap, run, seed=seed * 100 + number)
            _write_brew(pen, run, course, np.random.default_rng([seed, number]), now)
        pen.set_setting("demo", {"made_at": now.isoformat(), "seed": seed, "says": INVENTED}, at=now)
    return LIVE


def live_course(run: Run, *, seed: int) -> SimulatedBrew:
    """The true course of the brew under air: of some drawn, one that a brewer would call an ordinary day."""
    drawn = simulate_brews(_story(run), DRAWN, seed=seed * 100 + 5)
    return min(_ordinary(drawn), key=lambda item: abs(item.peak_time_h - 22.0) + 20.0 * abs(np.log10(item.biomass.max() / 150.0)))


def _course_like(heap: SimulatedBrew, run: Run, *, seed: int) -> SimulatedBrew:
    """The true course of another brew of the same heap and hands."""
    return _ordinary(simulate_brews(_story(run), DRAWN_AGAIN, seed=seed, like=heap))[0]


def _ordinary(drawn: list[SimulatedBrew]) -> list[SimulatedBrew]:
    return [item for item in drawn if np.isfinite(item.biomass).all() and item.oxygen.min() > 1.0] or drawn


def _story(run: Run) -> BrewStory:
    return BrewStory(recipe=RECIPES[run.recipe], vessel=VESSELS[run.vessel], temperature_degc=run.temperature_degc, probe=PROBE)


def _fixed_things(pen: Pen, runs: list[Run]) -> None:
    planned_at = runs[0].started_at - timedelta(days=2)
    for record in (COMPOST, *RECIPES.values(), *VESSELS.values(), ASSAY):
        pen.add(record, at=planned_at)
    for trial, sheet, at in demo_trials(runs):
        pen.add(trial, at=at)
        pen.add(sheet, at=at)


def _write_brew(pen: Pen, run: Run, course: SimulatedBrew, rng: np.random.Generator, now: datetime) -> None:
    pen.add(
        Brew(
            key=run.key,
            name=run.name,
            recipe=run.recipe,
            vessel=run.vessel,
            started_at=run.started_at,
            temperature_degc=run.temperature_degc,
            trial=run.trial,
            arm=run.arm,
            block=run.block,
            tests_in_budget=len(SAMPLED_AT_H[run.trial]) * (TESTS + 1),
            notes=INVENTED,
        ),
        at=run.started_at,
    )
    for reading in _readings(run, course, rng):
        pen.add(reading, at=reading.entered_at or now)
    if run.has_probe:
        for log in demo_logs(run, course, rng):
            pen.append_log(log, at=now)
    if run.until_h < HARVESTED_AT_H:
        return
    ended = run.started_at + timedelta(hours=HARVESTED_AT_H)
    pen.add(Harvest(brew=run.key, elapsed_h=HARVESTED_AT_H, smell="earthy", volume_l=18.0, notes=INVENTED), at=ended)
    if run.trial == KELP:
        pen.add(
            Use(
                key=f"use-{run.key}",
                brew=run.key,
                used_at=ended + timedelta(hours=1),
                place="invented orchard, young trees",
                crop="apple, not bearing",
                edible=False,
                touches_edible_part=False,
                area_m2=60.0,
                tea_l=18.0,
                water_l=72.0,
                notes=INVENTED,
            ),
            at=ended + timedelta(hours=1),
        )


def _readings(run: Run, course: SimulatedBrew, rng: np.random.Generator) -> Iterator[Reading]:
    """Two tests of the tea and one of its killed control at each hour; the colour shows in all of them."""
    error = ASSAY.error or AssayError(constant_sd=1.0, proportional_cv=0.1)
    hours = [hour for hour in SAMPLED_AT_H[run.trial] if hour <= run.until_h]
    blanks = [Measurement(elapsed_h=hour, value=1.0, error=error, assay=ASSAY.key) for hour in hours for _ in range(TESTS)]
    for place, result in enumerate(course.measure(rng, *blanks)):
        shown = result.value + COLOUR  # the limit of detection is one of what is left without the colour
        yield _reading(run, result.elapsed_h, shown, place % TESTS + 1, "sample", below=result.below_detection)
    for hour in hours:
        yield _reading(run, hour, COLOUR + float(rng.normal(0.0, 1.0)), 1, "killed control")


def _reading(run: Run, hour: float, value: float, replicate: int, role: str, *, below: bool = False) -> Reading:
    shown = round(max(value, 0.0), 1)
    key = f"{run.key}-{hour:g}h-{role.split()[0]}-{replicate}"
    return Reading(
        key=key,
        brew=run.key,
        assay=ASSAY.key,
        role=role,
        elapsed_h=hour,
        signal=shown,
        unit=ASSAY.unit,
        replicate=replicate,
        typed_as=f"<{shown:g}" if below else f"{shown:g}",
        below_detection=below,
        kit_lot="invented-1",
        operator="demo",
        entered_at=run.started_at + timedelta(hours=hour, minutes=20),
        notes=INVENTED,
    )


def demo_logs(run: Run, course: SimulatedBrew, rng: np.random.Generator, *, from_h: float = 0.0) -> Iterator[SensorLog]:
    """A value a minute of oxygen and of water temperature, up to the harvest or to now."""
    sparse = course.log_oxygen(rng, run.until_h)
    hours = np.arange(from_h, run.until_h, 1.0 / 60.0)
    oxygen = np.interp(hours, sparse.elapsed_h, sparse.values) + rng.normal(0.0, 0.03, len(hours))
    day = np.sin((hours - 9.0) / 24.0 * 2.0 * np.pi)
    water = run.temperature_degc + 0.8 * day + rng.normal(0.0, 0.04, len(hours))
    for channel, values in (("oxygen", np.maximum(oxygen, 0.0)), ("temperature", water)):
        yield SensorLog(
            brew=run.key,
            channel=channel,
            probe=PROBE_NAME,
            elapsed_h=tuple(hours.tolist()),
            values=tuple(np.round(values, 3).tolist()),
        )

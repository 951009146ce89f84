"""An invented notebook to play with. Place, people and numbers are made up; the courses come from the brew model itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from aerobe.errors import NotAllowed
from aerobe.inference import BrewStory, Measurement, Probe, SimulatedBrew, simulate_brews
from aerobe.notebook import Notebook, Pen
from aerobe.records import (
    AirSupply,
    Arm,
    Assay,
    AssayError,
    Brew,
    Compost,
    FoodDose,
    Harvest,
    HeatLog,
    PlannedBrew,
    PlannedSample,
    Reading,
    Recipe,
    RunSheet,
    SensorLog,
    Trial,
    Use,
    Vessel,
)

INVENTED = "Invented for the demo: no such place, brew or reading exists."
TRIAL = "kelp-question"
BREWING_H = 14.5  # how long the last brew has had air when the demo is made [h]
COLOUR = 6.0  # what the tea's colour adds to the colour test [ug C/mL]
SAMPLED_AT_H = (0.5, 6.0, 12.0, 20.0, 30.0)
HARVESTED_AT_H = 31.0

COMPOST = Compost(
    key="orchard-heap",
    name="Orchard heap (invented)",
    origin="leaves, straw and grass of an invented orchard",
    process="windrow",
    animal_origin=False,
    age_days=190.0,
    moisture=0.55,
    bulk_density_kg_per_l=0.6,
    carbon_to_nitrogen=29.0,
    heat=HeatLog(
        days=tuple(float(day) for day in range(0, 24)),
        temperatures_degc=(
            18.0,
            34.0,
            48.0,
            56.0,
            60.0,
            61.0,
            62.0,
            61.0,
            60.0,
            61.0,
            60.0,
            59.0,
            60.0,
            59.0,
            58.0,
            59.0,
            58.0,
            57.0,
            58.0,
            57.0,
            56.0,
            50.0,
            44.0,
            39.0,
        ),
        turned_on_days=(4.0, 7.0, 10.0, 13.0, 16.0, 19.0),
    ),
)
RECIPES = {
    "plain": Recipe(
        key="plain",
        name="Plain (invented)",
        compost=COMPOST.key,
        compost_g_per_l=50.0,
        water="rain",
        notes=INVENTED,
        foods=(FoodDose(food="molasses", g_per_l=0.8),),
    ),
    "kelp": Recipe(
        key="kelp",
        name="With kelp (invented)",
        compost=COMPOST.key,
        compost_g_per_l=50.0,
        water="rain",
        notes=INVENTED,
        foods=(FoodDose(food="molasses", g_per_l=0.8), FoodDose(food="kelp-extract", g_per_l=1.0)),
    ),
}
VESSELS = {
    f"bucket-{letter}": Vessel(
        key=f"bucket-{letter}",
        name=f"Bucket {letter.upper()} (invented)",
        volume_l=20.0,
        depth_m=0.32,
        altitude_m=120.0,
        air=AirSupply(flow_l_per_min=12.0, diffuser="coarse bubble", power_w=8.0),
    )
    for letter in "ab"
}
ASSAY = Assay(
    key="colour-test",
    name="Colour test (invented)",
    method="colour test",
    price=9.0,
    error=AssayError(
        constant_sd=4.0,
        proportional_cv=0.18,
        gain_log_sd=0.25,
        detection_limit=8.0,
        upper_limit=2000.0,
        origin="invented for the demo",
    ),
)
PROBE = Probe(noise_mg_per_l=0.08)
PROBE_NAME = "demo"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One brew of the demo: what is poured where, and when its air went on."""

    key: str
    arm: str
    vessel: str
    block: str
    started_at: datetime
    until_h: float  # how far it is known: to the harvest, or to now [h]
    temperature_degc: float


def make_demo(notebook: Notebook, *, now: datetime, seed: int = 7) -> str:
    """Fill an empty notebook with an invented trial of six brews, one of them still brewing. Gives that brew's key.

    The true courses are drawn from the brew model, and readings and logs from the very errors that inference assumes.

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
    rng = np.random.default_rng(seed)
    runs = demo_runs(now)
    with notebook.writing() as pen:
        _fixed_things(pen, runs, now)
        for number, run in enumerate(runs):
            course = demo_course(run, seed=seed * 100 + number)
            _write_brew(pen, run, course, rng, now)
        pen.set_setting("demo", {"made_at": now.isoformat(), "seed": seed, "says": INVENTED}, at=now)
    return runs[-1].key


def demo_runs(now: datetime) -> list[_Run]:
    """Three blocks of two: in each block both recipes stand side by side, their buckets drawn by lot."""
    began = now - timedelta(hours=BREWING_H)
    blocks = [began - timedelta(days=9), began - timedelta(days=5), began]
    order = [("plain", "kelp"), ("kelp", "plain"), ("plain", "kelp")]
    degrees = (19.0, 21.0, 20.0)
    runs = []
    for block, (start, arms, degree) in enumerate(zip(blocks, order, degrees, strict=True), start=1):
        for place, arm in enumerate(arms):
            last = block == 3
            # The last block's plain brew stands two days earlier: one bucket was not free; only its kelp brew still bubbles.
            early = start - timedelta(days=2) if last and arm == "plain" else start
            until = BREWING_H if last and arm == "kelp" else HARVESTED_AT_H
            runs.append(
                _Run(
                    key=f"{arm}-{block}",
                    arm=arm,
                    vessel=f"bucket-{'ab'[place]}",
                    block=f"day-{block}",
                    started_at=early,
                    until_h=until,
                    temperature_degc=degree,
                )
            )
    return sorted(runs, key=lambda run: run.started_at)


def demo_course(run: _Run, *, seed: int) -> SimulatedBrew:
    """A true course of this recipe: of some drawn, one that a brewer would call an ordinary day."""
    story = BrewStory(recipe=RECIPES[run.arm], vessel=VESSELS[run.vessel], temperature_degc=run.temperature_degc, probe=PROBE)
    drawn = simulate_brews(story, 24, seed=seed)
    usual = [item for item in drawn if np.isfinite(item.biomass).all() and item.oxygen.min() > 1.0]
    return min(usual or drawn, key=lambda item: abs(item.peak_time_h - 22.0) + 20.0 * abs(np.log10(item.biomass.max() / 150.0)))


def _fixed_things(pen: Pen, runs: list[_Run], now: datetime) -> None:
    planned_at = runs[0].started_at - timedelta(days=2)
    for record in (COMPOST, *RECIPES.values(), *VESSELS.values(), ASSAY):
        pen.add(record, at=planned_at)
    pen.add(
        Trial(
            key=TRIAL,
            name="Does kelp pay? (invented)",
            question="two recipes",
            planned_at=planned_at,
            arms=(Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")),
            design="randomised blocks",
            notes=INVENTED,
        ),
        at=planned_at,
    )
    planned = tuple(
        PlannedBrew(
            brew=run.key,
            arm=run.arm,
            block=run.block,
            vessel=run.vessel,
            starts_at=run.started_at,
            blind_code=f"T{number:02d}",
            samples=tuple(PlannedSample(elapsed_h=hour, tests=2, controls=("killed control",)) for hour in SAMPLED_AT_H),
        )
        for number, run in enumerate(runs, start=1)
    )
    pen.add(RunSheet(trial=TRIAL, seed=3, brews=planned), at=planned_at)


def _write_brew(pen: Pen, run: _Run, course: SimulatedBrew, rng: np.random.Generator, now: datetime) -> None:
    number = run.block[-1]
    pen.add(
        Brew(
            key=run.key,
            name=f"{RECIPES[run.arm].name.split(' (')[0]}, day {number} (invented)",
            recipe=run.arm,
            vessel=run.vessel,
            started_at=run.started_at,
            temperature_degc=run.temperature_degc,
            trial=TRIAL,
            arm=run.arm,
            block=run.block,
            tests_in_budget=15,
            notes=INVENTED,
        ),
        at=run.started_at,
    )
    for reading in _readings(run, course, rng):
        pen.add(reading, at=reading.entered_at or now)
    for log in demo_logs(run, course, rng):
        pen.append_log(log, at=now)
    if run.until_h == HARVESTED_AT_H:
        ended = run.started_at + timedelta(hours=HARVESTED_AT_H)
        pen.add(Harvest(brew=run.key, elapsed_h=HARVESTED_AT_H, smell="earthy", volume_l=18.0, notes=INVENTED), at=ended)
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


def _readings(run: _Run, course: SimulatedBrew, rng: np.random.Generator) -> Iterator[Reading]:
    """Two tests of the tea and one of its killed control at each hour; the colour shows in all of them."""
    error = ASSAY.error or AssayError(constant_sd=1.0, proportional_cv=0.1)
    hours = [hour for hour in SAMPLED_AT_H if hour <= run.until_h]
    blanks = [Measurement(elapsed_h=hour, value=1.0, error=error, assay=ASSAY.key) for hour in hours for _ in range(2)]
    for place, result in enumerate(course.measure(rng, *blanks)):
        shown = result.value + COLOUR  # the limit of detection is one of what is left without the colour
        yield _reading(run, result.elapsed_h, shown, place % 2 + 1, "sample", below=result.below_detection)
    for hour in hours:
        yield _reading(run, hour, COLOUR + float(rng.normal(0.0, 1.0)), 1, "killed control")


def _reading(run: _Run, hour: float, value: float, replicate: int, role: str, *, below: bool = False) -> Reading:
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


def demo_logs(run: _Run, course: SimulatedBrew, rng: np.random.Generator, *, from_h: float = 0.0) -> Iterator[SensorLog]:
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

"""A brew with everything in it: recipe, food midway, water, still air, warmth that changes, readings of several assays."""

from __future__ import annotations

from dataclasses import replace

from aerobe.inference import BrewStory, Measurement, story_of
from aerobe.records import AssayError, BrewEvent

KIT = AssayError(
    constant_sd=2.0, proportional_cv=0.13, gain_log_sd=0.25, bias=1.1, bias_sd=0.7, detection_limit=6.0, upper_limit=160.0
)
CELLS = AssayError(constant_sd=1.2, proportional_cv=0.21, gain_log_sd=0.15, bias_sd=0.4)
MEASURED = (
    Measurement(elapsed_h=2.2, value=9.0, error=KIT, assay="kit", below_detection=True),
    Measurement(elapsed_h=6.7, value=61.0, error=KIT, assay="kit"),
    Measurement(elapsed_h=6.7, value=38.0, error=CELLS, assay="count", quantity="bacteria"),
    Measurement(elapsed_h=13.1, value=160.0, error=KIT, assay="kit", above_range=True),
)
COUNT = Measurement(elapsed_h=10.3, value=14.0, error=replace(CELLS, proportional_cv=0.3), assay="scope", quantity="fungi")
RATIO = Measurement(
    elapsed_h=15.0,
    value=0.31,
    error=AssayError(constant_sd=0.02, proportional_cv=0.18, gain_log_sd=0.2),
    assay="ratio",
    quantity="fungal to bacterial ratio",
)


def event(what: str, at_h: float, **more: object) -> BrewEvent:
    return BrewEvent(key=f"{what.replace(' ', '-')}-{at_h:g}", brew="b", what=what, elapsed_h=at_h, **more)  # type: ignore[arg-type]


EVENTS = (
    event("temperature", 3.0, amount=23.0),
    event("air off", 5.0),
    event("air on", 6.3),
    event("water added", 8.1, amount=4.0),
    event("food", 9.0, amount=0.4, food="molasses"),
    event("air flow", 11.2, amount=6.0),
    event("drawn off", 12.4, amount=7.0),
)


def story(**more: object) -> BrewStory:
    given: dict[str, object] = {
        "compost_g_per_l": 35.0,
        "foods": [{"food": "molasses", "g_per_l": 1.1}, {"food": "kelp-meal", "g_per_l": 0.8, "at_h": 4.4}],
        "volume_l": 22.0,
        "temperature_degc": 18.0,
        "measurements": MEASURED,
        "horizon_h": 60.0,
    } | more
    return replace(story_of(**given), events=EVENTS)  # type: ignore[arg-type]

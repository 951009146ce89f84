"""What acts on a brew from outside, from what was entered of it and what its oxygen log shows: air, food, water, warmth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import OutsideValidity
from aerobe.inference._air import AirStop, find_stops
from aerobe.inference._logs import in_order, possible_oxygen, water_temperature
from aerobe.inference._story import BrewStory
from aerobe.oxygen import first_guess_kla, saturation_mg_per_l, vessel_kla
from aerobe.records import BrewEvent, FoodDose, Recipe, Vessel, standing_events

Array = NDArray[np.float64]

EDGE_H = 0.25  # log values so near to a change of the air say nothing: nobody presses to the minute [h]
SAME_STOP_H = 0.75  # a found stop that begins or ends so near to an entered one is that one [h]
SAME_TIME_H = 0.01  # times nearer than this are one in the grid [h]
BACK_SOON_H = 1.0  # air that stands still is thought to be back after so long [h]
LEAST_VOLUME = 0.02  # of the vessel that is left when more is said to be drawn off than there was [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """From `from_h` on, oxygen transfer is `air` times that of the vessel as it began, until the next stretch."""

    from_h: float
    air: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Forcing:
    """A story's outside.

    Parameters
    ----------
    recipe
        With the foods that were added midway.
    air
        Stretches in order of time; empty: as it began throughout.
    watered
        Time and old volume over new where water was added. [h, -]
    warmth
        Times from which another temperature is expected. [h, degC]
    found
        Stops that nobody entered.
    off_since_h
        Since when the air stands still, entered or found; None: it runs. [h]
    notes
        What was found and taken so, in plain words.
    """

    recipe: Recipe
    air: tuple[Stretch, ...]
    watered: tuple[tuple[float, float], ...]
    warmth: tuple[tuple[float, float], ...]
    found: tuple[AirStop, ...]
    notes: tuple[str, ...]
    off_since_h: float | None = None

    def times_h(self) -> list[float]:
        """Times that must stand in the grid, since what acts changes there. [h]"""
        thinned = [at + after for at, _ in self.watered for after in (0.0, 2.0 * SAME_TIME_H)]  # before and after
        return [*(item.from_h for item in self.air), *thinned, *(at for at, _ in self.warmth)]

    def air_on(self, grid_h: Array) -> Array | None:
        """Transfer from each time of the grid on, shape (times,); None: 1 throughout. [-]"""
        if not self.air:
            return None
        out = np.ones(len(grid_h))
        for stretch in self.air:
            out[grid_h >= stretch.from_h - SAME_TIME_H] = stretch.air
        return out

    def kept_on(self, grid_h: Array) -> Array | None:
        """Old volume over new at each time of the grid, shape (times,); None: no water was added. [-]"""
        if not self.watered:
            return None
        out = np.ones(len(grid_h))
        for at, share in self.watered:
            if at <= grid_h[-1]:
                out[np.abs(grid_h - at).argmin()] *= share
        return out

    def expected_degc(self, grid_h: Array, at_first: float) -> Array:
        """Temperature expected at each time of the grid, shape (times,). [degC]"""
        out = np.full(len(grid_h), at_first)
        for at, degc in self.warmth:
            out[grid_h >= at - SAME_TIME_H] = degc
        return out

    def near_a_change(self, times_h: Array) -> NDArray[np.bool_]:
        """Which times lie within `EDGE_H` of a change of the air, shape of the times."""
        out = np.zeros(len(times_h), bool)
        for stretch in self.air:
            out |= np.abs(times_h - stretch.from_h) < EDGE_H
        return out


def forcing_of(story: BrewStory) -> Forcing:
    """What acted on the brew of a story.

    Raises
    ------
    NotFound
        If an added food is not in the library.
    """
    events = standing_events(story.events)
    found = stops_in_log(story, events)
    notes = [stop.says() for stop in found]
    entered = [(item.elapsed_h, item) for item in events]
    air, watered, more = _air_and_water(story.vessel, entered, found)
    off_since = air[-1].from_h if air and _stands_still(entered, found) else None
    if off_since is not None:
        # What lies ahead is told for air that comes back soon: a brew without it is no question of the best hour.
        back = max(_known_until(story), off_since) + BACK_SOON_H
        air = (*air, Stretch(from_h=back, air=air[-2].air if len(air) > 1 else 1.0))
    foods = tuple(
        FoodDose(food=item.food, g_per_l=float(item.amount or 0.0), at_h=item.elapsed_h) for item in events if item.what == "food"
    )
    return Forcing(
        recipe=replace(story.recipe, foods=(*story.recipe.foods, *foods)),
        air=air,
        watered=watered,
        warmth=tuple((item.elapsed_h, float(item.amount or 0.0)) for item in events if item.what == "temperature"),
        found=found,
        notes=(*notes, *more),
        off_since_h=off_since,
    )


def _stands_still(entered: list[tuple[float, BrewEvent]], found: tuple[AirStop, ...]) -> bool:
    """Whether the last that is known of the air is that it was turned off or found to stand."""
    last = (-1.0, False)
    for at, item in entered:
        if item.what in ("air off", "air on", "air flow") and at >= last[0]:
            last = (at, item.what == "air off")
    for stop in found:
        at = stop.off_h if stop.on_h is None else stop.on_h
        if at >= last[0]:
            last = (at, stop.on_h is None)
    return last[1]


def _known_until(story: BrewStory) -> float:
    """The latest hour of which anything is known. [h]"""
    logged = [float(log.elapsed_h.max()) for log in (story.oxygen, story.temperature) if log is not None and len(log.values)]
    return max([0.0, *logged, *(item.elapsed_h for item in story.measurements), *(item.elapsed_h for item in story.events)])


def stops_in_log(story: BrewStory, events: tuple[BrewEvent, ...]) -> tuple[AirStop, ...]:
    """Stops of the air that the oxygen log shows and nobody entered or denied."""
    if story.oxygen is None or len(story.oxygen.values) == 0:
        return ()
    times, values, _ = in_order(story.oxygen)
    degc = water_temperature(story.temperature, times, story.temperature_degc)
    try:
        most = np.asarray(saturation_mg_per_l(degc, altitude_m=story.vessel.altitude_m), float)
    except OutsideValidity:
        return ()
    values, good, _ = possible_oxygen(times, values, most)
    doses = [item.at_h for item in story.recipe.foods if item.at_h > 0.0]
    fed = [*doses, *(item.elapsed_h for item in events if item.what in ("food", "water added", "air flow"))]
    found = find_stops(times[good], values[good], most[good], tuple(fed))
    known = _entered_stops(events)
    denied = [(item.elapsed_h, item.until_h or 0.0) for item in events if item.what == "air kept running"]
    return tuple(stop for stop in found if not any(_overlap(stop, span) for span in [*known, *denied]))


def _entered_stops(events: tuple[BrewEvent, ...]) -> list[tuple[float, float]]:
    out: list[tuple[float, float]] = []
    off: float | None = None
    for item in events:
        if item.what == "air off" and off is None:
            off = item.elapsed_h
        elif item.what in ("air on", "air flow") and off is not None:
            out.append((off, item.elapsed_h))
            off = None
    return out if off is None else [*out, (off, np.inf)]


def _overlap(stop: AirStop, span: tuple[float, float]) -> bool:
    end = np.inf if stop.on_h is None else stop.on_h
    return bool(stop.off_h < span[1] + SAME_STOP_H and span[0] - SAME_STOP_H < end)


def _air_and_water(
    vessel: Vessel, entered: list[tuple[float, BrewEvent]], found: tuple[AirStop, ...]
) -> tuple[tuple[Stretch, ...], tuple[tuple[float, float], ...], list[str]]:
    steps: list[tuple[float, str, float]] = [(at, item.what, item.amount or 0.0) for at, item in entered]
    for stop in found:
        steps.append((stop.off_h, "air off", 0.0))
        if stop.on_h is not None:
            steps.append((stop.on_h, "air on", 0.0))
    now, running, stretches, watered, notes = vessel, True, [], [], []
    for at, what, amount in sorted(steps, key=lambda step: step[0]):
        if what in ("water added", "drawn off"):
            volume = now.volume_l + (amount if what == "water added" else -amount)
            if volume < LEAST_VOLUME * vessel.volume_l:
                notes.append(f"More is noted as drawn off by {at:.1f} h than the vessel held; look at the volumes.")
                volume = LEAST_VOLUME * vessel.volume_l
            if what == "water added":
                watered.append((at, now.volume_l / volume))
            now = replace(now, volume_l=volume, depth_m=max(now.depth_m * volume / now.volume_l, 0.01))
        elif what == "air flow":
            now, running = replace(now, air=replace(now.air, flow_l_per_min=amount)), amount > 0.0
        elif what in ("air off", "air on"):
            running = what == "air on"
        else:
            continue
        stretches.append(Stretch(from_h=at, air=_over_the_first(now, vessel, running)))
    return tuple(stretches), tuple(watered), notes


def _over_the_first(now: Vessel, first: Vessel, running: bool) -> float:
    """Transfer now over that of the vessel as it began: through the surface alone while the air is off. [-]"""
    if not running:
        still = first_guess_kla(replace(now, air=replace(now.air, flow_l_per_min=0.0)))[0]
        return float(min(still / max(vessel_kla(first)[0], 1e-9), 1.0))
    if first.air.flow_l_per_min <= 0.0 and first.air.kla_per_h is not None:
        return 1.0  # measured without its flow: what another flow does to it cannot be told
    return float(first_guess_kla(now)[0] / max(first_guess_kla(first)[0], 1e-9))

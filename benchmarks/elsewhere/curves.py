"""Measured curves of growth and decline, played as if they were brews going on now.

No brew is among them. Each is rescaled so that it could be one: time so that its last reading falls at 72 h at the latest, value
so that its highest reading is 200 ug C/mL above what the instrument shows of nothing. The recipe is a stand-in, the same for all.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from aerobe.practice import Played, call_at, kit_for
from aerobe.practice import _players as agents
from aerobe.worlds import END_H, TEST_CONSTANT
from benchmarks.elsewhere import aerobe_plays

HERE = Path(__file__).parents[1]
PEAK = 200.0
DENSE_H = 2.0
WITH_BACKGROUND = "absorbance"  # readings that show something where nothing lives: the lowest is taken off
S11 = HERE.parent / "tests" / "data" / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv"


@dataclass(frozen=True)
class Curve:
    """One culture: hours and values after rescaling; answers what players ask of a world."""

    name: str
    source: str
    times_h: np.ndarray
    values: np.ndarray
    lots: float = 0.0  # tests of a culture come from one lot

    @cached_property
    def read_at(self) -> list[float]:
        """Hours of the readings that a player with dense readings is given: those at least two hours apart."""
        hours = [float(self.times_h[0])]
        for hour in self.times_h[1:]:
            if hour >= hours[-1] + DENSE_H:
                hours.append(hour)
        return hours

    @cached_property
    def biomass(self) -> np.ndarray:
        """As one brew of a world, shape (1, times)."""
        return self.values[None]

    def biomass_at(self, brew: int, elapsed_h: float) -> float:
        """By straight lines between readings. [ug C/mL]"""
        return float(np.interp(elapsed_h, self.times_h, self.values))

    def forgone(self, brew: int, elapsed_h: float) -> float:
        """Share of the highest reading that a harvest at an hour forgoes. [-]"""
        return 1.0 - self.biomass_at(brew, elapsed_h) / float(self.values.max())

    def test(self, brew: int, elapsed_h: float, rng: np.random.Generator, *, error: float = 0.0) -> float:
        """What was read: a culture carries its own error already. [ug C/mL]"""
        return max(self.biomass_at(brew, elapsed_h), 0.0)


def rescaled(name: str, source: str, units: str, hours: np.ndarray, values: np.ndarray) -> Curve:
    """A culture on the scale of a brew."""
    order = np.argsort(hours)
    hours, values = hours[order], values[order]
    if units.startswith(WITH_BACKGROUND):
        values = values - values.min()
    values = np.maximum(PEAK * values / values.max(), 0.5)
    return Curve(name, source, hours * min(1.0, END_H / hours[-1]), values)


def curves() -> list[Curve]:
    """All cultures that are kept."""
    with (HERE / "data" / "growth_and_decline.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    out = []
    for name in dict.fromkeys(row["curve"] for row in rows):
        some = [row for row in rows if row["curve"] == name]
        hours, values = (np.array([float(row[column]) for row in some]) for column in ("time_h", "value"))
        out.append(rescaled(name, some[0]["source"], some[0]["units"], hours, values))
    return out + _s11()


def _s11() -> list[Curve]:
    with S11.open(newline="", encoding="utf-8") as stream:
        rows = [
            row
            for row in csv.DictReader(stream)
            if (row["method"], row["variable"]) == ("flow_cytometry", "all_cells") and row["value"] not in ("", "nan")
        ]
    out = []
    for treatment in dict.fromkeys(row["treatment"] for row in rows):
        # The geometric mean of the two bottles at each time; some points of one bottle were lost.
        bottles: dict[float, list[float]] = {}
        for row in rows:
            if row["treatment"] == treatment and np.isfinite(float(row["value"])):
                bottles.setdefault(float(row["time_h"]), []).append(np.log(float(row["value"])))
        hours = np.array(sorted(bottles))
        values = np.array([np.exp(np.mean(bottles[hour])) for hour in hours])
        out.append(rescaled(f"s11 {treatment}", "kelp and glucose, 2021", "cells/mL", hours, values))
    return out


def stand_in():
    """A recipe that could carry such a culture: a call needs one."""
    from aerobe.inference import story_of

    return story_of(compost_g_per_l=20.0, foods={"molasses": 1.5}, temperature_degc=22.0, horizon_h=END_H)


def play_curve(curve: Curve, way: str) -> Played:
    """A culture played one way: "dense" (every two hours or seldomer), "tests3", "drop", "plain-dense" or "plain-tests3"."""
    end = float(curve.times_h[-1])
    if way == "tests3":
        return aerobe_plays.play(curve, 0, 3, False, 1, bare=stand_in())[0]
    if way.startswith("plain"):
        have = agents.plain(np.arange(round(2 * end) + 1) * 0.5, 1)
        return agents.play(have, curve, 0, 3, False, 1) if way.endswith("tests3") else _plain_dense(have, curve)
    if way == "drop":
        best = 0.0
        for count, hour in enumerate(curve.read_at, 1):
            value = curve.biomass_at(0, hour)
            if value < 0.85 * best:
                return Played(hour=hour, tests=count)
            best = max(best, value)
        return Played(hour=end, tests=len(curve.read_at))
    bare, seen = stand_in(), ()
    for place, hour in enumerate(curve.read_at[:-1]):
        seen = (*seen, kit_for(hour, curve.biomass_at(0, hour)))
        more = place + 1 < len(curve.read_at) - 1  # the next reading comes anyway
        posterior, advice = call_at(replace(bare, measurements=seen), hour, int(more))
        if advice.call == "harvest now":
            inside = aerobe_plays.held(posterior, curve, 0)
            return Played(hour=hour, tests=len(seen), expected=advice.expected_loss_now, **inside)
        if advice.call != "test at" and advice.at_h < curve.read_at[place + 1]:
            inside = aerobe_plays.held(posterior, curve, 0)
            return Played(hour=advice.at_h, tests=len(seen), expected=advice.expected_loss, **inside)
    return Played(hour=end, tests=len(seen))


def _plain_dense(have: agents.Ensemble, curve: Curve) -> Played:
    loss, seen = have.loss, []
    for place, hour in enumerate(curve.read_at[:-1]):
        seen.append((hour, max(curve.biomass_at(0, hour), TEST_CONSTANT)))
        weight = agents.tempered(agents.log_weight_of_tests(have, seen, 0.12, 0.0))
        what, at, expected = agents.move(have, loss, weight, hour, 0, None, 0.12, 1)
        if what == "harvest" or at < curve.read_at[place + 1]:
            return Played(hour=at, tests=len(seen), expected=expected, **agents.held(have, weight, curve, 0))
    return Played(hour=float(curve.times_h[-1]), tests=len(seen))

"""An ended brew looked back at: its course as the model believes it now, and what another hour of harvest would have brought.

It is no call: nothing is left to decide. It is kept once worked out, since a fit takes seconds and an ended brew rests.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aerobe import __version__
from aerobe.decisions import Forecast, Window, best_in_hindsight, forecast_of, missed_by
from aerobe.inference import on_one_core
from aerobe.notebook import BrewHistory, Notebook
from aerobe.records import as_plain, content_hash
from aerobe.units import percent
from aerobe.usecases.brews._behind_code import history_to_reckon
from aerobe.usecases.brews._beliefs import MODEL, infer_history

Array = NDArray[np.float64]
Band = tuple[Array, Array, Array]  # low, middle, high

KIND = "hindsight"
POINTS_KEPT = 160  # times of a band that are kept; a screen shows no more


@dataclass(frozen=True, slots=True, kw_only=True)
class Hindsight:
    """What is believed of an ended brew.

    Parameters
    ----------
    ended_h
        Harvest, or what was last known of a brew that nobody closed. [h]
    harvested
        Whether there was a harvest.
    aim
        What the brew was for.
    window
        Hours at which a harvest would have been nearly as good as the best, by what is known now.
    forgone, forgone_low, forgone_high
        Of the attainable, what the harvest missed of each course's own best: mean and 90 % interval; None without harvest. [-]
    forecast
        Bands over time until the end.
    measured
        Whether it rests on a test or an oxygen log of this brew; else it is what the model expects of such a brew.
    settled
        Whether the fit settled.
    stamp
        Of the records it rests on.
    """

    ended_h: float
    harvested: bool
    aim: str
    window: Window
    forgone: float | None
    forgone_low: float | None
    forgone_high: float | None
    forecast: Forecast
    measured: bool
    settled: bool
    notes: tuple[str, ...]
    stamp: str

    @property
    def now_h(self) -> float:
        """Where its chart ends its story, as the present does for a brew under way. [h]"""
        return self.ended_h

    @property
    def says(self) -> str:
        """The brew in hindsight, in a sentence or two."""
        if not self.settled:
            return "The fit of this brew did not settle: its band is a rough sample, and nothing can be said of its harvest."
        if not self.measured:
            return "Nothing was measured in this brew: the band is what the model expects of such a brew, not what was seen."
        best = f"The model's best time in hindsight was {_span(self.window)}, by the aim of {self.aim}"
        if self.forgone is None or self.forgone_low is None or self.forgone_high is None:
            return f"{best}. It was never closed."
        share = percent(self.forgone)
        spread = f"{percent(self.forgone_low)} to {percent(self.forgone_high)}"
        return f"Harvested at {self.ended_h:.3g} h. {best}; about {share} ({spread}) of what it could give was missed."


def look_back_at(notebook: Notebook, brew: str, now: datetime) -> Hindsight:
    """An ended brew in hindsight, with what earlier brews taught; worked out once for each change of its records.

    Earlier brews that are mended afterwards would move it a little; they do not renew it.

    Raises
    ------
    NotFound
        If there is no such brew.
    NotEnoughData
        If neither what went in nor any result is known.
    """
    history = history_to_reckon(notebook, brew)
    stamp = _stamp(history)
    kept = notebook.latest(KIND, brew)
    if kept is not None and kept.payload.get("stamp") == stamp:
        return _unpacked(kept.payload)
    found = _worked_out(notebook, history, stamp, now)
    if not notebook.read_only:
        notebook.keep(KIND, brew, as_plain(_packed(found)), at=now)
    return found


def _worked_out(notebook: Notebook, history: BrewHistory, stamp: str, now: datetime) -> Hindsight:
    harvest, brew = history.harvest, history.brew
    ended_h = harvest.elapsed_h if harvest is not None else _last_known_h(history)
    with on_one_core():
        posterior = infer_history(notebook, history, now=now, reach_h=ended_h)
    window = best_in_hindsight(posterior, brew.aim, brew.costs)
    missed = missed_by(posterior, ended_h, brew.aim, brew.costs) if harvest is not None else None
    tested = any(reading.role == "sample" for reading in history.readings)
    return Hindsight(
        ended_h=ended_h,
        harvested=harvest is not None,
        aim=brew.aim.aim + (", waiting priced in" if brew.costs.hour_of_waiting > 0.0 else ""),
        window=window,
        forgone=missed.mean if missed else None,
        forgone_low=missed.low if missed else None,
        forgone_high=missed.high if missed else None,
        measured=tested or history.log("oxygen") is not None,
        forecast=_until(forecast_of(posterior), max(ended_h, _last_known_h(history), window.end_h)),
        settled=posterior.settled,
        notes=posterior.notes,
        stamp=stamp,
    )


def _stamp(history: BrewHistory) -> str:
    """Of everything that a fit reads of this brew; its name and notes are not among it."""
    logs = [[log.channel, log.probe, len(log.values), content_hash([log.elapsed_h, log.values])] for log in history.logs]
    brew = history.brew
    held = [
        brew.started_at,
        brew.temperature_degc,
        brew.aim,
        brew.costs,
        brew.seed,
        history.recipe,
        history.compost,
        history.vessel,
        history.assays,
        history.readings,
        history.harvest,
        logs,
        *([history.events] if history.events else []),
    ]
    return content_hash([MODEL, __version__, as_plain(held)])


def _last_known_h(history: BrewHistory) -> float:
    ends = [log.elapsed_h[-1] for log in history.logs if log.elapsed_h]
    return max([0.0, *ends, *(reading.elapsed_h for reading in history.readings)])


def _until(forecast: Forecast, end_h: float) -> Forecast:
    """A band up to an hour, thinned to what is kept: a course drawn on after the air is off would be fiction."""
    inside = np.flatnonzero(forecast.times_h <= end_h + 1e-9)
    chosen = inside[:: max(1, -(-len(inside) // POINTS_KEPT))]
    if chosen[-1] != inside[-1]:
        chosen = np.append(chosen, inside[-1])

    def cut(band: Band) -> Band:
        return band[0][chosen], band[1][chosen], band[2][chosen]

    return Forecast(
        times_h=forecast.times_h[chosen],
        biomass=cut(forecast.biomass),
        ratio=cut(forecast.ratio),
        oxygen=cut(forecast.oxygen) if forecast.oxygen is not None else None,
    )


def _packed(found: Hindsight) -> dict[str, object]:
    plain = {name: getattr(found, name) for name in Hindsight.__dataclass_fields__ if name not in ("forecast", "window")}
    plain["window"] = found.window
    bands = found.forecast
    kept = ("times_h", "biomass", "ratio", *(("oxygen",) if bands.oxygen is not None else ()))
    plain["forecast"] = {name: as_plain(getattr(bands, name), digits=5) for name in kept}
    return plain


def _unpacked(payload: dict[str, Any]) -> Hindsight:
    bands = payload["forecast"]

    def three(name: str) -> Band:
        low, middle, high = (np.asarray(values, float) for values in bands[name])
        return low, middle, high

    forecast = Forecast(
        times_h=np.asarray(bands["times_h"], float),
        biomass=three("biomass"),
        ratio=three("ratio"),
        oxygen=three("oxygen") if "oxygen" in bands else None,
    )
    rest = {name: payload[name] for name in Hindsight.__dataclass_fields__ if name not in ("forecast", "window", "notes")}
    return Hindsight(forecast=forecast, window=Window(**payload["window"]), notes=tuple(payload["notes"]), **rest)


def _span(window: Window) -> str:
    if window.end_h - window.start_h < 0.25:
        return f"{window.best_h:.3g} h"
    return f"{window.start_h:.3g} to {window.end_h:.3g} h"

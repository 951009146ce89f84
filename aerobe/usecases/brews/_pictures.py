"""The pictures of a brew's page: its curve with band, and its oxygen with forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from aerobe.errors import NotEnoughData
from aerobe.notebook import Notebook, brew_history
from aerobe.oxygen import saturation_mg_per_l
from aerobe.records import Assay, Reading
from aerobe.units import DisplayUnits
from aerobe.usecases.brews._held import cached
from aerobe.usecases.brews._under_way import BrewView
from aerobe.usecases.notebook._display import display_units_for
from aerobe.usecases.notebook._moments import on_clock

if TYPE_CHECKING:
    from aerobe.charts import FigureTable, HarvestSpan, Picture, RawPoint
    from aerobe.decisions import Advice
    from aerobe.usecases.brews._hindsight import Hindsight

POINTS_SHOWN = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPicture:
    """A charts.Picture already drawn for the page: small to keep, nothing left to work out."""

    title: str
    says: str
    figures: FigureTable
    drawn: str
    read_out: str

    def for_page(self) -> str:
        """As `charts.Picture.for_page`."""
        return self.drawn

    def readout(self) -> str:
        """As `charts.Picture.readout`."""
        return self.read_out

    def in_units(self, _: DisplayUnits) -> DrawnPicture:
        """Itself: it was drawn in the units of who asked."""
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """A chart drawn for the first screen, with its sentence for listeners."""

    says: str
    drawn: str

    def at_a_glance(self) -> str:
        """As `charts.Picture.at_a_glance`."""
        return self.drawn

    def in_units(self, _: DisplayUnits) -> Glance:
        """Itself: it was drawn in the units of who asked."""
        return self


def brew_pictures(
    notebook: Notebook, view: BrewView, advice: Advice | Hindsight | None, *, now: datetime
) -> tuple[DrawnPicture, ...]:
    """Charts of one brew, the most asked-for first; `advice` (of `advise_brew`, of an ended brew `look_back_at`, or None)
    brings bands and window.

    Returns
    -------
    tuple of DrawnPicture
        Empty while there is neither a reading, a log nor a forecast.
    """
    brew, units = view.card.brew.key, display_units_for(notebook, view.card.brew.key)
    view, moved = _on_clock(view, now), (_moved(view, advice, now), units)
    # A probe's point moves the oxygen alone.
    curve = cached(notebook, ("curve", brew), (view.last_noted, moved), lambda: _drawn(_curve(view, advice), units))
    oxygen = cached(notebook, ("oxygen", brew), (view.last_change, moved), lambda: _drawn(_oxygen(view, advice), units))
    return tuple(item for item in (curve, oxygen) if item is not None)


def brew_glance(notebook: Notebook, view: BrewView, advice: Advice | Hindsight | None, *, now: datetime) -> Glance | None:
    """The first of `brew_pictures`, lower and without a legend; None where there is nothing to draw."""
    brew, units = view.card.brew.key, display_units_for(notebook, view.card.brew.key)
    view, moved = _on_clock(view, now), (_moved(view, advice, now), units)
    curve = cached(notebook, ("curve small", brew), (view.last_noted, moved), lambda: _glance(_curve(view, advice), units))
    if curve is not None:
        return curve
    return cached(notebook, ("oxygen small", brew), (view.last_change, moved), lambda: _glance(_oxygen(view, advice), units))


def _on_clock(view: BrewView, now: datetime) -> BrewView:
    """The brew with its start on the clock of whoever looks, whichever clock it was written down by."""
    started_at = on_clock(view.card.brew.started_at, now)
    return replace(view, card=replace(view.card, brew=replace(view.card.brew, started_at=started_at)))


def _moved(view: BrewView, advice: Advice | Hindsight | None, now: datetime) -> tuple[object, ...]:
    """What a chart rests on besides the records: the call, and the time, of which a quarter of an hour is fine enough."""
    quarter = int(now.timestamp() // 900) if view.card.state == "under way" else 0
    return quarter, None if advice is None else (advice.now_h, getattr(advice, "stamp", ""))


def replay_picture(notebook: Notebook, brew: str, calls: Sequence[Advice]) -> Picture:
    """The calls of `replay_brew` against the hour of the highest reading.

    Raises
    ------
    NotEnoughData
        If the brew has no reading of a sample.
    """
    from aerobe.charts import PastCall, calls_replayed

    history = brew_history(notebook, brew)
    read = sorted(
        (item.elapsed_h, _in_house(item, history.assays[item.assay])) for item in history.readings if item.role == "sample"
    )
    if not read:
        raise NotEnoughData(f"Brew {brew} has no reading to hold the calls against.", "Draw it once it has been tested.")
    highest_h = max(read, key=lambda pair: pair[1])[0]
    before = [hour for hour, _ in read if hour < highest_h]
    after = [hour for hour, _ in read if hour > highest_h]
    past = [
        PastCall(asked_h=item.now_h, call=item.call, from_h=window.start_h, to_h=window.end_h, best_h=window.best_h)
        for item, window in ((item, item.window) for item in calls)
    ]
    between = max(before, default=highest_h), min(after, default=highest_h)
    return calls_replayed(past, highest_h=highest_h, between_h=between, name=history.brew.name)


def _drawn(picture: Picture | None, units: DisplayUnits) -> DrawnPicture | None:
    return drawn(picture.in_units(units)) if picture is not None else None


def _glance(picture: Picture | None, units: DisplayUnits) -> Glance | None:
    if picture is None:
        return None
    shown = picture.in_units(units)
    return Glance(says=shown.says, drawn=shown.at_a_glance())


def drawn(picture: Picture) -> DrawnPicture:
    """A chart drawn for the page."""
    return DrawnPicture(
        title=picture.title,
        says=picture.says,
        figures=picture.figures,
        drawn=picture.for_page(),
        read_out=picture.readout(),
    )


def _curve(view: BrewView, advice: Advice | Hindsight | None) -> Picture | None:
    from aerobe.charts import Expected, Moments, brew_curve, readings_chart

    points = points_of(view)
    band = _band(advice, "biomass")
    if band is None:
        return readings_chart(points, name=view.card.brew.name, begin=view.card.brew.started_at) if points else None
    now_h = view.card.elapsed_h if view.card.state == "under way" else None
    times, low, middle, high = band
    return brew_curve(
        expected=Expected(elapsed_h=times, low=low, middle=middle, high=high),
        points=points,
        moments=Moments(
            window=_window(advice),
            now_h=now_h,
            harvested_h=view.harvest.elapsed_h if view.harvest is not None else None,
            begin=view.card.brew.started_at,
        ),
        name=view.card.brew.name,
    )


def _oxygen(view: BrewView, advice: Advice | Hindsight | None) -> Picture | None:
    from aerobe.charts import Expected, Moments, oxygen_curve

    band, log = _band(advice, "oxygen"), view.oxygen_log
    if band is None and len(log.elapsed_h) < 2:
        return None  # one value is no course
    times, low, middle, high = band if band is not None else ((), (), (), ())
    brew = view.card.brew
    return oxygen_curve(
        logged_h=log.elapsed_h.tolist(),
        logged_mg_per_l=log.mean.tolist(),
        forecast=Expected(elapsed_h=times, low=low, middle=middle, high=high),
        floor_mg_per_l=brew.aim.oxygen_floor_mg_per_l,
        saturation_mg_per_l=saturation_mg_per_l(brew.temperature_degc, altitude_m=view.vessel.altitude_m),
        moments=Moments(
            now_h=view.card.elapsed_h if view.card.state == "under way" else None, window=_window(advice), begin=brew.started_at
        ),
        name=brew.name,
    )


def points_of(view: BrewView) -> list[RawPoint]:
    """Readings of biomass as they are, in the house unit."""
    from aerobe.charts import RawPoint

    return [
        RawPoint(elapsed_h=reading.elapsed_h, value=_in_house(reading, view.assays[reading.assay]), kind=_kind(reading))
        for reading in view.readings
        if view.assays[reading.assay].quantity != "fungal to bacterial ratio"
    ]


def _in_house(reading: Reading, assay: Assay) -> float:
    return reading.signal * assay.to_house * reading.dilution


def _kind(reading: Reading) -> str:
    if reading.role != "sample":
        return "control"
    return "below detection" if reading.below_detection else "above range" if reading.above_range else "in the fit"


def _band(advice: Advice | Hindsight | None, quantity: str) -> tuple[list[float], ...] | None:
    """Times, low, middle and high of a forecast, thinned to what a screen shows."""
    if advice is None:
        return None
    forecast = advice.forecast
    if getattr(forecast, quantity) is None:
        return None
    step = max(1, len(forecast.times_h) // POINTS_SHOWN)
    return tuple(column[::step].tolist() for column in (forecast.times_h, *getattr(forecast, quantity)))


def _window(advice: Advice | Hindsight | None) -> HarvestSpan | None:
    from aerobe.charts import HarvestSpan

    if advice is None:
        return None
    return HarvestSpan(from_h=advice.window.start_h, to_h=advice.window.end_h, best_h=advice.window.best_h)

"""What a report shows of its data: charts from records and posterior, and a study as a table."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from aerobe.charts import Expected, FigureTable, Moments, Picture, RawPoint, brew_curve, oxygen_curve
from aerobe.inference import Posterior
from aerobe.notebook import BrewHistory
from aerobe.records import Reading

if TYPE_CHECKING:
    from aerobe.assay import Study
    from aerobe.records import Assay

LOG_POINTS = 400  # of an oxygen log in a chart; more cannot be seen


def brew_pictures_of(history: BrewHistory, posterior: Posterior, now: datetime) -> tuple[Picture, ...]:
    """Biomass with its band and every reading; oxygen with its log."""
    low, middle, high = posterior.band_of(posterior.biomass)
    times, brew = posterior.times_h, history.brew
    end = _end_h(history, now)
    points = [
        _point(reading, history.assays[reading.assay])
        for reading in history.readings
        if history.assays[reading.assay].quantity != "fungal to bacterial ratio"
    ]
    now_h = end if history.harvest is None and end < times[-1] else None
    shown = (times <= end) if history.harvest is not None else times >= 0.0
    hours = times[shown].tolist()
    curve = brew_curve(
        expected=Expected(elapsed_h=hours, low=low[shown].tolist(), middle=middle[shown].tolist(), high=high[shown].tolist()),
        points=points,
        moments=Moments(now_h=now_h, begin=brew.started_at),
        name=brew.name,
    )
    log, known = history.log("oxygen"), posterior.oxygen_known
    if log is None and not known:
        return (curve,)
    bands = [band[shown].tolist() if known else [] for band in posterior.band_of(posterior.oxygen)]
    step = 1 if log is None else max(1, len(log.values) // LOG_POINTS)
    oxygen = oxygen_curve(
        logged_h=() if log is None else log.elapsed_h[::step],
        logged_mg_per_l=() if log is None else log.values[::step],
        forecast=Expected(elapsed_h=hours if known else (), low=bands[0], middle=bands[1], high=bands[2]),
        floor_mg_per_l=brew.aim.oxygen_floor_mg_per_l,
        moments=Moments(now_h=now_h, begin=brew.started_at),
        name=brew.name,
    )
    return curve, oxygen


def _end_h(history: BrewHistory, now: datetime) -> float:
    """The end of the brew, or now: a curve drawn further would be fiction once the air is off."""
    last = max([reading.elapsed_h for reading in history.readings], default=0.0)
    if history.harvest is not None:
        return max(history.harvest.elapsed_h, last)
    return max(last, history.brew.hours_at(now))


def _point(reading: Reading, assay: Assay) -> RawPoint:
    kind = "in the fit"
    if reading.role != "sample":
        kind = "control"
    elif reading.below_detection or reading.above_range:
        kind = "below detection" if reading.below_detection else "above range"
    return RawPoint(elapsed_h=reading.elapsed_h, value=reading.signal * assay.to_house * reading.dilution, kind=kind)


def study_readings(study: Study) -> FigureTable:
    """Every reading of a study, in its order."""
    columns = ("role", "of", f"signal [{study.unit}]", "dilution [-]", "added", "sample", "day", "reader", "lot", "mark")
    rows = tuple(
        (
            item.role,
            item.what,
            f"{item.signal:g}",
            f"{item.dilution:g}",
            f"{item.added:g}",
            item.sample,
            item.day,
            item.operator,
            item.kit_lot,
            "below" if item.below_detection else "above" if item.above_range else "",
        )
        for item in study.readings
    )
    return FigureTable(columns=columns, rows=rows, caption="Every reading of the study")

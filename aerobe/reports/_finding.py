"""A report as one picture to show."""

from __future__ import annotations

from datetime import datetime

from aerobe.charts import Picture, Poster, weighed_pictures
from aerobe.errors import NotEnoughData
from aerobe.evidence import Weighed, pool_in_passing
from aerobe.reports._blocks import Report, Shown
from aerobe.reports._display import poster_in_units

INVENTED = "invented data"


def pictures_of(report: Report) -> tuple[Picture, ...]:
    """The charts of a report's first page."""
    return tuple(block.picture for block in report.first if isinstance(block, Shown))


def chart_to_show(report: Report) -> Picture:
    """The chart that carries a report's answer: of a trial the comparisons with their intervals, else the first.

    Raises
    ------
    NotEnoughData
        If the report has no chart.
    """
    found = pictures_of(report)
    if not found:
        raise NotEnoughData("This report has no chart to show.", "Add readings first.")
    return found[-1] if report.kind == "trial" else found[0]


def poster_of(report: Report, *, moving: tuple[Picture, ...] = ()) -> Poster:
    """A report as a picture to show: its answer in passing, its chart, how sure, whether it is invented.

    Parameters
    ----------
    moving
        Charts to be shown one after the other in the place of the report's own.

    Raises
    ------
    NotEnoughData
        If there is no chart.
    """
    poster = Poster(
        question=report.title,
        headline=report.in_passing or report.headline,
        sure=report.sure,
        date=f"{report.made_at:%Y-%m-%d}",
        source=f"Data and recompute script: {report.package_name}; Aerobe {report.versions.get('aerobe', '')}".rstrip(),
        mark=INVENTED if report.invented else "",
        pictures=moving or (chart_to_show(report),),
    )
    return poster if report.units is None else poster_in_units(poster, report.units)


def poster_of_pool(weighed: Weighed, *, made_at: datetime, source: str, invented: bool) -> Poster:
    """What many trials say of a pair of recipes, as a picture to show.

    Parameters
    ----------
    made_at
        The day it speaks of.
    source
        Where data and script are.
    invented
        Whether any of the trials is.

    Raises
    ------
    NotEnoughData
        If no trial compared the pair directly.
    """
    pictures = weighed_pictures(weighed)
    if not pictures:
        raise NotEnoughData("No trial brewed both recipes side by side.", "Show a trial, or plan one.")
    return Poster(
        question=f"{weighed.recipe} or {weighed.against}? All trials together, {weighed.outcome}",
        headline=pool_in_passing(weighed),
        sure=pool_sure(weighed),
        date=f"{made_at:%Y-%m-%d}",
        source=source,
        mark=INVENTED if invented else "",
        pictures=pictures[:1],
    )


def pool_sure(weighed: Weighed) -> str:
    """How sure a pooled answer is, in a few words."""
    trials, places = len(weighed.contrasts), len(weighed.sites)
    counted = f"{trials} trial{'s' if trials > 1 else ''} of {places} place{'s' if places > 1 else ''}"
    diamond = "" if weighed.pooled is None else " The diamond is all of them, the dashed line a next trial."
    return f"{counted}, each place with one voice. Bars: {100 * weighed.level:.0f} % intervals.{diamond}"

"""A report as one picture to show."""

from __future__ import annotations

from aerobe.charts import Picture, Poster
from aerobe.errors import NotEnoughData
from aerobe.reports._blocks import Report, Shown

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
    return Poster(
        question=report.title,
        headline=report.in_passing or report.headline,
        sure=report.sure,
        date=f"{report.made_at:%Y-%m-%d}",
        source=f"Data and recompute script: {report.package_name}; Aerobe {report.versions.get('aerobe', '')}".rstrip(),
        mark=INVENTED if report.invented else "",
        pictures=moving or (chart_to_show(report),),
    )

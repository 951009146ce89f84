"""Several brews on one chart, by the hours since each began: what was read of them, and what their probes logged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.charts._brew import RawPoint
from aerobe.charts._look import series_keys, series_looks
from aerobe.charts._plot import Axis, Chart, CourseLine, Follow, Mark, PointMarks
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number

_HOURS = "hours since each began"


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlaidBrew:
    """One brew of several on a chart: its readings of samples, its log of oxygen, and when it was harvested."""

    name: str
    points: tuple[RawPoint, ...] = ()
    logged_h: tuple[float, ...] = ()  # [h]
    logged_mg_per_l: tuple[float, ...] = ()  # [mg/L]
    harvested_h: float | None = None  # [h]

    def course(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Hours of the readings that have a value, and their mean at each hour. [h], unit of the chart"""
        by_hour: dict[float, list[float]] = {}
        for point in self.points:
            if point.kind == "in the fit":
                by_hour.setdefault(point.elapsed_h, []).append(point.value)
        hours = tuple(sorted(by_hour))
        return hours, tuple(sum(by_hour[hour]) / len(by_hour[hour]) for hour in hours)


def readings_overlaid(brews: Sequence[OverlaidBrew], *, quantity: str = "Living biomass", unit: str = "ug C/mL") -> Picture:
    """Readings of several brews from a common start; colour, mark and dash tell the brews apart.

    Parameters
    ----------
    brews
        At most six; those without a reading are left out.
    quantity, unit
        Words for title and axis.

    Raises
    ------
    ValueError
        If no brew has a reading, or there are more than six.
    """
    read = [brew for brew in brews if brew.points]
    if not read:
        raise ValueError("a chart of readings needs a reading")
    looks = series_looks([brew.name for brew in read])
    marks: list[Mark] = []
    follows = []
    for brew in read:
        hours, values = brew.course()
        look = looks[brew.name]
        if hours:
            marks.append(CourseLine(x=hours, y=values, colour=look.colour, dash=look.dash, width=1.5, opacity=0.7))
            follows.append(Follow(name=brew.name, unit=unit, x=hours, middle=values))
    for brew in read:
        look = looks[brew.name]
        for kind in dict.fromkeys(point.kind for point in brew.points):
            mine = [point for point in brew.points if point.kind == kind]
            marks.append(
                PointMarks(
                    x=[point.elapsed_h for point in mine],
                    y=[point.value for point in mine],
                    colour=look.colour,
                    shape=look.shape,
                    radius=4.5,
                    is_filled=kind == "in the fit",
                    words=tuple(f"{brew.name}, {kind}: {number(point.value)} {unit}" for point in mine),
                )
            )
    says = f"{quantity} of {_counted(read)} by the hours since each began, as entered and not corrected. "
    says += "Lines join readings and claim nothing between. " + _peaks(read, unit)
    if any(point.kind != "in the fit" for brew in read for point in brew.points):
        says += " Hollow marks are limits: below what the test can see, or above its range."
    plot = Chart(
        x=Axis(title=_HOURS, has_grid=False, from_zero=True),
        y=Axis(title=unit, from_zero=True),
        marks=tuple(marks),
        keys=series_keys(looks),
        follows=tuple(follows),
        height_px=320,
    )
    return Picture(title=f"{quantity}, {_counted(read)}", says=says, figures=_readings_table(read, unit), plot=plot)


def oxygen_overlaid(brews: Sequence[OverlaidBrew]) -> Picture:
    """Logs of dissolved oxygen of several brews from a common start.

    Parameters
    ----------
    brews
        At most six; those without two logged values are left out.

    Raises
    ------
    ValueError
        If no brew has a log, or there are more than six.
    """
    logged = [brew for brew in brews if len(brew.logged_h) > 1]
    if not logged:
        raise ValueError("a chart of logs needs a log")
    looks = series_looks([brew.name for brew in logged])
    marks = [
        CourseLine(x=brew.logged_h, y=brew.logged_mg_per_l, colour=looks[brew.name].colour, dash=looks[brew.name].dash, width=2.0)
        for brew in logged
    ]
    lowest = {brew.name: _lowest(brew) for brew in logged}
    says = f"Dissolved oxygen of {_counted(logged)} by the hours since each began, as logged. Lowest: "
    says += "; ".join(f"{name} {number(value)} mg/L at {number(hour)} h" for name, (hour, value) in lowest.items()) + "."
    figures = FigureTable(
        columns=("brew", "lowest [mg/L]", "at [h]", "last [mg/L]", "at [h]"),
        rows=tuple(
            (brew.name, lowest[brew.name][1], lowest[brew.name][0], brew.logged_mg_per_l[-1], brew.logged_h[-1])
            for brew in logged
        ),
    )
    plot = Chart(
        x=Axis(title=_HOURS, has_grid=False, from_zero=True),
        y=Axis(title="mg/L", from_zero=True),
        marks=tuple(marks),
        keys=series_keys(looks, with_shape=False),
        follows=tuple(Follow(name=brew.name, unit="mg/L", x=brew.logged_h, middle=brew.logged_mg_per_l) for brew in logged),
        height_px=280,
    )
    return Picture(title=f"Dissolved oxygen, {_counted(logged)}", says=says, figures=figures, plot=plot)


def _counted(brews: Sequence[OverlaidBrew]) -> str:
    return f"{len(brews)} brew{'' if len(brews) == 1 else 's'}"


def _highest(brew: OverlaidBrew) -> tuple[float, float] | None:
    hours, values = brew.course()
    if not hours:
        return None
    place = max(range(len(values)), key=lambda item: values[item])
    return hours[place], values[place]


def _lowest(brew: OverlaidBrew) -> tuple[float, float]:
    place = min(range(len(brew.logged_mg_per_l)), key=lambda item: brew.logged_mg_per_l[item])
    return brew.logged_h[place], brew.logged_mg_per_l[place]


def _peaks(brews: Sequence[OverlaidBrew], unit: str) -> str:
    told = []
    for brew in brews:
        found = _highest(brew)
        told.append(
            f"{brew.name} {number(found[1])} {unit} at {number(found[0])} h" if found else f"{brew.name} no value, limits only"
        )
    return "Highest reading: " + "; ".join(told) + "."


def _readings_table(brews: Sequence[OverlaidBrew], unit: str) -> FigureTable:
    rows: list[tuple[str | float | None, ...]] = []
    for brew in brews:
        hour, value = _highest(brew) or (None, None)
        rows.append((brew.name, str(len(brew.points)), value, hour, brew.harvested_h))
    return FigureTable(columns=("brew", "readings", f"highest [{unit}]", "at [h]", "harvested at [h]"), rows=tuple(rows))

"""Oxygen and food: what a dose does to oxygen and biomass, a re-aeration run with its fit, uptake through a brew."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from aerobe.charts._brew import time_axis
from aerobe.charts._plot import Axis, Chart, CourseLine, FilledBand, Follow, Intervals, Key, Mark, PointMarks, Rule
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number

if TYPE_CHECKING:
    from aerobe.oxygen import DoseRow, KlaEstimate, UptakeTrack

_DOSE = "dose [g/L, log scale]"


def lowest_oxygen_by_dose(
    rows: Sequence[DoseRow],
    *,
    food: str,
    floor_mg_per_l: float,
    ceiling_g_per_l: float | None = None,
    dose_g_per_l: float | None = None,
) -> Picture:
    """The lowest oxygen of a brew against the dose of a food, with floor and ceiling.

    Parameters
    ----------
    rows
        The trade-off, doses increasing; a dose of zero is left out of the log scale and named in the table.
    food
        Name of the food.
    floor_mg_per_l
        The floor. [mg/L]
    ceiling_g_per_l, dose_g_per_l
        Marked where given. [g/L]
    """
    drawn = [row for row in rows if row.dose_g_per_l > 0.0]
    plot = _by_dose(
        [row.dose_g_per_l for row in drawn],
        [row.lowest_oxygen_mg_per_l for row in drawn],
        what=("Lowest oxygen", "mg/L", "water"),
        marks=(
            Rule(at=floor_mg_per_l, along="y", colour="ember", dash=(8, 4), words=f"floor {number(floor_mg_per_l)}"),
            *_marks(ceiling_g_per_l, dose_g_per_l),
        ),
    )
    says = f"Lowest oxygen of a brew by dose of {food}, middle and 90 % band; the floor is {number(floor_mg_per_l)} mg/L."
    says += f" The air carries {number(ceiling_g_per_l)} g/L." if ceiling_g_per_l else " No dose is carried."
    return Picture(title=f"Lowest oxygen by dose of {food}", says=says, figures=_dose_table(rows), plot=plot)


def biomass_by_dose(
    rows: Sequence[DoseRow], *, food: str, ceiling_g_per_l: float | None = None, dose_g_per_l: float | None = None
) -> Picture:
    """The peak of biomass against the dose of a food, with the ceiling of the air.

    Parameters
    ----------
    rows, food, ceiling_g_per_l, dose_g_per_l
        As for `lowest_oxygen_by_dose`.
    """
    drawn = [row for row in rows if row.dose_g_per_l > 0.0]
    plot = _by_dose(
        [row.dose_g_per_l for row in drawn],
        [row.peak_biomass for row in drawn],
        what=("Peak biomass", "ug C/mL", "leaf"),
        marks=_marks(ceiling_g_per_l, dose_g_per_l),
    )
    first, last = drawn[0], drawn[-1]
    says = (
        f"Peak biomass by dose of {food}, middle and 90 % band: {number(first.peak_biomass[1])} ug C/mL at "
        f"{number(first.dose_g_per_l)} g/L, {number(last.peak_biomass[1])} at {number(last.dose_g_per_l)} g/L. "
        "Beyond the ceiling oxygen limits it, and what grows may not be what you want."
    )
    return Picture(title=f"Peak biomass by dose of {food}", says=says, figures=_dose_table(rows), plot=plot)


def reaeration_run(times_h: Sequence[float], oxygen_mg_per_l: Sequence[float], estimate: KlaEstimate) -> Picture:
    """A re-aeration run with its fitted curve and the part that was used.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The run. [h], [mg/L]
    estimate
        Of the run.
    """
    seconds = 3600.0 * np.asarray(times_h, dtype=float)
    start, end = estimate.window_h
    grid = np.linspace(start, end, 80)
    fitted = estimate.saturation_mg_per_l - (estimate.saturation_mg_per_l - estimate.start_mg_per_l) * np.exp(
        -estimate.kla_per_h * (grid - start)
    )
    heads_for, fitted_s = estimate.saturation_mg_per_l, (3600.0 * grid).tolist()
    plot = Chart(
        x=Axis(title="seconds", has_grid=False),
        y=Axis(title="Dissolved oxygen [mg/L]", from_zero=True),
        marks=(
            PointMarks(x=seconds.tolist(), y=oxygen_mg_per_l, colour="ink", radius=3.0, is_filled=True, opacity=0.7),
            CourseLine(x=fitted_s, y=fitted.tolist(), colour="water"),
            Rule(at=heads_for, along="y", colour="soft", dash=(8, 4), words=f"heads for {number(heads_for)}"),
        ),
        keys=(Key(name="reading", colour="ink", shape="circle"), Key(name="fitted", colour="water", dash=())),
        follows=(Follow(name="fitted", unit="mg/L", x=fitted_s, middle=fitted.tolist()),),
        height_px=250,
    )
    says = (
        f"Re-aeration run of {len(seconds)} readings. Fitted from {number(3600 * start)} to {number(3600 * end)} s: kLa "
        f"{number(estimate.kla_per_h)} per hour ({number(estimate.kla_low_per_h)} to {number(estimate.kla_high_per_h)}), heading "
        f"for {number(estimate.saturation_mg_per_l)} mg/L."
    )
    half = 1.645 * estimate.saturation_sd_mg_per_l
    rows: list[tuple[str | float | None, ...]] = [
        ("kLa at the run's temperature [1/h]", estimate.kla_per_h, estimate.kla_low_per_h, estimate.kla_high_per_h),
        ("kLa at 20 degC [1/h]", estimate.kla20_per_h, None, None),
        ("saturation [mg/L]", heads_for, heads_for - half, heads_for + half),
        ("noise of a reading [mg/L]", estimate.noise_mg_per_l, None, None),
    ]
    figures = FigureTable(columns=("what", "value", "90 % from", "to"), rows=tuple(rows))
    return Picture(title="Re-aeration run", says=says, figures=figures, plot=plot)


def kla_by_flow(flows: Sequence[float], estimates: Sequence[KlaEstimate], *, sound: Sequence[bool], flow_name: str) -> Picture:
    """Transfer against air flow, every run with its interval; runs in doubt keep their place and another mark.

    Parameters
    ----------
    flows, estimates, sound
        One a run, shape (runs,). [unit in flow_name]
    flow_name
        Words for the axis, with the unit.
    """
    kinds = {True: ("sound run", "water", "circle"), False: ("run in doubt", "ember", "cross")}
    marks: list[Mark] = []
    for is_sound, (words, colour, shape) in kinds.items():
        mine = [(flow, item) for flow, item, good in zip(flows, estimates, sound, strict=True) if bool(good) is is_sound]
        if not mine:
            continue
        at, runs = [flow for flow, _ in mine], [item for _, item in mine]
        low, high = [item.kla_low_per_h for item in runs], [item.kla_high_per_h for item in runs]
        said = tuple(f"{words}: {number(item.kla_per_h)} per hour" for item in runs)
        marks.append(Intervals(at=at, low=low, high=high, colour=colour))
        marks.append(PointMarks(x=at, y=[item.kla_per_h for item in runs], colour=colour, shape=shape, words=said))
    plot = Chart(
        x=Axis(title=flow_name, from_zero=True, has_grid=False),
        y=Axis(title="kLa [1/h]", from_zero=True),
        marks=tuple(marks),
        keys=tuple(Key(name=words, colour=colour, shape=shape) for words, colour, shape in kinds.values()),
    )
    doubtful = [number(flow) for flow, good in zip(flows, sound, strict=True) if not good]
    says = f"Transfer of {len(flows)} runs by air flow, each with its 90 % interval."
    says += f" In doubt: the runs at {', '.join(doubtful)}." if doubtful else " None is in doubt."
    figures = FigureTable(
        columns=(flow_name, "kLa [1/h]", "90 % from", "to", "judged"),
        rows=tuple(
            (float(flow), item.kla_per_h, item.kla_low_per_h, item.kla_high_per_h, kinds[bool(good)][0])
            for flow, item, good in zip(flows, estimates, sound, strict=True)
        ),
    )
    return Picture(title="Transfer by air flow", says=says, figures=figures, plot=plot)


def uptake_curve(track: UptakeTrack, *, name: str, begin: datetime | None = None) -> Picture:
    """Oxygen uptake rate through a brew, with its band.

    Parameters
    ----------
    track
        From the oxygen log.
    name, begin
        Of the brew, and when its aeration began.
    """
    hours, low, middle, high = (
        [float(value) for value in part] for part in (track.elapsed_h, track.low, track.median, track.high)
    )
    plot = Chart(
        x=time_axis(begin),
        y=Axis(title="Oxygen uptake [mg/L/h]", from_zero=True),
        marks=(FilledBand(x=hours, low=low, high=high, colour="plum"), CourseLine(x=hours, y=middle, colour="plum")),
        follows=(Follow(name="uptake", unit="mg/L/h", x=hours, middle=middle, low=low, high=high),),
        height_px=230,
    )
    top = int(np.argmax(track.median))
    says = (
        f"Oxygen uptake of {name}, middle and 90 % band: highest {number(float(track.median[top]))} mg/L/h "
        f"({number(float(track.low[top]))} to {number(float(track.high[top]))}) at {number(float(track.elapsed_h[top]))} h."
    )
    places = np.unique(np.linspace(0, len(track.elapsed_h) - 1, 9).astype(int))
    figures = FigureTable(
        columns=("time [h]", "uptake [mg/L/h]", "90 % from", "to"),
        rows=tuple(
            tuple(float(part[place]) for part in (track.elapsed_h, track.median, track.low, track.high)) for place in places
        ),
    )
    return Picture(title=f"Oxygen uptake: {name}", says=says, figures=figures, plot=plot)


def _by_dose(
    doses: Sequence[float],
    bands: Sequence[tuple[float, float, float]],
    *,
    what: tuple[str, str, str],
    marks: Sequence[Mark],
) -> Chart:
    """A quantity with its band against the dose; `what` is its name, unit and colour."""
    name, unit, colour = what
    low, middle, high = ([band[place] for band in bands] for place in range(3))
    return Chart(
        x=Axis(title=_DOSE, kind="log", has_grid=False),
        y=Axis(title=f"{name} [{unit}]", from_zero=True),
        marks=(FilledBand(x=doses, low=low, high=high, colour=colour), CourseLine(x=doses, y=middle, colour=colour), *marks),
        follows=(Follow(name=name, unit=unit, x=doses, middle=middle, low=low, high=high),),
    )


def _marks(ceiling: float | None, dose: float | None) -> list[Mark]:
    return [
        Rule(at=value, along="x", colour=colour, dash=dash, width=2.0, words=words)
        for value, words, colour, dash in ((ceiling, "ceiling", "ember", (8, 4)), (dose, "your dose", "ink", (2, 3)))
        if value is not None and value > 0.0
    ]


def _dose_table(rows: Sequence[DoseRow]) -> FigureTable:
    shown = [row for place, row in enumerate(rows) if place % max(1, len(rows) // 12) == 0 or row is rows[-1]]
    return FigureTable(
        columns=(
            "dose [g/L]",
            "chance above floor",
            "lowest oxygen [mg/L]",
            "5 %",
            "95 %",
            "peak biomass [ug C/mL]",
            "peak at [h]",
        ),
        rows=tuple(
            (
                row.dose_g_per_l,
                f"{100 * row.chance_above_floor:.0f} %",
                row.lowest_oxygen_mg_per_l[1],
                row.lowest_oxygen_mg_per_l[0],
                row.lowest_oxygen_mg_per_l[2],
                row.peak_biomass[1],
                row.peak_at_h[1],
            )
            for row in shown
        ),
    )

"""Oxygen and food: what a dose does to oxygen and biomass, a re-aeration run with its fit, uptake through a brew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from aerobe.charts._style import FigureTable, Picture, picture, records_of
from aerobe.oxygen import DoseRow, KlaEstimate, UptakeTrack
from aerobe.units import number

if TYPE_CHECKING:
    import altair as alt

    from aerobe.charts._style import Layer

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
    import altair as alt

    drawn = [row for row in rows if row.dose_g_per_l > 0.0]
    data = alt.InlineData(
        values=records_of(
            dose=[row.dose_g_per_l for row in drawn],
            low=[row.lowest_oxygen_mg_per_l[0] for row in drawn],
            middle=[row.lowest_oxygen_mg_per_l[1] for row in drawn],
            high=[row.lowest_oxygen_mg_per_l[2] for row in drawn],
        )
    )
    title = "Lowest oxygen [mg/L]"
    layers = _band(data, title, "@water")
    layers += _level(floor_mg_per_l, f"floor {number(floor_mg_per_l)}")
    layers += _marks(ceiling_g_per_l, dose_g_per_l)
    says = f"Lowest oxygen of a brew by dose of {food}, middle and 90 % band; the floor is {number(floor_mg_per_l)} mg/L."
    says += f" The air carries {number(ceiling_g_per_l)} g/L." if ceiling_g_per_l else " No dose is carried."
    return picture(alt.layer(*layers), title=f"Lowest oxygen by dose of {food}", says=says, figures=_dose_table(rows))


def biomass_by_dose(
    rows: Sequence[DoseRow], *, food: str, ceiling_g_per_l: float | None = None, dose_g_per_l: float | None = None
) -> Picture:
    """The peak of biomass against the dose of a food, with the ceiling of the air.

    Parameters
    ----------
    rows, food, ceiling_g_per_l, dose_g_per_l
        As for `lowest_oxygen_by_dose`.
    """
    import altair as alt

    drawn = [row for row in rows if row.dose_g_per_l > 0.0]
    data = alt.InlineData(
        values=records_of(
            dose=[row.dose_g_per_l for row in drawn],
            low=[row.peak_biomass[0] for row in drawn],
            middle=[row.peak_biomass[1] for row in drawn],
            high=[row.peak_biomass[2] for row in drawn],
        )
    )
    layers = [*_band(data, "Peak biomass [ug C/mL]", "@leaf"), *_marks(ceiling_g_per_l, dose_g_per_l)]
    first, last = drawn[0], drawn[-1]
    says = (
        f"Peak biomass by dose of {food}, middle and 90 % band: {number(first.peak_biomass[1])} ug C/mL at "
        f"{number(first.dose_g_per_l)} g/L, {number(last.peak_biomass[1])} at {number(last.dose_g_per_l)} g/L. "
        "Beyond the ceiling oxygen limits it, and what grows may not be what you want."
    )
    return picture(alt.layer(*layers), title=f"Peak biomass by dose of {food}", says=says, figures=_dose_table(rows))


def reaeration_run(times_h: Sequence[float], oxygen_mg_per_l: Sequence[float], estimate: KlaEstimate) -> Picture:
    """A re-aeration run with its fitted curve and the part that was used.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The run. [h], [mg/L]
    estimate
        Of the run.
    """
    import altair as alt

    seconds = 3600.0 * np.asarray(times_h, dtype=float)
    log = alt.InlineData(values=records_of(s=seconds, oxygen=oxygen_mg_per_l))
    start, end = estimate.window_h
    grid = np.linspace(start, end, 80)
    fitted = estimate.saturation_mg_per_l - (estimate.saturation_mg_per_l - estimate.start_mg_per_l) * np.exp(
        -estimate.kla_per_h * (grid - start)
    )
    line = alt.InlineData(values=records_of(s=3600.0 * grid, oxygen=fitted))
    x_axis = alt.X("s:Q", title="seconds", axis=alt.Axis(grid=False))
    y_axis = alt.Y("oxygen:Q", title="Dissolved oxygen [mg/L]")
    layers = [
        alt.Chart(log).mark_point(color="@ink", size=28, opacity=0.7).encode(x=x_axis, y=y_axis),
        alt.Chart(line).mark_line(color="@water").encode(x=x_axis, y=y_axis),
        *_level(estimate.saturation_mg_per_l, f"heads for {number(estimate.saturation_mg_per_l)}", "@soft"),
    ]
    says = (
        f"Re-aeration run of {len(seconds)} readings. Fitted from {number(3600 * start)} to {number(3600 * end)} s: kLa "
        f"{number(estimate.kla_per_h)} per hour ({number(estimate.kla_low_per_h)} to {number(estimate.kla_high_per_h)}), heading "
        f"for {number(estimate.saturation_mg_per_l)} mg/L."
    )
    heads_for, half = estimate.saturation_mg_per_l, 1.645 * estimate.saturation_sd_mg_per_l
    rows: list[tuple[str | float | None, ...]] = [
        ("kLa at the run's temperature [1/h]", estimate.kla_per_h, estimate.kla_low_per_h, estimate.kla_high_per_h),
        ("kLa at 20 degC [1/h]", estimate.kla20_per_h, None, None),
        ("saturation [mg/L]", heads_for, heads_for - half, heads_for + half),
        ("noise of a reading [mg/L]", estimate.noise_mg_per_l, None, None),
    ]
    figures = FigureTable(columns=("what", "value", "90 % from", "to"), rows=tuple(rows))
    return picture(alt.layer(*layers), title="Re-aeration run", says=says, figures=figures, height_px=250)


def kla_by_flow(flows: Sequence[float], estimates: Sequence[KlaEstimate], *, sound: Sequence[bool], flow_name: str) -> Picture:
    """Transfer against air flow, every run with its interval; runs in doubt keep their place and another mark.

    Parameters
    ----------
    flows, estimates, sound
        One a run, shape (runs,). [unit in flow_name]
    flow_name
        Words for the axis, with the unit.
    """
    import altair as alt

    kinds = {True: "sound run", False: "run in doubt"}
    rows = records_of(
        flow=flows,
        kla=[item.kla_per_h for item in estimates],
        low=[item.kla_low_per_h for item in estimates],
        high=[item.kla_high_per_h for item in estimates],
        kind=[kinds[bool(item)] for item in sound],
    )
    data = alt.Chart(alt.InlineData(values=rows))
    x = alt.X("flow:Q", title=flow_name, scale=alt.Scale(zero=True), axis=alt.Axis(grid=False))
    y_title = "kLa [1/h]"
    shown = list(kinds.values())
    colour = alt.Color("kind:N", title=None, scale=alt.Scale(domain=shown, range=["@water", "@ember"]))
    shape = alt.Shape("kind:N", title=None, scale=alt.Scale(domain=shown, range=["circle", "cross"]))
    layers = [
        data.mark_rule(strokeWidth=2).encode(x=x, y=alt.Y("low:Q", title=y_title), y2="high:Q", color=colour),
        data.mark_point(filled=True, size=80, opacity=1).encode(x=x, y=alt.Y("kla:Q", title=y_title), color=colour, shape=shape),
    ]
    doubtful = [number(flow) for flow, good in zip(flows, sound, strict=True) if not good]
    says = f"Transfer of {len(flows)} runs by air flow, each with its 90 % interval."
    says += f" In doubt: the runs at {', '.join(doubtful)}." if doubtful else " None is in doubt."
    figures = FigureTable(
        columns=(flow_name, "kLa [1/h]", "90 % from", "to", "judged"),
        rows=tuple((row["flow"], row["kla"], row["low"], row["high"], row["kind"]) for row in rows),
    )
    return picture(alt.layer(*layers), title="Transfer by air flow", says=says, figures=figures)


def uptake_curve(track: UptakeTrack, *, name: str) -> Picture:
    """Oxygen uptake rate through a brew, with its band.

    Parameters
    ----------
    track
        From the oxygen log.
    name
        Of the brew.
    """
    import altair as alt

    data = alt.InlineData(values=records_of(h=track.elapsed_h, low=track.low, middle=track.median, high=track.high))
    x_axis = alt.X("h:Q", title="hours since aeration began", scale=alt.Scale(nice=False), axis=alt.Axis(grid=False))
    title = "Oxygen uptake [mg/L/h]"
    layers = [
        alt.Chart(data).mark_area(color="@plum", opacity=0.2).encode(x=x_axis, y=alt.Y("low:Q", title=title), y2="high:Q"),
        alt.Chart(data).mark_line(color="@plum").encode(x=x_axis, y=alt.Y("middle:Q", title=title)),
    ]
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
    return picture(alt.layer(*layers), title=f"Oxygen uptake: {name}", says=says, figures=figures, height_px=230)


def _band(data: alt.InlineData, title: str, colour: str) -> list[Layer]:
    import altair as alt

    x_axis = alt.X("dose:Q", title=_DOSE, scale=alt.Scale(type="log", nice=False), axis=alt.Axis(grid=False, format="~g"))
    return [
        alt.Chart(data).mark_area(color=colour, opacity=0.2).encode(x=x_axis, y=alt.Y("low:Q", title=title), y2="high:Q"),
        alt.Chart(data).mark_line(color=colour).encode(x=x_axis, y=alt.Y("middle:Q", title=title)),
    ]


def _marks(ceiling: float | None, dose: float | None) -> list[Layer]:
    import altair as alt

    layers = []
    for value, words, colour, dash, place in ((ceiling, "ceiling", "@ember", [8, 4], 2), (dose, "your dose", "@ink", [2, 3], 18)):
        if value is not None and value > 0.0:
            here = alt.InlineData(values=[{"dose": value}])
            layers.append(alt.Chart(here).mark_rule(color=colour, strokeDash=dash, strokeWidth=2).encode(x="dose:Q"))
            layers.append(
                alt.Chart(here).mark_text(text=words, align="left", dx=4, baseline="top").encode(x="dose:Q", y=alt.value(place))
            )
    return layers


def _level(value: float, words: str, colour: str = "@ember") -> list[Layer]:
    import altair as alt

    here = alt.InlineData(values=[{"y": value}])
    rule = alt.Chart(here).mark_rule(color=colour, strokeDash=[8, 4], strokeWidth=1.5).encode(y="y:Q")
    text = alt.Chart(here).mark_text(text=words, align="right", dy=-7).encode(x=alt.value("width"), y="y:Q")
    return [rule, text]


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

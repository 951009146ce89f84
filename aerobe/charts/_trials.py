"""Trials: what designs can tell for their cost, and how an outcome bends with the dose."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from aerobe.charts._style import FigureTable, Picture, picture, records_of
from aerobe.trials import GOOD_POWER, Design
from aerobe.units import number, percent
from aerobe.verdicts import BrewResult, DoseAnswer

if TYPE_CHECKING:
    from aerobe.charts._style import Layer


def designs_by_cost(designs: Sequence[Design], recommended: Design | None, *, margin_ratio: float) -> Picture:
    """Chance of telling a difference of the margin, against cost; the recommended design stands out.

    Parameters
    ----------
    designs
        Designs that fit the budget.
    recommended
        The one that was chosen, if there is one.
    margin_ratio
        Difference worth having. [-]
    """
    import altair as alt

    every = sorted({id(d): d for d in (*designs, *([recommended] if recommended else []))}.values(), key=lambda d: d.cost)
    rows = records_of(
        cost=[d.cost for d in every],
        told=[d.power.told for d in every],
        design=[f"{d.brews_per_arm} brews x {d.tests_per_brew} tests" for d in every],
        mark=["recommended" if d is recommended else "other design" for d in every],
    )
    x = alt.X("cost:Q", title="cost in all [money]", scale=alt.Scale(zero=True))
    y = alt.Y("told:Q", title="chance of telling it", scale=alt.Scale(domain=[0, 1]), axis=alt.Axis(format="%"))
    kinds = alt.Scale(domain=["recommended", "other design"], range=["@ember", "@slate"])
    shapes = alt.Scale(domain=["recommended", "other design"], range=["diamond", "circle"])
    points = (
        alt.Chart(alt.InlineData(values=rows))
        .mark_point(filled=True, size=90, opacity=1)
        .encode(
            x=x,
            y=y,
            color=alt.Color("mark:N", scale=kinds, title=None),
            shape=alt.Shape("mark:N", scale=shapes, title=None),
            tooltip=["design:N", "cost:Q", alt.Tooltip("told:Q", format=".0%")],
        )
    )
    line = alt.Chart(alt.InlineData(values=rows)).mark_line(color="@slate", opacity=0.5).encode(x=x, y=y)
    bar = alt.Chart(alt.InlineData(values=[{"told": GOOD_POWER}])).mark_rule(color="@soft", strokeDash=[4, 3]).encode(y="told:Q")
    says = f"Chance that each design tells a difference of {number(margin_ratio)} times; the dashed line is four times in five."
    if recommended is not None:
        says += f" Recommended: {recommended.brews_per_arm} brews of each arm, "
        says += f"{percent(recommended.power.told)}, cost {number(recommended.cost)}."
    figures = FigureTable(
        columns=(
            "brews of each arm",
            "tests of each brew",
            "tests in all",
            "cost [money]",
            "tells the margin",
            "tells sameness",
            "false claims",
            "tells 4 times in 5 a ratio of",
        ),
        rows=tuple(
            (
                d.brews_per_arm,
                d.tests_per_brew,
                d.tests,
                d.cost,
                percent(d.power.told),
                percent(d.power.same_told),
                percent(d.power.false_claims, 1),
                _ratio(d.power.detectable_ratio),
            )
            for d in every
        ),
    )
    return picture(alt.layer(line, points, bar), title="What each design can tell", says=says, figures=figures)


def dose_curve(
    answer: DoseAnswer,
    points: Sequence[tuple[float, BrewResult]],
    *,
    quantity: str,
    unit: str,
    is_ratio: bool,
    dose_unit: str = "g/L",
) -> Picture:
    """The curve through a dose series with its band, the raw brews and the best dose.

    Parameters
    ----------
    answer
        The curve.
    points
        Dose and result of every brew. [dose, unit]
    quantity, unit
        Words for the axis.
    is_ratio
        Whether the curve is on the log scale.
    dose_unit
        Unit of the doses.
    """
    import altair as alt

    def back(values: Sequence[float]) -> list[float]:
        return [math.exp(min(700.0, value)) if is_ratio else value for value in values]

    x = alt.X("dose:Q", title=f"dose [{dose_unit}]")
    y_title = f"{quantity} [{unit}]" if unit else quantity
    scale = alt.Scale(type="log") if is_ratio else alt.Scale(zero=False)
    rows = records_of(dose=answer.doses, middle=back(answer.fitted), low=back(answer.low), high=back(answer.high))
    curve = alt.Chart(alt.InlineData(values=rows))
    layers: list[Layer] = [
        curve.mark_area(color="@leaf", opacity=0.2).encode(x=x, y=alt.Y("low:Q", title=y_title, scale=scale), y2="high:Q"),
        curve.mark_line(color="@leaf").encode(x=x, y=alt.Y("middle:Q", title=y_title, scale=scale)),
    ]
    if answer.best_low is not None and answer.best_high is not None:
        band = alt.InlineData(values=[{"low": answer.best_low, "high": answer.best_high}])
        layers.insert(0, alt.Chart(band).mark_rect(color="@window", opacity=0.25).encode(x="low:Q", x2="high:Q"))
    raw = records_of(dose=[dose for dose, _ in points], value=[r.value for _, r in points], brew=[r.brew for _, r in points])
    layers.append(
        alt.Chart(alt.InlineData(values=raw))
        .mark_point(filled=True, size=70, color="@ember", opacity=1)
        .encode(x=x, y=alt.Y("value:Q", title=y_title, scale=scale), tooltip=["brew:N", "dose:Q", "value:Q"])
    )
    says = f"{quantity} by dose, every brew a point. {answer.because} {best_dose_words(answer, dose_unit)}"
    figures = FigureTable(
        columns=("brew", f"dose [{dose_unit}]", y_title),
        rows=tuple((r.brew, dose, r.value) for dose, r in points),
        caption=best_dose_words(answer, dose_unit),
    )
    return picture(alt.layer(*layers), title=f"{quantity} by dose", says=says.strip(), figures=figures)


def best_dose_words(answer: DoseAnswer, dose_unit: str = "g/L") -> str:
    """`Best dose 1.2 g/L (0.8 to 1.9, 90 %).`"""
    if answer.best is None:
        return "No best dose can be told."
    if answer.best_low is None or answer.best_high is None:
        return f"Best of the doses tested: {number(answer.best)} {dose_unit}."
    return f"Best dose {number(answer.best)} {dose_unit} ({number(answer.best_low)} to {number(answer.best_high)}, 90 %)."


def _ratio(value: float) -> float | str:
    return value if math.isfinite(value) else "none"

"""Trials: what designs can tell for their cost, and how an outcome bends with the dose."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from aerobe.charts._plot import Axis, Chart, CourseLine, FilledBand, Follow, Key, Mark, PointMarks, Rule, Span
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import amount, number, percent, ratio_of

if TYPE_CHECKING:
    from aerobe.trials import Design
    from aerobe.verdicts import BrewResult, DoseAnswer


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
    from aerobe.trials import GOOD_POWER

    every = sorted({id(d): d for d in (*designs, *([recommended] if recommended else []))}.values(), key=lambda d: d.cost)
    plot = Chart(
        x=Axis(title="cost in all [money]", from_zero=True),
        y=Axis(title="Chance of telling it", low=0.0, high=1.0, is_share=True),
        marks=(
            CourseLine(x=[d.cost for d in every], y=[d.power.told for d in every], colour="slate", opacity=0.5),
            Rule(at=GOOD_POWER, along="y", dash=(4, 3)),
            _design_points([d for d in every if d is not recommended], "slate", "circle"),
            _design_points([] if recommended is None else [recommended], "ember", "diamond"),
        ),
        keys=(
            Key(name="recommended", colour="ember", shape="diamond"),
            Key(name="other design", colour="slate", shape="circle"),
        ),
    )
    says = f"Chance that each design tells a difference of {number(margin_ratio)} times; the dashed line is four times in five."
    if recommended is not None:
        says += f" Recommended: {recommended.brews_per_arm} brews of each arm, "
        says += f"{percent(recommended.power.told)}, cost {amount(recommended.cost)}."
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
    return Picture(title="What each design can tell", says=says, figures=figures, plot=plot)


def _design_points(designs: Sequence[Design], colour: str, shape: str) -> PointMarks:
    words = tuple(f"{d.brews_per_arm} brews x {d.tests_per_brew} tests: {percent(d.power.told)}" for d in designs)
    return PointMarks(
        x=[d.cost for d in designs], y=[d.power.told for d in designs], colour=colour, shape=shape, radius=5.5, words=words
    )


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

    def back(values: Sequence[float]) -> list[float]:
        return [ratio_of(value) if is_ratio else value for value in values]

    y_title = f"{quantity} [{unit}]" if unit else quantity
    low, middle, high = back(answer.low), back(answer.fitted), back(answer.high)
    marks: list[Mark] = []
    if answer.best_low is not None and answer.best_high is not None:
        marks.append(Span(low=answer.best_low, high=answer.best_high, opacity=0.25, words="best dose"))
    marks += [
        FilledBand(x=answer.doses, low=low, high=high, colour="leaf"),
        CourseLine(x=answer.doses, y=middle, colour="leaf"),
        PointMarks(
            x=[dose for dose, _ in points],
            y=[r.value for _, r in points],
            colour="ember",
            words=tuple(f"{r.brew}: {number(r.value)} {unit}" for _, r in points),
        ),
    ]
    plot = Chart(
        x=Axis(title=f"dose [{dose_unit}]"),
        y=Axis(title=y_title, kind="log" if is_ratio else "linear"),
        marks=tuple(marks),
        keys=(Key(name="curve with its band", colour="leaf", dash=()), Key(name="brew", colour="ember", shape="circle")),
        follows=(Follow(name=quantity, unit=unit, x=answer.doses, middle=middle, low=low, high=high),),
    )
    says = f"{quantity} by dose, every brew a point. {answer.because} {best_dose_words(answer, dose_unit)}"
    figures = FigureTable(
        columns=("brew", f"dose [{dose_unit}]", y_title),
        rows=tuple((r.brew, dose, r.value) for dose, r in points),
        caption=best_dose_words(answer, dose_unit),
    )
    return Picture(title=f"{quantity} by dose", says=says.strip(), figures=figures, plot=plot)


def best_dose_words(answer: DoseAnswer, dose_unit: str = "g/L") -> str:
    """`Best dose 1.2 g/L (0.8 to 1.9, 90 %).`"""
    if answer.best is None:
        return "No best dose can be told."
    if answer.best_low is None or answer.best_high is None:
        return f"Best of the doses tested: {number(answer.best)} {dose_unit}."
    return f"Best dose {number(answer.best)} {dose_unit} ({number(answer.best_low)} to {number(answer.best_high)}, 90 %)."


def _ratio(value: float) -> float | str:
    return value if math.isfinite(value) else "none"

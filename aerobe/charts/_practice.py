"""The true course of a practice brew with what a learner saw of it."""

from __future__ import annotations

from collections.abc import Sequence

from aerobe.charts._plot import Axis, Chart, CourseLine, Key, Mark, PointMarks, Rule
from aerobe.charts._style import FigureTable, Picture


def practice_course(
    hours: Sequence[float],
    biomass: Sequence[float],
    tests: Sequence[tuple[float, float]],
    *,
    harvested_h: float,
    clock_h: float,
    says: str,
) -> Picture:
    """Living biomass of a simulated brew over time, the tests as they were shown, the harvest and a clock's.

    Parameters
    ----------
    hours, biomass
        The true course, shape (times,). [h, ug C/mL]
    tests
        Hour and what was shown, colour and all. [h, ug C/mL]
    harvested_h, clock_h
        When it was harvested, and when a clock would have. [h]
    says
        Its sentence.
    """
    marks: list[Mark] = [
        CourseLine(x=list(hours), y=list(biomass), colour="leaf"),
        Rule(at=clock_h, along="x", dash=(4, 3)),
        Rule(at=harvested_h, along="x", colour="ember", width=2.5, words="harvest", is_flagged=True),
    ]
    if tests:
        marks.append(PointMarks(x=[hour for hour, _ in tests], y=[value for _, value in tests], colour="ember"))
    keys = [Key(name="true living biomass", colour="leaf", dash=())]
    keys += [Key(name="a clock", colour="soft", dash=(4, 3))]
    keys += [Key(name="a test, colour and all", colour="ember", shape="circle")] if tests else []
    step = max(1, len(hours) // 12)
    table = FigureTable(
        columns=("hour", "living biomass [ug C/mL]"),
        rows=tuple(zip(hours[::step], biomass[::step], strict=True)),
        caption="PRACTICE",
    )
    plot = Chart(
        x=Axis(title="hours since the air went on", low=0.0, high=float(max(hours))),
        y=Axis(title="ug C/mL", from_zero=True),
        marks=tuple(marks),
        keys=tuple(keys),
    )
    return Picture(title="PRACTICE: what the brew truly was", says=says, figures=table, plot=plot)

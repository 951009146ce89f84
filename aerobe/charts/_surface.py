"""A surface of factors: what each factor does with the others where they are best, every brew a point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from aerobe.charts._plot import Axis, Chart, CourseLine, Key, Mark, PointMarks, Span
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number, ratio_of

if TYPE_CHECKING:
    from aerobe.verdicts import BrewResult, Outcome, SurfaceAnswer

STEPS = 41


def surface_profiles(
    answer: SurfaceAnswer, results: Sequence[BrewResult], levels: Mapping[str, Mapping[str, float]], kind: Outcome
) -> tuple[Picture, ...]:
    """A picture for each factor: brews by its level, and the surface along it with the other factors at their best.

    Parameters
    ----------
    answer
        The surface; one that is flat or not settled gets no line.
    results
        Of every brew. [outcome's unit]
    levels
        Level of each factor at each point, by the point's key. [any]
    kind
        What is judged.
    """
    natural = np.array([[levels[result.arm][name] for name in answer.factors] for result in results])
    values = [result.value for result in results]
    return tuple(_profile(answer, place, natural, values, results, kind) for place in range(len(answer.factors)))


def _profile(
    answer: SurfaceAnswer,
    place: int,
    natural: np.ndarray,
    values: Sequence[float],
    results: Sequence[BrewResult],
    kind: Outcome,
) -> Picture:
    name, quantity = answer.factors[place], kind.label.capitalize()
    title = f"{quantity} [{kind.unit}]" if kind.unit else quantity
    told = answer.kind in ("peak", "at the edge")
    marks: list[Mark] = []
    if told:
        marks.append(Span(low=answer.best_low[place], high=answer.best_high[place], opacity=0.25, words="best level"))
        along = np.tile(np.array(answer.best), (STEPS, 1))
        along[:, place] = np.linspace(natural[:, place].min(), natural[:, place].max(), STEPS)
        marks.append(CourseLine(x=along[:, place].tolist(), y=_shown(answer, natural, values, along, kind), colour="leaf"))
    words = tuple(f"{r.brew} ({r.arm}): {number(r.value)} {kind.unit}".strip() for r in results)
    marks.append(PointMarks(x=natural[:, place].tolist(), y=list(values), colour="ember", words=words))
    keys = (Key(name="the surface, other factors at their best", colour="leaf", dash=()),) if told else ()
    says = f"{quantity} by {name}, every brew a point."
    if told:
        says += f" The line is the surface with the other factors at their best: {name} {number(answer.best[place])} "
        says += f"({number(answer.best_low[place])} to {number(answer.best_high[place])})."
    return Picture(
        title=f"{quantity} by {name}",
        says=says,
        figures=FigureTable(
            columns=("brew", "point", name, title),
            rows=tuple((r.brew, r.arm, float(at), r.value) for r, at in zip(results, natural[:, place], strict=True)),
        ),
        plot=Chart(
            x=Axis(title=name),
            y=Axis(title=title, kind="log" if kind.is_ratio else "linear"),
            marks=tuple(marks),
            keys=(*keys, Key(name="brew", colour="ember", shape="circle")),
        ),
    )


def _shown(answer: SurfaceAnswer, natural: np.ndarray, values: Sequence[float], along: np.ndarray, kind: Outcome) -> list[float]:
    """Heights of the surface in the outcome's unit, in the middle of the rounds."""
    from aerobe.verdicts import heights_of  # it loads what no first page needs

    sign = -1.0 if kind.better == "lower" else 1.0
    seen = np.log(values) if kind.is_ratio else np.array(values)
    middle = float(np.median(seen - sign * heights_of(answer, natural)))
    found = middle + sign * heights_of(answer, along)
    return [ratio_of(one) if kind.is_ratio else float(one) for one in found]

"""What other people's trials add to the report of one's own."""

from __future__ import annotations

from collections.abc import Sequence

from aerobe.charts import FigureTable, weighed_pictures
from aerobe.evidence import Weighed, notes_of
from aerobe.reports._blocks import Block, Grid, PointList, Shown, Words

POOL_SOURCES = (
    "viechtbauer-2010",
    "hartung-knapp-2001",
    "rover-knapp-friede-2015",
    "viechtbauer-2007",
    "higgins-thompson-2002",
    "vevea-hedges-1995",
    "nagashima-noma-furukawa-2019",
)


def pooled_blocks(weighed: Sequence[Weighed]) -> tuple[Block, ...]:
    """The pooled view of each pair of recipes: the answer, every trial, and what weakens them."""
    blocks: list[Block] = []
    for one in weighed:
        blocks.append(Words(text=one.says))
        blocks += [Shown(picture=picture, with_figures=True) for picture in weighed_pictures(one)[:1]]
        notes = notes_of(one)
        if notes:
            blocks.append(PointList(items=notes))
        rows = tuple((flag.trial, flag.words) for flag in one.flags if flag.severity != "note")
        if rows:
            blocks.append(Grid(table=FigureTable(columns=("trial", "what weakens it"), rows=rows)))
    return tuple(blocks)


def pooled_numbers(weighed: Sequence[Weighed]) -> dict[str, float | str | None]:
    """The numbers of the pooled view that a re-run must find."""
    found: dict[str, float | str | None] = {}
    for one in weighed:
        name = f"pool {one.recipe} against {one.against}"
        found[f"{name}: answer"] = one.answer
        if one.pooled is not None:
            for part in ("estimate", "low", "high", "tau2"):
                found[f"{name}: {part}"] = float(f"{getattr(one.pooled, part):.6g}")
        for part, end in zip(("prediction low", "prediction high"), one.next_trial or (), strict=False):
            found[f"{name}: {part}"] = float(f"{end:.6g}")
    return found

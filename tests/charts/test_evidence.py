"""Ratios, funnels and raw points: what is drawn is what the table says."""

from __future__ import annotations

import math

import pytest
from pytest import approx

from aerobe.charts import RatioRow, arm_points, forest, funnel, weighed_pictures
from aerobe.charts._plot import PointMarks
from aerobe.charts._scale import ends
from aerobe.evidence import TrialContrast, weigh


def trials(count: int) -> list[TrialContrast]:
    return [
        TrialContrast(
            key=f"trial-{i}",
            recipe="kelp",
            against="plain",
            effect=0.3 + 0.05 * i,
            variance=0.02 + 0.01 * i,
            brews=4,
            brews_against=4,
        )
        for i in range(count)
    ]


def test_a_chart_of_ratios_lists_every_trial_and_the_pool() -> None:
    shown = weighed_pictures(weigh(trials(4), "kelp", "plain"))
    assert len(shown) == 2
    rows = shown[0].figures.rows
    assert len(rows) == 5 and rows[-1][0] == "all together"
    assert sum(row[4] for row in rows[:-1]) == approx(100.0)
    assert rows[0][1] == approx(math.exp(0.3))
    assert shown[0].svg() == shown[0].svg()


def test_one_trial_is_shown_without_a_pool() -> None:
    shown = weighed_pictures(weigh(trials(1), "kelp", "plain"))
    assert len(shown) == 1 and len(shown[0].figures.rows) == 1


def test_one_wild_interval_does_not_squeeze_the_others() -> None:
    shown = forest(
        [RatioRow(label="a", ratio=1.2, low=1.0, high=1.4), RatioRow(label="wild", ratio=1.1, low=1e-9, high=1e9)],
        title="t",
        says="s",
    )
    low, high = ends(shown.plot.with_ends().x)
    assert low > 1e-3 and high < 1e3
    assert shown.figures.rows[1][2] == 1e-9  # the table keeps the whole truth
    assert "Cut at the edge of the chart (arrow), whole in the table: wild." in shown.says
    shapes = [mark.shape for mark in shown.plot.marks if isinstance(mark, PointMarks)]
    assert "triangle-left" in shapes and "triangle-right" in shapes


def test_nothing_to_draw_is_said() -> None:
    with pytest.raises(ValueError, match="no ratio"):
        forest([RatioRow(label="a", ratio=None)], title="t", says="s")


def test_a_funnel_counts_what_lies_outside() -> None:
    shown = funnel([0.0, 0.1, 2.0], [0.1, 0.1, 0.1], ["a", "b", "c"], pooled=0.0)
    assert "1 lie outside" in shown.says


def test_every_brew_is_a_point_and_the_middle_is_geometric() -> None:
    shown = arm_points(
        ["x", "x", "y"], [10.0, 1000.0, 50.0], ["d1", "d2", ""], ["b1", "b2", "b3"], quantity="Biomass", unit="ug C/mL"
    )
    assert len(shown.figures.rows) == 3
    assert "x 100 ug C/mL in the middle of 2" in shown.says


def test_long_names_are_broken_into_lines_and_not_cut_off() -> None:
    arms = ["control", "kelp-exudate", "kelp-exudate-nitrate-phosphate", "glucose-nitrate-phosphate"]
    points = arm_points(arms, [1.0, 2.0, 3.0, 4.0], [""] * 4, list("abcd"), quantity="Count", unit="/mL")
    rows = [RatioRow(label=f"{arm} against control", ratio=1.0, low=0.5, high=2.0) for arm in arms[1:]]
    for shown in (points, forest(rows, title="t", says="s")):
        drawn = shown.svg(width_px=640)
        assert "\u2026" not in drawn and "nitrate-" in drawn and "phosphate" in drawn
        assert any("kelp-exudate-nitrate-phosphate" in str(row) for row in shown.figures.rows)


def test_large_counts_are_written_short_on_the_axis() -> None:
    for value, shown in ((2e6, ">2M<"), (2e10, ">2e+10<")):
        counts = arm_points(["x", "y"], [value, value / 1.5], ["", ""], ["a", "b"], quantity="Count", unit="/mL")
        assert shown in counts.svg()
    assert ">200<" in arm_points(["x", "y"], [200.0, 150.0], ["", ""], ["a", "b"], quantity="B", unit="ug C/mL").svg()

"""Brews on one chart: what is drawn is what was read, limits are no values, and brews can be told apart."""

from __future__ import annotations

import pytest

from aerobe.charts import OverlaidBrew, RawPoint, oxygen_overlaid, readings_overlaid
from aerobe.charts._plot import CourseLine, PointMarks


def read(name: str, *pairs: tuple[float, float], kind: str = "in the fit") -> OverlaidBrew:
    return OverlaidBrew(name=name, points=tuple(RawPoint(elapsed_h=hour, value=value, kind=kind) for hour, value in pairs))


def test_courses_go_through_the_middle_of_repeats_and_every_reading_is_shown() -> None:
    shown = readings_overlaid([read("A", (0.0, 10.0), (16.0, 40.0), (16.0, 44.0), (24.0, 30.0)), read("B", (2.0, 5.0))])
    lines = [mark for mark in shown.plot.marks if isinstance(mark, CourseLine)]
    assert list(lines[0].x) == [0.0, 16.0, 24.0] and list(lines[0].y) == [10.0, 42.0, 30.0]
    assert sum(len(mark.x) for mark in shown.plot.marks if isinstance(mark, PointMarks)) == 5
    assert "A 42.0 ug C/mL at 16.0 h; B 5.00 ug C/mL at 2.00 h" in shown.says
    assert [row[0] for row in shown.figures.rows] == ["A", "B"]
    assert [item.name for item in shown.plot.follows] == ["A", "B"]


def test_a_limit_is_no_value() -> None:
    under = read("A", (0.0, 3.0), kind="below detection")
    shown = readings_overlaid([under])
    assert not any(isinstance(mark, CourseLine) for mark in shown.plot.marks) and not shown.plot.follows
    assert "A no value, limits only" in shown.says and "Hollow marks are limits" in shown.says
    assert [mark.is_filled for mark in shown.plot.marks if isinstance(mark, PointMarks)] == [False]


def test_no_two_brews_look_alike_and_more_than_six_are_refused() -> None:
    shown = readings_overlaid([read(name, (0.0, 1.0), (5.0, 2.0)) for name in "ABCDEF"])
    looks = {(mark.colour, mark.dash) for mark in shown.plot.marks if isinstance(mark, CourseLine)}
    shapes = {mark.shape for mark in shown.plot.marks if isinstance(mark, PointMarks)}
    assert len(looks) == len(shapes) == 6
    with pytest.raises(ValueError, match="at most 6"):
        readings_overlaid([read(name, (0.0, 1.0)) for name in "ABCDEFG"])


def test_oxygen_is_drawn_as_logged() -> None:
    one = OverlaidBrew(name="A", logged_h=(0.0, 1.0, 2.0), logged_mg_per_l=(8.0, 4.0, 6.0))
    shown = oxygen_overlaid([one, OverlaidBrew(name="B")])
    assert "Lowest: A 4.00 mg/L at 1.00 h." in shown.says
    assert len(shown.figures.rows) == 1
    with pytest.raises(ValueError, match="needs a log"):
        oxygen_overlaid([OverlaidBrew(name="B")])

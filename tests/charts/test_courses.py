"""Courses and past calls: what is drawn is what was read and called."""

from __future__ import annotations

from aerobe.charts import Course, PastCall, calls_replayed, courses_by_arm
from aerobe.charts._plot import CourseLine


def test_every_brew_keeps_its_readings_and_arms_can_be_told_apart() -> None:
    courses = [
        Course(brew="a", arm="plain", hours=(0.0, 16.0, 28.0), values=(1e6, 4e6, 3e6)),
        Course(brew="b", arm="plain", hours=(0.0, 16.0, 28.0), values=(1e6, 2e6, 3e6)),
        Course(brew="c", arm="kelp", hours=(0.0, 28.0), values=(1e6, 5e6)),
    ]
    shown = courses_by_arm(courses, quantity="Cells", unit="/mL")
    assert [row[3] for row in shown.figures.rows] == [16.0, 28.0, 28.0]
    assert "plain at 16.0 h and 28.0 h; kelp at 28.0 h" in shown.says
    dashes = [mark.dash for mark in shown.plot.marks if isinstance(mark, CourseLine)]
    assert len(dashes) == 3 and dashes[0] == dashes[1] != dashes[2]
    drawn = shown.svg()
    assert all(drawn.count(f">{arm}<") == 1 for arm in ("plain", "kelp"))  # each arm once in the legend
    assert shown.svg() == shown.svg()


def test_past_calls_are_held_against_the_highest_reading() -> None:
    calls = [
        PastCall(asked_h=0.0, call="test at", from_h=14.0, to_h=20.0, best_h=17.0),
        PastCall(asked_h=16.0, call="harvest now", from_h=16.0, to_h=19.0, best_h=16.0),
    ]
    shown = calls_replayed(calls, highest_h=16.0, between_h=(0.0, 28.0), name="A")
    assert "first said at 16.0 h" in shown.says and "between 0 and 28.0 h" in shown.says
    assert [row[1] for row in shown.figures.rows] == ["test at", "harvest now"]
    assert "never said" in calls_replayed(calls[:1], highest_h=16.0, between_h=(0.0, 28.0), name="A").says

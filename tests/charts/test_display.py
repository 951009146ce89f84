"""A chart in display units: axis, marks, words and figures change together."""

from __future__ import annotations

import re

from aerobe.charts import Expected, oxygen_curve
from aerobe.units import DisplayUnits

PERCENT = DisplayUnits(oxygen="%", full_mg_per_l=10.0, decimal=",")


def test_an_oxygen_chart_mixes_no_two_units() -> None:
    house = oxygen_curve(
        logged_h=[0.0, 1.0, 2.0],
        logged_mg_per_l=[8.0, 6.0, 5.0],
        forecast=Expected(elapsed_h=[2.0, 3.0], low=[4.0, 3.0], middle=[5.0, 4.0], high=[6.0, 5.0]),
        floor_mg_per_l=2.0,
        name="drum",
    )
    shown = house.in_units(PERCENT)
    assert shown.plot.y.title == "% of saturation" and house.plot.y.title == "mg/L"
    assert [follow.unit for follow in shown.plot.follows] == ["% of saturation"] * len(shown.plot.follows)
    written = shown.svg() + shown.says + shown.figures.as_text() + shown.readout()
    assert "mg/L" not in written and "last 50,0 % of saturation" in shown.says
    floor = next(words for words in re.findall(r">([^<]*floor[^<]*)<", shown.svg()))
    assert floor.endswith(" 20") and "floor 2.00<" in house.svg()
    assert "lowest near 3.00 h, at 4.00 mg/L, its 90 % band reaches down to 3.00 mg/L" in house.says
    assert shown.in_units(PERCENT) == shown
    assert house.in_units(DisplayUnits()) == house

"""The look holds its promises: readable, tellable apart, one chart for page and report, figures beside."""

from __future__ import annotations

import json

import numpy as np
import pytest

from aerobe.charts import COLOURS, FigureTable, RawPoint, Window, brew_curve, config, oxygen_curve, picture, series_scales
from aerobe.charts._style import SERIES

# Machado, Oliveira & Fernandes 2009, IEEE TVCG 15:1291, table 1, severity 1.0 (matrices from memory; rows sum to 1, tested).
BLINDNESS = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of linear sRGB."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ np.clip(rgb, 0, 1)
    ratio = xyz / np.array([0.9505, 1.0, 1.089])
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


@pytest.mark.parametrize("look", ["light", "dark"])
def test_text_and_marks_stand_out_from_their_paper(look: str) -> None:
    shade = COLOURS[look]
    assert contrast(shade["ink"], shade["paper"]) >= 7.0  # WCAG 2.2 success criterion 1.4.6
    assert contrast(shade["soft"], shade["paper"]) >= 4.5  # 1.4.3
    for name in SERIES:
        assert contrast(shade[name], shade["paper"]) >= 3.0, name  # 1.4.11, graphics


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("kind", ["none", *BLINDNESS])
def test_the_first_three_series_can_be_told_apart_by_everyone(look: str, kind: str) -> None:
    matrix = np.array(BLINDNESS.get(kind, np.eye(3)))
    assert np.allclose(matrix.sum(axis=1), 1.0, atol=1e-5)
    seen = [lab(matrix @ linear(COLOURS[look][name])) for name in SERIES[:3]]
    gaps = [np.linalg.norm(a - b) for i, a in enumerate(seen) for b in seen[:i]]
    assert min(gaps) >= 20.0


def test_every_series_also_has_its_own_shape_and_dash() -> None:
    scales = series_scales(["a", "b", "c", "d", "e", "f"])
    assert len(set(scales["shape"]["range"])) == 6
    assert len({tuple(dash) for dash in scales["dash"]["range"]}) == 6
    with pytest.raises(ValueError, match="told apart"):
        series_scales(list("abcdefg"))


def a_curve() -> dict[str, object]:
    hours = np.linspace(0.0, 48.0, 49)
    middle = 40 + 160 * np.exp(-(((hours - 18) / 9) ** 2))
    return {"elapsed_h": hours, "low": 0.75 * middle, "middle": middle, "high": 1.3 * middle}


POINTS = (RawPoint(elapsed_h=12.0, value=130.0, low=100.0, high=170.0), RawPoint(elapsed_h=16.0, value=31.5, kind="control"))


def test_a_brew_chart_says_its_numbers_in_words_and_table() -> None:
    shown = brew_curve(**a_curve(), points=POINTS, window=Window(from_h=15.0, to_h=19.0, best_h=17.0), name="tank 2")
    assert "highest near 18.0 h at 200 ug C/mL" in shown.says
    assert "Harvest window 15.0 to 19.0 h, best 17.0 h." in shown.says
    assert "1 reading in the fit, 1 shown" in shown.says
    assert "31.5" in shown.figures.as_text()
    assert shown.spec["description"] == shown.says


def test_a_brew_without_readings_is_called_a_forecast() -> None:
    assert "forecast from the recipe alone" in brew_curve(**a_curve()).says


def test_page_and_report_share_one_spec_and_no_colour_name_survives_in_a_report() -> None:
    shown = brew_curve(**a_curve(), points=POINTS)
    page = shown.for_page()
    assert page["spec"]["width"] == "container"
    assert set(page["looks"]) == {"light", "dark"}
    assert '"@leaf"' in json.dumps(page["spec"])
    for look in ("light", "dark"):
        assert '"@' not in json.dumps(shown.spec_in(look))
    assert COLOURS["dark"]["leaf"] in json.dumps(shown.spec_in("dark"))


def test_the_same_chart_gives_the_same_bytes_and_holds_its_labels() -> None:
    shown = oxygen_curve(
        logged_h=[0.0, 1.0, 2.0],
        logged_mg_per_l=[8.0, 7.0, 5.0],
        forecast_h=[2.0, 3.0],
        low_mg_per_l=[4.0, 1.5],
        middle_mg_per_l=[5.0, 4.0],
        high_mg_per_l=[6.0, 6.0],
        floor_mg_per_l=2.0,
    )
    assert shown.svg() == shown.svg()
    assert "floor 2.00" in shown.svg()
    assert "which the band reaches" in shown.says
    assert shown.png(scale=1.0)[:8] == b"\x89PNG\r\n\x1a\n"


def test_numbers_that_are_not_finite_do_not_break_a_chart() -> None:
    curve = a_curve()
    curve["high"] = np.where(np.arange(49) == 3, np.inf, curve["high"])
    shown = brew_curve(**curve)
    assert "Infinity" not in json.dumps(shown.spec)
    assert shown.svg()


def test_a_missing_figure_is_a_dash_and_text_stays_text() -> None:
    table = FigureTable(columns=("what", "value [h]"), rows=(("<b>x</b>", None), ("y", 2.0)), caption="Two rows")
    assert table.cells() == [["<b>x</b>", "\u2013"], ["y", "2.00"]]
    assert table.as_text().startswith("Two rows\nwhat")


def test_labels_are_large_enough_for_a_phone() -> None:
    assert config("light")["axis"]["labelFontSize"] >= 13


def test_any_altair_chart_becomes_a_picture() -> None:
    import altair as alt

    chart = alt.Chart(alt.InlineData(values=[{"x": 1, "y": 2}])).mark_point(color="@plum").encode(x="x:Q", y="y:Q")
    shown = picture(chart, title="t", says="one point", figures=FigureTable(columns=("x",), rows=((1.0,),)))
    assert COLOURS["light"]["plum"] in shown.svg()

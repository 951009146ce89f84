"""The look holds its promises: readable, tellable apart, one chart for page and report, figures beside."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pytest import approx

import aerobe.web
from aerobe.charts import COLOURS, Expected, FigureTable, HarvestSpan, Moments, RawPoint, brew_curve, oxygen_curve
from aerobe.charts._look import SERIES, series_looks
from aerobe.charts._plot import Axis, Chart, PointMarks
from aerobe.charts._scale import clock_ticks, share, ticks
from aerobe.charts._sheet import LETTER_PX

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
    looks = list(series_looks(["a", "b", "c", "d", "e", "f"]).values())
    assert len({look.shape for look in looks}) == 6
    assert len({look.dash for look in looks}) == 6
    with pytest.raises(ValueError, match="told apart"):
        series_looks(list("abcdefg"))


def a_curve() -> Expected:
    hours = np.linspace(0.0, 48.0, 49)
    middle = 40 + 160 * np.exp(-(((hours - 18) / 9) ** 2))
    return Expected(elapsed_h=hours, low=0.75 * middle, middle=middle, high=1.3 * middle)


POINTS = (RawPoint(elapsed_h=12.0, value=130.0, low=100.0, high=170.0), RawPoint(elapsed_h=16.0, value=31.5, kind="control"))


def test_a_brew_chart_says_its_numbers_in_words_and_table() -> None:
    shown = brew_curve(
        a_curve(), points=POINTS, moments=Moments(window=HarvestSpan(from_h=15.0, to_h=19.0, best_h=17.0)), name="tank 2"
    )
    assert "highest near 18.0 h at 200 ug C/mL" in shown.says
    assert "Harvest window 15.0 to 19.0 h, best 17.0 h." in shown.says
    assert "1 reading in the fit, 1 shown" in shown.says
    assert "31.5" in shown.figures.as_text()
    assert f'aria-label="{shown.says}"' in shown.svg()


def test_a_brew_without_readings_is_called_a_forecast() -> None:
    assert "forecast from the recipe alone" in brew_curve(a_curve()).says


def test_the_pages_have_the_colours_of_the_charts() -> None:
    style = (Path(aerobe.web.__file__).parent / "static" / "app.css").read_text(encoding="utf-8")
    light, dark = style.split(":root {")[1].split("}")[0], style.split(':root[data-look="dark"] {')[1].split("}")[0]
    for block, look in ((light, "light"), (dark, "dark")):
        for name, shade in COLOURS[look].items():
            assert f"--{name}: {shade};" in block, (look, name)


def test_a_chart_on_a_page_takes_its_shades_from_the_page_and_on_paper_has_its_own() -> None:
    shown = brew_curve(a_curve(), points=POINTS)
    page = shown.for_page()
    assert "var(--leaf)" in page and "#" not in page
    for look in ("light", "dark"):
        drawn = shown.svg(look)
        assert "var(" not in drawn and COLOURS[look]["leaf"] in drawn
        assert parse(drawn) is not None
    assert len(page.encode()) < 16_000  # a chart weighs less than a small photo


def parse(drawn: str) -> ElementTree.Element:
    return ElementTree.fromstring(drawn)


def test_a_picture_alone_has_the_size_it_was_asked_for_and_says_itself() -> None:
    shown = brew_curve(a_curve(), points=POINTS, name="tank <2>")
    root = parse(shown.svg(width_px=1920, height_px=1080, is_alone=True))
    assert (root.get("width"), root.get("height")) == ("1920", "1080")
    _, _, wide, high = map(float, root.get("viewBox", "").split())
    assert wide / high == approx(1920 / 1080, rel=1e-3)
    words = " ".join(text for text in root.itertext())
    assert shown.title in words and "highest near 18.0 h" in words
    marked = [float(text.get("y", "0")) for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert max(marked) < high


def test_time_is_shown_by_the_clock_with_the_hours_beside_it() -> None:
    zone = timezone(timedelta(hours=2))
    shown = brew_curve(
        a_curve(),
        moments=Moments(now_h=14.0, begin=datetime(2026, 5, 1, 8, 20, tzinfo=zone), window=HarvestSpan(from_h=15.0, to_h=19.0)),
    )
    page = shown.for_page()
    for words in (">Sat 2<", ">Sun 3<", ">12:00<", ">0 h<", ">24 h<", ">now 22:20<", ">harvest window<"):
        assert words in page, words
    assert ">12:00<" not in brew_curve(a_curve(), moments=Moments(now_h=14.0)).for_page()


@pytest.mark.parametrize(("reach", "step_h"), [(2.0, 0.5), (12.0, 3.0), (48.0, 12.0), (100.0, 24.0), (900.0, 336.0)])
def test_clock_ticks_are_few_and_stand_at_round_times(reach: float, step_h: float) -> None:
    begin = datetime(2026, 3, 28, 17, 43, tzinfo=ZoneInfo("Europe/Berlin"))  # the clocks change that night
    clock, hours = clock_ticks(Axis(low=0.0, high=reach, begin=begin), few=5, many=12)
    coarse = [tick for tick in clock if not tick.is_wide]
    assert 1 <= len(coarse) <= 6 and len(clock) <= 13
    for tick in clock:
        moment = (begin.astimezone(UTC) + timedelta(hours=tick.at)).astimezone(begin.tzinfo)
        assert tick.says in (f"{moment:%H:%M}", f"{moment:%a} {moment.day}")
        assert moment.minute % 15 == 0
    gaps = {round(b.at - a.at, 6) for a, b in itertools.pairwise(coarse)}
    assert all(abs(gap - step_h) <= 1.0 for gap in gaps)  # an hour is lost or won in the night of the change
    assert [tick.at for tick in hours if not tick.is_wide][:2] == [0.0, step_h]


def test_the_read_out_has_every_value_of_the_course_at_its_place() -> None:
    told = json.loads(brew_curve(a_curve(), moments=Moments(begin=datetime(2026, 5, 1, 8, 20, tzinfo=UTC))).readout())
    course = told["follows"][0]
    assert told["begin"] == "2026-05-01T08:20:00+00:00"
    assert course["at"][0] == 0.0 and course["at"][-1] == 1.0 and course["x"][18] == 18.0
    assert (course["middle"][18], course["low"][18], course["high"][18]) == (200.0, 150.0, 260.0)


def test_words_of_a_notebook_are_never_markup_in_a_drawing() -> None:
    points = [RawPoint(elapsed_h=1.0, value=2.0)]
    shown = brew_curve(a_curve(), points=points, quantity="<script>x</script>", unit="<b>", name='"><img src=x>')
    for drawn in (shown.for_page(), shown.svg(is_alone=True)):
        assert "<script" not in drawn and "<b>" not in drawn and "<img" not in drawn


def test_the_same_chart_gives_the_same_bytes_and_holds_its_labels() -> None:
    shown = oxygen_curve(
        logged_h=[0.0, 1.0, 2.0],
        logged_mg_per_l=[8.0, 7.0, 5.0],
        forecast=Expected(elapsed_h=[2.0, 3.0], low=[4.0, 1.5], middle=[5.0, 4.0], high=[6.0, 6.0]),
        floor_mg_per_l=2.0,
    )
    assert shown.svg() == shown.svg()
    assert "floor 2.00" in shown.svg()
    assert "which the band reaches" in shown.says
    assert shown.png(scale=1.0)[:8] == b"\x89PNG\r\n\x1a\n"


def test_numbers_that_are_not_finite_do_not_break_a_chart() -> None:
    curve = a_curve()
    curve = replace(curve, high=np.where(np.arange(49) == 3, np.inf, curve.high))
    shown = brew_curve(curve)
    assert "inf" not in shown.readout() and "nan" not in shown.for_page()
    assert parse(shown.svg()) is not None


def test_a_missing_figure_is_a_dash_and_text_stays_text() -> None:
    table = FigureTable(columns=("what", "value [h]"), rows=(("<b>x</b>", None), ("y", 2.0)), caption="Two rows")
    assert table.cells() == [["<b>x</b>", "\u2013"], ["y", "2.00"]]
    assert table.as_text().startswith("Two rows\nwhat")


def test_labels_are_large_enough_for_a_phone() -> None:
    assert LETTER_PX >= 13


def test_one_value_alone_still_has_an_axis() -> None:
    for kind in ("linear", "log"):
        plot = Chart(x=Axis(), y=Axis(kind=kind), marks=(PointMarks(x=(3.0,), y=(7.0,), colour="leaf"),)).with_ends()
        assert share(plot.y, 7.0) == approx(0.5)
        assert ticks(plot.y, few=5, many=5)

"""HTML and PDF of a report: the same bytes, no connection, text is never markup, and tags a screen reader can follow."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from html.parser import HTMLParser

import pytest

from aerobe.charts import Expected, FigureTable, RatioRow, RawPoint, brew_curve, forest
from aerobe.errors import UnusableRecord
from aerobe.reports import Facts, Grid, PointList, Report, Section, Shown, Warned, Words, as_html, as_pdf
from tests.reports.world import EVIL


def a_report(text: str = "plain words") -> Report:
    hours = [0.0, 10.0, 20.0, 30.0]
    curve = brew_curve(
        expected=Expected(elapsed_h=hours, low=[30, 60, 110, 80], middle=[40, 80, 150, 110], high=[55, 110, 200, 150]),
        points=[RawPoint(elapsed_h=10.0, value=84.0)],
        name=text,
    )
    rows = [RatioRow(label=text[:30], ratio=1.2, low=0.9, high=1.6), RatioRow(label="untold", ratio=None)]
    trees = forest(rows, title=text, says=text)
    table = FigureTable(columns=("what", "value [h]"), rows=tuple((text, float(i)) for i in range(70)), caption=text)
    return Report(
        title=f"Tank 2: {text}",
        kind="brew",
        headline=f"Harvest at 20 h. {text}",
        first=(
            Facts(rows=tuple((f"fact {i}", text) for i in range(7))),
            Shown(picture=curve),
            Shown(picture=trees, with_figures=True),
            Warned(title="What this cannot tell", items=("One brew.", text)),
        ),
        sections=(
            Section(title=f"All readings {text}", blocks=(Words(text=text), PointList(items=(text, "b")), Grid(table=table))),
        ),
        sources=(f"A. 2001. {text}.",),
        made_at=datetime(2026, 5, 1, 8, 0, tzinfo=UTC),
        versions={"aerobe": "0.1.0", "numpy": "2"},
        seed=7,
        numbers={"peak time [h]": 20.0, "call": text, "none": None},
        package=b"PK\x05\x06" + bytes(18) + b"\xff\x00",
        invented=True,
    )


class Tags(HTMLParser):
    """Every tag and address of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.headings: list[int] = []
        self.pictures_without_words = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        found = dict(attrs)
        self.links += [value for name, value in attrs if name in ("src", "href", "srcset", "action") and value]
        self.pictures_without_words += tag == "img" and not found.get("alt")
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))


def tags_of(page: str) -> Tags:
    found = Tags()
    found.feed(page)
    return found


@pytest.mark.parametrize("draw", [as_html, as_pdf])
def test_a_second_run_gives_the_same_bytes(draw) -> None:
    assert draw(a_report()) == draw(a_report())


def test_another_moment_gives_other_bytes() -> None:
    later = replace(a_report(), made_at=datetime(2026, 5, 2, 8, 0, tzinfo=UTC))
    assert as_html(later) != as_html(a_report())
    assert as_pdf(later) != as_pdf(a_report())


def test_the_page_needs_no_connection_and_runs_nothing() -> None:
    page = as_html(a_report(EVIL))
    found = tags_of(page)
    assert all(link.startswith("data:") for link in found.links)
    assert not {"script", "iframe", "object", "embed", "form", "link", "base"} & set(found.tags)
    assert "default-src 'none'" in page
    assert "url(" not in page and "@import" not in page


def test_text_is_never_markup() -> None:
    page = as_html(a_report(EVIL))
    assert "<script>" not in page and "&lt;script&gt;" in page
    assert "{{ 7*7 }}" in page and ">49<" not in page
    assert as_pdf(a_report(EVIL))[:4] == b"%PDF"  # #panic() would stop the typesetter if it were read as code


def test_headings_are_in_order_and_pictures_have_words() -> None:
    found = tags_of(as_html(a_report()))
    assert found.headings[0] == 1 and found.headings.count(1) == 1
    assert all(later - earlier <= 2 for earlier, later in zip(found.headings, found.headings[1:], strict=False))
    assert found.pictures_without_words == 0


def test_the_pdf_is_tagged_with_title_language_alternative_texts_and_the_data() -> None:
    """Points of ISO 14289-1 that can be looked up in the file; the typesetter refuses a document that breaks the rest."""
    pypdf = pytest.importorskip("pypdf")
    report = a_report()
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(report)))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] is True or bool(root["/MarkInfo"]["/Marked"])
    assert root["/Lang"].startswith("en")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == report.title
    assert "pdfuaid" in root["/Metadata"].get_object().get_data().decode()
    kinds, alternatives = _structure(root["/StructTreeRoot"])
    assert {"/H1", "/Table", "/TR", "/TH", "/TD", "/Figure", "/P", "/L"} <= set(kinds)
    assert kinds.count("/Figure") == len(alternatives) == 2
    assert reader.attachments["package.zip"][0] == report.package
    assert all(font["/FontDescriptor"].get("/FontFile3") or font["/FontDescriptor"].get("/FontFile2") for font in _fonts(reader))


def _structure(node: object) -> tuple[list[str], list[str]]:
    kinds: list[str] = []
    alternatives: list[str] = []
    left = [node]
    while left:
        item = left.pop()
        item = item.get_object() if hasattr(item, "get_object") else item
        if isinstance(item, dict):
            if "/S" in item:
                kinds.append(str(item["/S"]))
            if "/Alt" in item:
                alternatives.append(str(item["/Alt"]))
            left.append(item.get("/K"))
        elif isinstance(item, list):
            left += list(item)
    return kinds, alternatives


def _fonts(reader: object) -> list:
    found = []
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            found += [part.get_object() for part in font.get_object()["/DescendantFonts"]]
    return found


def test_rows_of_several_lines_stay_on_their_page() -> None:
    """Tables used to be cut by the number of rows alone: long names then ran over the foot of the page."""
    pypdf = pytest.importorskip("pypdf")
    name = "a-trial-with-a-long-name.and-an-arm-with-a-longer-one-still.bottle-"
    rows = tuple((f"{name}{place}", *["some words that need two lines"] * 7, f"row-{place}-ends") for place in range(60))
    table = FigureTable(columns=tuple("abcdefghi"), rows=rows, caption="Long names")
    report = replace(a_report(), sections=(Section(title="All", blocks=(Grid(table=table),)),))
    lowest = []

    def see(text: str, page: list[float], place: list[float], _font: object, _size: float) -> None:
        if re.search(r"row|ends", text):
            lowest.append(place[4] * page[1] + place[5] * page[3] + page[5])

    pages = pypdf.PdfReader(io.BytesIO(as_pdf(report))).pages
    found = [place for page in pages for place in re.findall(r"row-(\d+)", page.extract_text(visitor_text=see))]
    assert sorted({int(place) for place in found}) == list(range(60))
    assert min(lowest) > 22.0 / 25.4 * 72.0  # the margin at the foot is 22 mm


def test_a_picture_without_words_is_refused_by_the_pdf() -> None:
    report = a_report()
    silent = replace(report.first[1].picture, says="")
    with pytest.raises(Exception, match="alt"):
        as_pdf(replace(report, first=(Shown(picture=silent),)))


def test_a_report_without_a_time_zone_or_an_answer_is_refused() -> None:
    with pytest.raises(UnusableRecord, match="time zone"):
        replace(a_report(), made_at=datetime(2026, 5, 1, 8, 0))
    with pytest.raises(UnusableRecord, match="title and an answer"):
        replace(a_report(), headline=" ")


def test_the_offset_of_the_clock_is_shown() -> None:
    moved = replace(a_report(), made_at=datetime(2026, 5, 1, 8, 0, tzinfo=timezone(timedelta(hours=2))))
    assert "2026-05-01 08:00 +0200" in as_html(moved)


def test_amounts_that_nobody_stated_are_not_noughts() -> None:
    from aerobe.records import Compost, Recipe
    from aerobe.reports._tables import recipe_blocks

    unsaid = Recipe(key="a", name="A", compost="not-stated", compost_g_per_l=0.0)
    plain = Recipe(key="b", name="Water", compost="none", compost_g_per_l=0.0)
    shown = [recipe_blocks(recipe, Compost(key="x", name="x"))[0].table.rows[0][1] for recipe in (unsaid, plain)]
    assert shown == ["not stated", "0"]


def test_a_pdf_prints_the_signs_of_the_page() -> None:
    from aerobe.reports._pdf import _printed

    told = _printed(
        {"first": [{"is": "facts", "rows": [["at 20 degC", "4.0 +- 1.0 ug C/mL", None, 3]]}], "file": "picture-0.svg"}
    )
    assert told == {
        "first": [{"is": "facts", "rows": [["at 20 \u00b0C", "4.0 \u00b1 1.0 \u00b5g C/mL", None, 3]]}],
        "file": "picture-0.svg",
    }

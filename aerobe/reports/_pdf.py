"""A report as a tagged PDF (PDF/UA-1): headings, tables and pictures that a screen reader can follow, byte for byte the same."""

from __future__ import annotations

import hashlib
import json
import re
import tempfile
from pathlib import Path
from typing import Any

from aerobe.charts import FONTS_FOLDER
from aerobe.errors import OutsideValidity
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Report, Section, Shown, Warned, Words
from aerobe.reports._display import in_its_units, moment_of_report
from aerobe.reports._html import TEMPLATES
from aerobe.units import signs, signs_of_page

PICTURE_PX = 800  # wider than on a page, so that two charts and the facts share the first sheet


def as_pdf(report: Report) -> bytes:
    """The report as PDF/UA-1, with the data package attached.

    Text reaches the typesetter as data, never as markup, so nothing typed into a notebook can act on it.

    Raises
    ------
    OutsideValidity
        If a sign has no letter in the fonts.
    """
    import typst

    report = in_its_units(report)
    pictures: dict[str, bytes] = {}
    content = {
        "title": report.title,
        "kind": report.kind,
        "headline": report.headline,
        "basis": report.basis,
        "invented": report.invented,
        "date": moment_of_report(report),
        "legend": report.units.legend() if report.units else "",
        "first": [_plain(block, pictures) for block in report.first],
        "sections": [_section(section, pictures) for section in report.sections],
        "sources": list(report.sources),
        "versions": sorted(report.versions.items()),
        "seed": None if report.seed is None else str(report.seed),
        "licence": report.licence,
        "from_tables": report.from_tables,
        "numbers": [[name, "\u2013" if value is None else str(value)] for name, value in report.numbers.items()],
        "package": report.package_name if report.package else "",
        "package_hash": hashlib.sha256(report.package).hexdigest(),
        "day": [report.made_at.year, report.made_at.month, report.made_at.day],
    }
    files = {
        "main.typ": (TEMPLATES / "report.typ").read_bytes(),
        "report.json": json.dumps(_printed(content), ensure_ascii=False).encode(),
        **pictures,
    }
    if report.package:
        files["package.zip"] = report.package
    compiled: Any = typst.compile
    # The typesetter takes bytes of another kind than text only from a folder.
    with tempfile.TemporaryDirectory(prefix="aerobe-") as folder:
        for name, part in files.items():
            (Path(folder) / name).write_bytes(part)
        try:
            return bytes(
                compiled(
                    Path(folder) / "main.typ",
                    root=folder,
                    format="pdf",
                    font_paths=[str(FONTS_FOLDER)],
                    ignore_system_fonts=True,
                    pdf_standards=["ua-1"],
                    timestamp=int(report.made_at.timestamp()),
                )
            )
        except typst.TypstError as fault:
            sign = re.search(r"the text `(.+?)` could not be displayed", str(fault))
            if sign is None:
                raise
            raise OutsideValidity(
                f"The PDF has no letters for {sign[1]}.", "Take the page (HTML) instead: it uses the fonts of the device."
            ) from None


def _printed(part: Any) -> Any:
    """The same with printed signs in every text, as on the page."""
    if isinstance(part, str):
        return signs(part)
    if isinstance(part, dict):
        return {name: _printed(item) for name, item in part.items()}
    return [_printed(item) for item in part] if isinstance(part, list | tuple) else part


def _section(section: Section, pictures: dict[str, bytes]) -> dict[str, object]:
    return {"title": section.title, "blocks": [_plain(block, pictures) for block in section.blocks]}


def _plain(block: Block, pictures: dict[str, bytes]) -> dict[str, object]:
    match block:
        case Words(text=text):
            return {"is": "words", "text": text}
        case PointList(items=items):
            return {"is": "points", "items": list(items)}
        case Facts(rows=rows):
            return {"is": "facts", "rows": [list(row) for row in rows]}
        case Grid(table=table):
            return {"is": "grid", **_table(table)}
        case Warned(title=title, items=items):
            return {"is": "warned", "title": title, "items": list(items)}
        case Shown(picture=picture, with_figures=with_figures):
            name = f"picture-{len(pictures)}.svg"
            pictures[name] = signs_of_page(picture.svg("light", background="white", width_px=PICTURE_PX)).encode()
            return {
                "is": "shown",
                "file": name,
                "title": picture.title,
                "says": picture.says,
                "figures": _table(picture.figures) if with_figures else None,
            }


def _table(table: Any) -> dict[str, Any]:
    return {"columns": list(table.columns), "rows": table.cells(), "caption": table.caption}

"""A report as one HTML file that opens anywhere without a connection: no script, nothing from outside, light and dark."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.charts import COLOURS, Look, Picture
from aerobe.reports._blocks import Report
from aerobe.reports._display import in_its_units, moment_of_report
from aerobe.units import signs_of_page

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATES = Path(__file__).parent / "templates"


def as_html(report: Report) -> str:
    """The whole report as one page. Text from the notebook is never taken for markup."""
    report = in_its_units(report)
    text = _template("report.html").render(
        report=report,
        kinds=_kind,
        picture=_picture,
        colours=COLOURS,
        date=moment_of_report(report),
        legend=report.units.legend() if report.units else "",
        data=_data_url("application/zip", report.package) if report.package else "",
        data_hash=hashlib.sha256(report.package).hexdigest() if report.package else "",
        data_kb=-(-len(report.package) // 1024),
    )
    return signs_of_page(text)


@cache
def _template(name: str) -> Template:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).get_template(name)


def _kind(block: object) -> str:
    return type(block).__name__


def _picture(picture: Picture) -> dict[str, object]:
    """The chart in both looks and two widths as images inside the page; the browser takes the one that fits."""
    looks: tuple[Look, Look] = ("light", "dark")
    return {
        f"{look}{width}": _data_url("image/svg+xml", picture.svg(look, width_px=width).encode())
        for look in looks
        for width in (300, 640)
    }


def _data_url(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"

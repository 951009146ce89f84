"""A folder of static pages for any web host: an index of reports, each with its PDF and data. No script, no outside file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.charts import COLOURS
from aerobe.reports._blocks import Report
from aerobe.reports._html import _template, as_html
from aerobe.reports._pdf import as_pdf


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the index."""

    slug: str
    title: str
    headline: str
    kind: str
    made_at: str
    has_data: bool
    invented: bool


def site(reports: Sequence[tuple[str, Report]], *, title: str, about: str, made_at: datetime) -> dict[str, bytes]:
    """Files by their path in the folder.

    Parameters
    ----------
    reports
        Key and report of each; keys become file names and hold letters, digits, '-', '_' and '.' only, as record keys do.
    title, about
        For the index.
    made_at
        When the site was made.

    Returns
    -------
    dict
        Path to content, ready to be written below one folder. The same reports give the same bytes.
    """
    files: dict[str, bytes] = {}
    entries = []
    for key, report in reports:
        slug = f"{report.kind}-{key}"
        files[f"{slug}/index.html"] = as_html(report).encode()
        files[f"{slug}/report.pdf"] = as_pdf(report)
        if report.package:
            files[f"{slug}/{report.package_name}"] = report.package
        entries.append(
            Entry(
                slug=slug,
                title=report.title,
                headline=report.headline,
                kind=report.kind,
                made_at=f"{report.made_at:%Y-%m-%d}",
                has_data=bool(report.package),
                invented=report.invented,
            )
        )
    names = {slug: report.package_name for (_, report), slug in zip(reports, (entry.slug for entry in entries), strict=True)}
    page = _template("index.html").render(
        entries=entries, names=names, title=title, about=about, colours=COLOURS, made_at=f"{made_at:%Y-%m-%d}"
    )
    return {"index.html": page.encode(), **files}

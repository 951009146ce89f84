"""A folder of static pages for any web host: findings by question, each with its page, data and report. No script runs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from aerobe.charts import COLOURS
from aerobe.reports._html import _template
from aerobe.reports._page import SAFE, FindingPage, finding_files
from aerobe.units import signs_of_page


def site(
    findings: Sequence[FindingPage],
    *,
    title: str,
    about: str,
    made_at: datetime,
    authors: tuple[str, ...] = (),
    address: str = "",
) -> dict[str, bytes]:
    """Files by their path in the folder.

    Parameters
    ----------
    findings
        Pooled answers, trials and brews; their slugs become folders and hold letters, digits, '-', '_' and '.' only.
    title, about
        For the index.
    made_at
        When the site was made.
    authors
        Names to cite; empty where nobody is named.
    address
        Where the site will stand; empty if that is not known. Cards that others show need it.

    Returns
    -------
    dict
        Path to content, ready to be written below one folder. The same findings give the same bytes.
    """
    root = f"{address.rstrip('/')}/" if address else ""
    files: dict[str, bytes] = {}
    for one in findings:
        files |= finding_files(one, authors=authors, address=root)
    pooled = [one for one in findings if one.kind == "pool"]
    beneath = {slug for one in pooled for slug in one.trials}
    by_slug = {one.slug: one for one in findings}
    questions = [(one, [by_slug[slug] for slug in one.trials if slug in by_slug]) for one in pooled]
    questions += [(one, []) for one in findings if one.kind == "trial" and one.slug not in beneath]
    page = _template("index.html").render(
        questions=questions,
        brews=[one for one in findings if one.kind not in ("pool", "trial")],
        title=title,
        about=about,
        safe=SAFE,
        colours=COLOURS,
        made_at=f"{made_at:%Y-%m-%d}",
    )
    return {"index.html": signs_of_page(page).encode(), **files}

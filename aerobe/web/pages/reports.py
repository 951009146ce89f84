"""Reports to take along: a brew or a trial as page, PDF and data; and a package of somebody else computed anew."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.errors import AerobeError, NotFound
from aerobe.web._frame import Fields, chosen_file, clock_of, fields, menu_entry, notebook_of, page
from aerobe.web._kept_reports import KeptReports

router = APIRouter()
nav = menu_entry("Reports", "/reports", order=55, icon="report", more=True)
Sent = Annotated[Fields, Depends(fields)]
NOUNS = ("brew", "trial")
KINDS = {"html": "text/html; charset=utf-8", "pdf": "application/pdf", "zip": "application/zip"}


@router.get("/reports")
def hub(request: Request) -> Response:
    """What can be reported."""
    return page(request, "reports/hub.html", title="Reports", context=_context(request))


@router.get("/reports/{kind}/{key}.{form}")
def report(request: Request, kind: str, key: str, form: str, people: bool = False, assay: str = "") -> Response:
    """One report as a file; of a trial, by the test named. It is a download: a page of its own, not one of the app's."""
    if form not in KINDS:
        raise NotFound(f"There is no report '{kind}' as '{form}'.", "Choose one on the page of reports.")
    made = _made(request, kind, key, people=people, assay=assay)
    content = made.package
    if form != "zip":
        content = usecases.reports.report_as_html(made) if form == "html" else usecases.reports.as_pdf(made)
    name = f"{kind}-{key}{'-data' if form == 'zip' else ''}.{form}"
    return Response(content, media_type=KINDS[form], headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.get("/reports/{kind}/{key}")
def shown(request: Request, kind: str, key: str, people: bool = False, assay: str = "") -> Response:
    """A report on the screen: question, answer, its numbers and one chart first; everything else behind a tap."""
    made = _made(request, kind, key, people=people, assay=assay)
    charts = [block for block in made.first if isinstance(block, usecases.reports.Shown)]
    # Of a trial the comparisons with their intervals stand last, of a brew its course stands first.
    chart = charts[-1 if kind == "trial" else 0] if charts else None
    facts = next((block for block in made.first if isinstance(block, usecases.reports.Facts)), None)
    context: dict[str, object] = {
        "report": made,
        "noun": kind,
        "key": key,
        "asked": f"?{request.url.query}" if request.url.query else "",
        "chart": chart,
        "facts": facts,
        "rest": [block for block in made.first if block is not chart and block is not facts],
        "kind_of": lambda block: type(block).__name__,
    }
    return page(request, "reports/shown.html", title=made.title, context=context)


def _made(request: Request, kind: str, key: str, *, people: bool, assay: str) -> usecases.reports.Report:
    if kind not in NOUNS:
        raise NotFound(f"There is no report of a '{kind}'.", "Choose one on the page of reports.")
    wanted = usecases.reports.Wanted(with_people=people, assay=assay, asks=False)
    make = usecases.reports.report_of_brew if kind == "brew" else usecases.reports.report_of_trial
    notebook, now = notebook_of(request), clock_of(request)
    kept: KeptReports = request.app.state.reports
    version = notebook.last_change()
    return kept.get(
        (kind, key, people, assay), version=version, now=now, make=lambda: make(notebook, key, now=now, wanted=wanted)
    )


@router.get("/reports/{kind}/{key}/pictures.zip")
def pictures(request: Request, kind: str, key: str, assay: str = "") -> Response:
    """Pictures to show of one finding: slide, square and tall, light and dark, SVG and PNG; of a brew one that moves."""
    if kind not in NOUNS:
        raise NotFound(f"There are no pictures of a '{kind}'.", "Choose a brew or a trial on the page of reports.")
    content = usecases.reports.packed_pictures(notebook_of(request), kind, key, now=clock_of(request), assay=assay, asks=False)
    name = f"{kind}-{key}-pictures.zip"
    return Response(content, media_type=KINDS["zip"], headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.post("/reports/check")
async def check(request: Request, sent: Sent) -> Response:
    """Compute the reports in a package anew."""
    try:
        content, _ = await chosen_file(sent, "file", choose="Choose the data package (zip) that came with a report.")
        await run_in_threadpool(usecases.exchange.require_harmless, content, "The package", package=True)
        checks = await run_in_threadpool(usecases.reports.check_package, content, now=clock_of(request))
    except AerobeError as fault:
        context = await run_in_threadpool(_context, request)
        return page(request, "reports/hub.html", status=422, title="Reports", fault=fault, context=context)
    return page(request, "reports/checked.html", title="Computed anew", checks=checks)


def _context(request: Request) -> dict[str, object]:
    notebook = notebook_of(request)
    overview = usecases.brews.brews_overview(notebook, now=clock_of(request))
    return {"cards": [*overview.earlier, *overview.under_way], "trials": usecases.brews.trial_names(notebook)}

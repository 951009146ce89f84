"""Data in and out: tables and packages taken in after a look, everything out as an open package."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.errors import AerobeError, ImportFault
from aerobe.units import number
from aerobe.web._frame import Fields, chosen_file, clock_of, fields, go_to, live_of, menu_entry, notebook_of, page
from aerobe.web._uploads import Uploads

router = APIRouter()
nav = menu_entry("Data in and out", "/data", order=80, icon="data", more=True)
Sent = Annotated[Fields, Depends(fields)]


@router.get("/data")
def data(request: Request) -> Response:
    """What the notebook holds, and the ways in and out."""
    return page(request, "data/data.html", title="Data in and out", context=_context(request))


@router.post("/data/import")
async def bring(request: Request, sent: Sent) -> Response:
    """A file was chosen: a package is taken in, a table is shown first."""
    try:
        content, name = await chosen_file(sent, "file", choose="Choose a table (CSV, TSV, spreadsheet) or a data package (zip).")
        return await run_in_threadpool(_take_in_or_show, request, name, content)
    except AerobeError as fault:
        context = await run_in_threadpool(_context, request)
        return page(request, "data/data.html", status=422, title="Data in and out", fault=fault, context=context)


@router.post("/data/import/table")
def confirm(request: Request, sent: Sent) -> Response:
    """The person has looked: take it in, or read it again as said."""
    name, content = uploads_of(request).get(sent.text("ticket"))
    try:
        wishes = _wishes(request, sent)
        preview = _preview(request, name, content, wishes)
        if sent.text("do") != "take" or not preview.ready:
            return _show(request, name, sent.text("ticket"), preview, sent)
        taken = usecases.exchange.take_in(notebook_of(request), content, name, wishes, now=clock_of(request))
    except AerobeError as fault:
        own = usecases.exchange.Wishes(own_zone=sent.text("own_zone"))
        return _show(request, name, sent.text("ticket"), _preview(request, name, content, own), sent, fault)
    live_of(request).tell("everything")
    return page(request, "data/taken.html", title="Taken in", taken=taken, name=name)


@router.get("/data/export")
def export(request: Request, trial: str = "") -> Response:
    """Everything, or one trial, as an open data package."""
    return _package(request, trial, with_codes=False)


@router.post("/data/export")
def export_with_codes(request: Request, sent: Sent) -> Response:
    """The same while codes are closed: it shows which code is which recipe, and is noted like a look at the key."""
    return _package(request, sent.text("trial"), with_codes=True)


def _package(request: Request, trial: str, *, with_codes: bool) -> Response:
    now = clock_of(request)
    content = usecases.exchange.export_package(notebook_of(request), now=now, trial=trial, with_codes=with_codes)
    name = f"aerobe-{trial or 'notebook'}-{now:%Y-%m-%d}.zip"
    return Response(content, media_type="application/zip", headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.post("/demo")
def demo(request: Request, sent: Sent) -> Response:
    """Fill an empty notebook with the invented yard."""
    notebook, now = notebook_of(request), clock_of(request)
    if not usecases.brews.brews_overview(notebook, now=now).empty:
        raise ImportFault("This notebook holds brews already.", "Start a new notebook for the invented yard: `aerobe demo`.")
    usecases.notebook.make_demo(notebook, now=now)
    live_of(request).tell("everything")
    return go_to("/?" + urlencode({"done": "The invented yard is written in. All of it is made up."}))


def uploads_of(request: Request) -> Uploads:
    """Files between upload and yes."""
    found: Uploads = request.app.state.uploads
    return found


def _context(request: Request) -> dict[str, object]:
    notebook = notebook_of(request)
    return {"counts": usecases.notebook.notebook_summary(notebook), "trials": usecases.brews.trial_names(notebook)}


def _take_in_or_show(request: Request, name: str, content: bytes) -> Response:
    package = content[:4] == b"PK\x03\x04" and not name.lower().endswith((".xlsx", ".ods", ".xlsm"))
    usecases.exchange.require_harmless(content, name, package=package)
    if package:
        unpacked = usecases.exchange.import_package(notebook_of(request), content, now=clock_of(request))
        live_of(request).tell("everything")
        rows = [[word, count, unpacked.known.get(word, 0)] for word, count in unpacked.new.items()]
        return page(request, "data/unpacked.html", title="Taken in", table_rows=rows, name=name)
    preview = _preview(request, name, content, usecases.exchange.Wishes())
    return _show(request, name, uploads_of(request).put(name, content), preview, Fields())


def _preview(request: Request, name: str, content: bytes, wishes: usecases.exchange.Wishes) -> usecases.exchange.Preview:
    notebook, now = notebook_of(request), clock_of(request)
    return usecases.exchange.preview_table(content, name, wishes, notebook=notebook, now=now)


def _show(
    request: Request, name: str, ticket: str, preview: usecases.exchange.Preview, sent: Fields, fault: AerobeError | None = None
) -> Response:
    choices = usecases.brews.start_choices(notebook_of(request))
    brews = usecases.notebook.list_brews(notebook_of(request), now=clock_of(request))
    return page(
        request,
        "data/preview.html",
        status=422 if fault else 200,
        title="Before it is taken in",
        name=name,
        ticket=ticket,
        preview=preview,
        example_rows=[_example(row) for row in preview.example],
        meanings=usecases.exchange.FIELDS,
        assays=choices.assays,
        brews=brews,
        fault=fault,
        sent=sent,
    )


def _example(row: usecases.exchange.RowRead) -> list[str]:
    """A result as the person can check it against the file."""
    when = f"{row.elapsed_h:g} h" if row.elapsed_h is not None else f"{row.clock:%Y-%m-%d %H:%M} UTC" if row.clock else ""
    bound = "<" if row.below_detection else ">" if row.above_range else ""
    what = " ".join(filter(None, (row.method, row.variable or row.measured))).replace("_", " ")
    error = number(row.uncertainty) if row.uncertainty is not None else ""
    kind = "mean, kept beside" if row.is_mean else row.role
    return [str(row.row), row.label, what, when, f"{bound}{number(row.value, 6)}", row.unit, error, kind]


def _wishes(request: Request, sent: Fields) -> usecases.exchange.Wishes:
    columns = {}
    for place, header in enumerate(sent.all("header")):
        meaning, unit = sent.text(f"meaning_{place}"), sent.text(f"unit_{place}")
        if meaning and f"{meaning} {unit}".strip() != sent.text(f"was_{place}"):
            columns[header] = f"{meaning} [{unit}]" if unit else meaning
    replies = {key: said for place, key in enumerate(sent.all("question")) if (said := sent.text(f"reply_{place}"))}
    return usecases.exchange.Wishes(
        columns=columns,
        replies=replies,
        brew=sent.text("brew"),
        assay=sent.text("assay"),
        trial=sent.text("trial"),
        own_zone=sent.text("own_zone"),
        started_at=usecases.notebook.moment_of(sent.text("started_at"), now=clock_of(request))
        if sent.text("started_at")
        else None,
    )

"""For a blind reader: results under their codes, with nothing that could tell which brew is which."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.web._frame import Fields, access_of, clock_of, fields, go_to, live_of, notebook_of, page

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]


@router.get("/blind")
def blind(request: Request) -> Response:
    """The codes that wait for results, and one form."""
    return _page(request)


@router.post("/blind/readings")
async def keep(request: Request, sent: Sent) -> Response:
    """Keep a result under its code."""
    try:
        says = await run_in_threadpool(_keep, request, sent)
    except AerobeError as fault:
        return await run_in_threadpool(_page, request, 422, fault, sent)
    return go_to(f"/blind?{urlencode({'done': says, 'code': sent.text('code'), 'assay': sent.text('assay')})}")


def _keep(request: Request, sent: Fields) -> str:
    notebook, code = notebook_of(request), sent.text("code")
    entry = usecases.notebook.ReadingEntry(
        brew=usecases.brews.brew_of_code(notebook, code),
        assay=sent.text("assay"),
        signal=sent.text("signal"),
        when=sent.text("when"),
        role=sent.text("role", "sample"),
        dilution=sent.text("dilution", "1"),
        operator=sent.text("operator"),
        token=sent.text("entry"),
    )
    receipt = usecases.notebook.add_reading(
        notebook, entry, now=clock_of(request), who=access_of(request).device or entry.operator, at_vessel=True
    )
    kept = notebook.reading(receipt.key)
    live_of(request).tell("brew", kept.brew)
    said = "Kept" if receipt.was_new else "Kept before, and nothing was added,"
    return f"{said} for {code.split(':')[-1]}: {kept.typed_as}."


def _page(request: Request, status: int = 200, fault: AerobeError | None = None, sent: Fields | None = None) -> Response:
    notebook = notebook_of(request)
    return page(
        request,
        "record/blind.html",
        status=status,
        title="Results by code",
        context={
            "fault": fault,
            "sent": sent or Fields(),
            "codes": usecases.brews.codes_to_read(notebook),
            "assays": usecases.brews.start_choices(notebook).assays,
            "chosen": request.query_params.get("code", ""),
            "assay": request.query_params.get("assay", ""),
            "alarms": (),  # an alarm names its brew
            "menu": (),
        },
    )

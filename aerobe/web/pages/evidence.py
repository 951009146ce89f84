"""What many people found: take in their packages, weigh one recipe against another."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.web._frame import Fields, chosen_file, clock_of, fields, go_to, menu_entry, notebook_of, page, zipped

router = APIRouter()
nav = menu_entry("What many people found", "/evidence", order=65, icon="evidence", more=True)
Sent = Annotated[Fields, Depends(fields)]


@router.get("/evidence")
def hub(request: Request) -> Response:
    """Pairs of recipes with their trials, and the way in for those of others."""
    return page(request, "evidence/hub.html", title="Evidence", context=_context(request))


@router.post("/evidence")
async def take(request: Request, sent: Sent) -> Response:
    """A package or a table of others."""
    try:
        content, name = await chosen_file(sent, "file", choose="Choose a data package (zip) or a table of ratios (CSV).")
        taken = await run_in_threadpool(_take, request, content, name, sent.text("site")[:80])
    except AerobeError as fault:
        context = await run_in_threadpool(_context, request)
        return page(request, "evidence/hub.html", status=422, title="Evidence", fault=fault, sent=sent, context=context)
    said = f"{len(taken.new)} new, {taken.known} known already." + "".join(f" {line}" for line in taken.silent)
    return go_to("/evidence?" + urlencode({"done": said[:400]}))


@router.get("/evidence/weigh")
def weigh(request: Request, recipe: str = "", against: str = "", outcome: str = "biomass") -> Response:
    """All that is known of one pair."""
    try:
        answer = usecases.evidence.weigh_evidence(notebook_of(request), recipe[:200], against[:200], outcome=outcome[:80])
    except AerobeError as fault:
        return page(request, "evidence/hub.html", status=422, title="Evidence", fault=fault, context=_context(request))
    rows = [[words, ", ".join(trials)] for words, trials in usecases.evidence.flags_by_words(answer.weighed).items()]
    return page(
        request,
        "evidence/weighed.html",
        title=f"{recipe} against {against}",
        answer=answer,
        weighed=answer.weighed,
        asked=urlencode({"recipe": recipe, "against": against, "outcome": outcome}),
        flag_rows=rows,
    )


@router.get("/pictures/evidence.zip")
def pictures(request: Request, recipe: str = "", against: str = "", outcome: str = "biomass") -> Response:
    """Pictures to show of what all trials say of one pair."""
    notebook = notebook_of(request)
    answer = usecases.evidence.weigh_evidence(notebook, recipe[:200], against[:200], outcome=outcome[:80])
    invented = usecases.reports.is_invented(notebook)
    return zipped(usecases.reports.poster_of_evidence(answer.weighed, now=clock_of(request), invented=invented), "evidence")


def _take(request: Request, content: bytes, name: str, site: str) -> usecases.evidence.TakenEvidence:
    usecases.exchange.require_harmless(content, name, package=content[:4] == b"PK\x03\x04")
    return usecases.evidence.take_evidence(notebook_of(request), content, name, now=clock_of(request), site=site)


def _context(request: Request) -> dict[str, object]:
    pairs = [
        {
            "recipe": pair[0],
            "against": pair[1],
            "outcome": pair[2],
            "trials": pair[3],
            "href": "/evidence/weigh?" + urlencode({"recipe": pair[0], "against": pair[1], "outcome": pair[2]}),
        }
        for pair in usecases.evidence.evidence_pairs(notebook_of(request))
    ]
    return {"pairs": pairs}

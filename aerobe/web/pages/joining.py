"""A trial that several places run: join one from a file, hand one out, take in what comes back."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.errors import AerobeError, NotFound
from aerobe.records import Trial
from aerobe.web._frame import Fields, chosen_file, clock_of, fields, go_to, live_of, notebook_of, page
from aerobe.web._uploads import Uploads

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]
CHOOSE = "Choose the file that ends in .protocol.json, as it was sent to you."
FORMS = {"html": "text/html; charset=utf-8", "json": "application/json"}


@router.get("/trials/join")
def join(request: Request) -> Response:
    """Choose the file of a trial that somebody sent."""
    return page(request, "trials/join.html", title="Join a trial", plan=None)


@router.post("/trials/join")
async def read(request: Request, sent: Sent) -> Response:
    """What the file asks for; nothing is written yet."""
    try:
        content, name = await chosen_file(sent, "file", choose=CHOOSE)
        plan = await run_in_threadpool(usecases.exchange.read_protocol, content)
    except AerobeError as fault:
        return page(request, "trials/join.html", status=422, title="Join a trial", plan=None, fault=fault)
    return await run_in_threadpool(_show, request, plan, uploads_of(request).put(name, content), sent)


@router.post("/trials/join/begin")
def begin(request: Request, sent: Sent) -> Response:
    """Write the trial down, with a run sheet and codes of one's own."""
    ticket = sent.text("ticket")
    try:
        _, content = uploads_of(request).get(ticket)
    except NotFound as fault:
        return page(request, "trials/join.html", status=422, title="Join a trial", plan=None, fault=fault)
    plan, now, start = usecases.exchange.read_protocol(content), clock_of(request), sent.text("start")
    try:
        key = usecases.exchange.join_trial(
            notebook_of(request),
            plan,
            usecases.exchange.OwnSite(
                compost=sent.text("compost"),
                first_start=usecases.notebook.moment_of(start, now=now) if start else None,
                vessels=tuple(item.strip() for item in sent.text("vessels").split(",") if item.strip()),
            ),
            now=now,
            token=sent.text("entry"),
        )
    except AerobeError as fault:
        return _show(request, plan, ticket, sent, fault)
    live_of(request).tell("everything")
    return go_to(f"/trials/{key}?done=Written+down+and+drawn+by+lot+for+your+place.")


@router.get("/trials/{key}/others")
def others(request: Request, key: str, done: str = "") -> Response:
    """Hand a plan out, and take in what comes back."""
    return _others(request, key)


@router.post("/trials/{key}/protocol")
def hand_out(request: Request, key: str, sent: Sent) -> Response:
    """The plan as a page to print or as the file to join it with; from now on packages that follow it are known."""
    form = sent.text("form", "html")
    if form not in FORMS:
        raise NotFound(f"There is no protocol as '{form[:20]}'.", "Choose the page or the file.")
    try:
        plan = usecases.exchange.protocol_of_trial(notebook_of(request), key, now=clock_of(request))
    except AerobeError as fault:
        return _others(request, key, fault)
    content = usecases.exchange.protocol_as_page(plan) if form == "html" else usecases.exchange.protocol_as_file(plan)
    headers = {"Content-Disposition": f'attachment; filename="{key}.protocol.{form}"'}
    return Response(content, media_type=FORMS[form], headers=headers)


@router.post("/trials/{key}/site")
async def take_back(request: Request, key: str, sent: Sent) -> Response:
    """The data package of a place that joined."""
    try:
        content, name = await chosen_file(sent, "file", choose="Choose the data package (zip) that came back.")
        found = await run_in_threadpool(_take, request, key, content, name, sent.text("site")[:80])
    except AerobeError as fault:
        return await run_in_threadpool(_others, request, key, fault, sent)
    live_of(request).tell("everything")
    said = [f"{found.site}: {len(found.taken.new)} new, {found.taken.known} known already.", *found.says, *found.taken.silent]
    return go_to(f"/trials/{key}/others?" + urlencode({"done": " ".join(said)[:600]}))


def _take(request: Request, key: str, content: bytes, name: str, site: str) -> usecases.exchange.SiteTaken:
    if content[:4] == b"PK\x03\x04":
        usecases.exchange.require_harmless(content, name, package=True)
    return usecases.exchange.take_site(notebook_of(request), key, content, name, site=site, now=clock_of(request))


def uploads_of(request: Request) -> Uploads:
    """Files between upload and yes."""
    found: Uploads = request.app.state.uploads
    return found


def _show(
    request: Request, plan: usecases.exchange.Protocol, ticket: str, sent: Fields, fault: AerobeError | None = None
) -> Response:
    facts, arms = usecases.exchange.protocol_facts(plan)
    choices = usecases.brews.start_choices(notebook_of(request))
    return page(
        request,
        "trials/join.html",
        status=422 if fault else 200,
        title=f"Join: {plan.name}",
        plan=plan,
        ticket=ticket,
        facts=facts,
        arms=arms,
        composts=[(item.key, item.name) for item in choices.composts],
        own_vessels=", ".join(item.key for item in choices.vessels[:6]),
        sent=sent,
        fault=fault,
    )


def _others(request: Request, key: str, fault: AerobeError | None = None, sent: Fields | None = None) -> Response:
    trial = notebook_of(request).get(Trial, key)
    return page(
        request,
        "trials/others.html",
        status=422 if fault else 200,
        title=f"Other places: {trial.name}",
        trial=trial,
        fault=fault,
        sent=sent or Fields(),
    )

"""Recording at the vessel: pick nothing, type the number, keep it. Also works while the connection is away."""

from __future__ import annotations

import re
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import FileResponse, JSONResponse

from aerobe import usecases
from aerobe.errors import AerobeError, NotAllowed, NotFound
from aerobe.records import ROLES
from aerobe.units import signs
from aerobe.web._frame import (
    Fields,
    clock_of,
    fields,
    go_to,
    live_of,
    menu_entry,
    notebook_of,
    page,
    settings_of,
    wants_json,
)
from aerobe.web._views import call_of

router = APIRouter()
nav = menu_entry("Record", "/record", order=20, icon="record", first=True)
Sent = Annotated[Fields, Depends(fields)]
PROBES = {
    "oxygen": ("Oxygen", ["mg/L", "% saturation", "umol/L"]),
    "temperature": ("Temperature", ["degC", "degF"]),
    "pH": ("pH", ["pH"]),
    "conductivity": ("Conductivity", ["uS/cm", "mS/cm"]),
    "salinity": ("Salinity", ["g/kg", "PSU"]),
}
NOTHING_NEW = "Nothing was added: this form was taken already. Open it anew for another entry."


@router.get("/record")
def choose(request: Request) -> Response:
    """Which brew; with one brew under way there is nothing to choose."""
    brews = usecases.brews.brews_under_way(notebook_of(request), now=clock_of(request))
    if len(brews) == 1:
        return go_to(f"/brews/{brews[0].key}/record")
    return page(request, "record/choose.html", title="Record", brews=brews)


@router.get("/record/pages")
def pages_to_keep(request: Request) -> Response:
    """Where readings of the brews under way are recorded: a device keeps these pages before it needs them."""
    brews = usecases.brews.brews_under_way(notebook_of(request), now=clock_of(request))
    return JSONResponse({"pages": ["/", "/record", *(f"/brews/{brew.key}/record" for brew in brews[:20])]})


@router.get("/brews/{key}/record")
def form(request: Request, key: str, what: str = "") -> Response:
    """The form, with large keys. `what` is `assay:<key>` or a probe's channel; `role` a kind of reading to begin with."""
    return page(request, "record/form.html", context=_form_context(request, key, what))


@router.post("/brews/{key}/readings")
async def keep(request: Request, key: str, sent: Sent) -> Response:
    """Keep a reading. Answers in JSON when the page's own queue sends it."""
    notebook, now = notebook_of(request), clock_of(request)
    try:
        says, reading = await run_in_threadpool(_keep, request, key, sent)
    except AerobeError as fault:
        if wants_json(request):
            raise  # the page's own queue sent it; the answer in JSON says problem and remedy
        context = await run_in_threadpool(_form_context, request, key, sent.text("what"))
        return page(request, "record/form.html", status=422, fault=fault, sent=sent, context=context)
    photo_fault = await _photo(request, sent)
    brew = await run_in_threadpool(lambda: usecases.brews.brew_view(notebook, key, now=now).card.brew)
    await run_in_threadpool(call_of, request, brew, urgent=True)
    live_of(request).tell("brew", key)
    undo = f"{key}/{reading}" if reading else ""
    if photo_fault:
        says = f"{says} {photo_fault}"
    if wants_json(request):
        return JSONResponse({"says": says, "go_to": f"/brews/{key}", "undo": undo})
    if sent.text("again"):
        return go_to(f"/brews/{key}/record?{urlencode({'what': sent.text('what'), 'done': says, 'replicate': _next(sent)})}")
    return go_to(f"/brews/{key}?{urlencode({'done': says, 'undo': undo})}")


@router.post("/brews/{key}/events")
def event(request: Request, key: str, sent: Sent) -> Response:
    """Keep what happened to a brew: air off, air on, food, water, a part drawn off. Answers in JSON to the page's own queue."""
    notebook, now = notebook_of(request), clock_of(request)
    entry = usecases.brews.EventEntry(
        what=sent.text("event"),
        amount=sent.text("amount"),
        food=sent.text("food"),
        when=sent.text("when"),
        until=sent.text("until"),
        takes_back=sent.text("takes_back"),
        notes=sent.text("notes"),
        age_s=sent.text("age_s"),
    )
    try:
        noted = usecases.brews.note_event(notebook, key, entry, now=now, token=sent.text("entry"))
    except AerobeError as fault:
        if wants_json(request):
            raise  # the page's own queue sent it; the answer in JSON says problem and remedy
        return page(request, "record/form.html", status=422, fault=fault, sent=sent, context=_form_context(request, key, "event"))
    call_of(request, usecases.brews.brew_view(notebook, key, now=now).card.brew, urgent=True)
    live_of(request).tell("brew", key)
    says = _told(f"Kept: {noted.event.says()}. {noted.look_again}".strip(), noted.was_new)
    if wants_json(request):
        return JSONResponse({"says": says, "go_to": f"/brews/{key}"})
    return go_to(f"/brews/{key}?{urlencode({'done': says})}")


@router.get("/brews/{key}/readings/{reading}")
def one(request: Request, key: str, reading: str) -> Response:
    """A reading as it stands, with its history and its photo, and the form that corrects it."""
    return page(request, "record/one.html", context=_one_context(request, key, reading))


@router.post("/brews/{key}/readings/{reading}/correct")
def correct(request: Request, key: str, reading: str, sent: Sent) -> Response:
    """Correct a reading: both stay in the notebook."""
    notebook = notebook_of(request)
    try:
        old = notebook.reading(reading)
        entry = usecases.notebook.ReadingEntry(
            brew=key,
            assay=old.assay,
            signal=sent.text("signal"),
            when=sent.text("when"),
            role=sent.text("role", old.role),
            dilution=sent.text("dilution", "1"),
            replicate=str(old.replicate),
            sample=old.sample,
            operator=old.operator,
            kit_lot=old.kit_lot,
            notes=sent.text("notes"),
            token=sent.text("entry"),
        )
        receipt = usecases.notebook.correct_reading(
            notebook, reading, entry, now=clock_of(request), why=sent.text("why"), at_vessel=True
        )
    except AerobeError as fault:
        # Where somebody else was quicker, the form stands under what counts now, with what was typed here still in it.
        context = _one_context(request, key, _standing(notebook, key, reading))
        return page(request, "record/one.html", status=422, fault=fault, sent=sent, context=context)
    live_of(request).tell("brew", key)
    says = _told("Corrected. The earlier value stays in the history.", receipt.was_new)
    return go_to(f"/brews/{key}/readings/{receipt.key}?{urlencode({'done': says})}")


@router.get("/brews/{key}/readings/{reading}/photo")
def photo(request: Request, key: str, reading: str) -> Response:
    """The newest photo of a reading, or of the one that it corrects."""
    found = usecases.notebook.photos_of(notebook_of(request), settings_of(request).photos, reading)
    if not found:
        raise NotFound("This reading has no photo.", "Photos can be added when a reading is recorded.")
    return FileResponse(found[0], media_type=usecases.notebook.PHOTO_KINDS[found[0].suffix[1:]])


@router.post("/brews/{key}/readings/{reading}/photo")
async def add_photo(request: Request, key: str, reading: str, sent: Sent) -> Response:
    """A photo that comes after its reading, as the page's own queue sends it."""
    upload = sent.upload("photo")
    if upload is None:
        raise NotAllowed("No photo came along.", "Choose one and send it again.")
    content = await upload.read()
    notebook, folder = notebook_of(request), settings_of(request).photos
    await run_in_threadpool(usecases.notebook.keep_photo, notebook, folder, reading, content, now=clock_of(request))
    if wants_json(request):
        return JSONResponse({"says": "The photo is stored.", "go_to": None})
    return go_to(f"/brews/{key}/readings/{reading}?done=The+photo+is+stored.")


def _keep(request: Request, key: str, sent: Fields) -> tuple[str, str]:
    """What is said of it, and the key of the reading that can be taken back at once; empty for what a log holds."""
    notebook, now, what = notebook_of(request), clock_of(request), sent.text("what")
    if what == "smell":
        receipt = usecases.safety.note_smell(notebook, key, sent.text("signal"), now=now, token=sent.text("entry"))
        return _told(f"Kept: smells {sent.text('signal')}.", receipt.was_new), ""
    if what in PROBES:
        unit = sent.text("signal_unit", PROBES[what][1][0])
        receipt = usecases.brews.record_probe(
            notebook,
            key,
            usecases.brews.ProbeTyped(
                channel=what,
                value=sent.text("signal"),
                unit=unit,
                when=sent.text("when"),
                age_s=sent.text("age_s"),
                token=sent.text("entry"),
            ),
            now=now,
        )
        return _told(f"Kept: {PROBES[what][0].lower()} {sent.text('signal')} {signs(unit)}.", receipt.was_new), ""
    entry = usecases.notebook.ReadingEntry(
        brew=key,
        assay=what.removeprefix("assay:"),
        signal=sent.text("signal"),
        when=sent.text("when"),
        role=sent.text("role", "sample"),
        dilution=sent.text("dilution", "1"),
        replicate=sent.text("replicate", "1"),
        operator=sent.text("operator"),
        kit_lot=sent.text("kit_lot"),
        notes=_with_doubt(sent.text("notes"), sent.text("clock_doubt_s")),
        token=sent.text("entry"),
        age_s=sent.text("age_s"),
    )
    receipt = usecases.notebook.add_reading(notebook, entry, now=now, at_vessel=True)
    kept = notebook.reading(receipt.key)
    typed = kept.typed_as if kept.typed_as.endswith(kept.unit) else f"{kept.typed_as} {signs(kept.unit)}"
    return f"Kept: {typed}." if receipt.was_new else f"Kept before: {typed}. {NOTHING_NEW}", receipt.key


def _told(kept: str, was_new: bool) -> str:
    """What is said of an entry: what is typed in a form that was taken already is not kept, and must not be said to be."""
    return kept if was_new else f"Kept before. {NOTHING_NEW}"


def _with_doubt(notes: str, doubt_s: str) -> str:
    """The notes, with a word on a clock that moved while the entry was typed."""
    if not re.fullmatch(r"[0-9]{1,7}", doubt_s) or int(doubt_s) == 0:
        return notes
    minutes = max(1, round(int(doubt_s) / 60))
    return f"{notes} [The device's clock moved by {minutes} min around this entry: its time may be off by as much.]".strip()


async def _photo(request: Request, sent: Fields) -> str:
    upload = sent.upload("photo")
    if upload is None or sent.text("what") in PROBES:
        return ""
    try:
        content = await upload.read()
        reading = f"r-{sent.text('entry')}"[:80]
        notebook, folder = notebook_of(request), settings_of(request).photos
        await run_in_threadpool(usecases.notebook.keep_photo, notebook, folder, reading, content, now=clock_of(request))
    except AerobeError as fault:
        return str(fault)
    return "Its photo is stored."


def _form_context(request: Request, key: str, what: str) -> dict[str, object]:
    notebook = notebook_of(request)
    view = usecases.brews.brew_view(notebook, key, now=clock_of(request))
    assays = usecases.brews.start_choices(notebook).assays
    last = view.card.last_reading
    chosen = what if what in (*PROBES, "smell", "event") or any(what == f"assay:{item.key}" for item in assays) else ""
    if not chosen:
        chosen = f"assay:{last.assay}" if last else f"assay:{assays[0].key}" if assays else "oxygen"
    assay = next((item for item in assays if chosen == f"assay:{item.key}"), None)
    role = request.query_params.get("role", "sample")
    same = [item for item in view.readings if assay is not None and item.assay == assay.key]
    return {
        "title": view.card.brew.name,
        "view": view,
        "card": view.card,
        "assays": assays,
        "chosen": chosen,
        "assay": assay,
        "probes": PROBES,
        "roles": ROLES,
        "role": role if role in ROLES else "sample",
        "steps": [step for step in usecases.trials.steps_of_brew(notebook, view.card.brew) if not step.done],
        "last": same[-1] if same else None,
        "replicate": request.query_params.get("replicate", "1")[:4],
        "units": [assay.unit] if assay is not None else PROBES[chosen][1] if chosen in PROBES else [],
        "label": assay.name if assay is not None else PROBES[chosen][0] if chosen in PROBES else "Smell",
        "sampling": (*usecases.safety.sampling_steps("vessel"), *usecases.safety.sampling_steps("way")),
        "smells": usecases.brews.SMELLS,
        "events": usecases.brews.EVENTS_OF_A_FORM,
        "foods": usecases.brews.start_choices(notebook).foods,
        "air_off_since": usecases.brews.air_is_off_since(usecases.brews.standing_events_of(notebook, key)),
    }


def _standing(notebook: usecases.notebook.Notebook, key: str, reading: str) -> str:
    """The reading that counts now of all that correct this one."""
    newer = {item.replaces: item.key for item in notebook.readings(key, with_corrected=True) if item.replaces}
    while reading in newer:  # each link once: a file from elsewhere could hold a ring of them
        reading = newer.pop(reading)
    return reading


def _one_context(request: Request, key: str, reading: str) -> dict[str, object]:
    notebook = notebook_of(request)
    found = notebook.reading(reading)
    every = notebook.readings(key, with_corrected=True)
    newer = next((item for item in every if item.replaces == reading), None)
    older, step = [], found
    by_key = {item.key: item for item in every}
    while step.replaces and step.replaces in by_key:
        step = by_key.pop(step.replaces)
        older.append(step)
    return {
        "title": "A reading",
        "reading": found,
        "brew_key": key,
        "newer": newer,
        "taken_back": reading in notebook.taken_back(key),
        "older": older,
        "roles": ROLES,
        "photo": bool(usecases.notebook.photos_of(notebook, settings_of(request).photos, reading)),
    }


def _next(sent: Fields) -> str:
    text = sent.text("replicate", "1")
    return str(int(text) + 1) if re.fullmatch(r"[0-9]{1,4}", text) else "1"

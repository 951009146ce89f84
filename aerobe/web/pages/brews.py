"""The brews: all at a glance, one in full, a new one, and its end."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError, UnusableForm
from aerobe.units import DisplayUnits, display_units, guess_display_units, shown_in
from aerobe.web._frame import Fields, clock_of, fields, go_to, live_of, menu_entry, notebook_of, page, settings_of, wants_json
from aerobe.web._in_units import chosen_units
from aerobe.web._pairing import picture_of
from aerobe.web._typed import brew_start_of
from aerobe.web._views import CallView, call_of, hindsight_of, troubles_of

router = APIRouter()
nav = menu_entry("Brews", "/", order=10, icon="brew", first=True)
CURVES_SHOWN = 6
Sent = Annotated[Fields, Depends(fields)]


@router.get("/")
def home(request: Request) -> Response:
    """Brews under way, each with its clock, call, oxygen and tests left."""
    overview = usecases.brews.brews_overview(notebook_of(request), now=clock_of(request))
    if overview.empty:
        return page(request, "brews/first.html", title="Welcome", trials=usecases.trials.trials_waiting(notebook_of(request)))
    calls = {card.brew.key: call_of(request, card.brew) for card in overview.under_way}
    keys = [card.brew.key for card in overview.under_way]
    glances = {key: _glance(request, key, calls[key]) if place < CURVES_SHOWN else None for place, key in enumerate(keys)}
    troubles = {card.brew.key: troubles_of(request, card.brew) for card in overview.under_way}
    return page(
        request,
        "brews/home.html",
        title="Brews",
        overview=overview,
        calls=calls,
        troubles=troubles,
        glances=glances,
        trials=usecases.trials.trials_waiting(notebook_of(request)),
    )


@router.get("/parts/brews/{key}/card")
def card(request: Request, key: str) -> Response:
    """One brew of the first screen, for a live change."""
    view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
    call = call_of(request, view.card.brew)
    return page(
        request,
        "brews/card_alone.html",
        title="",
        card=view.card,
        call=call,
        troubles=troubles_of(request, view.card.brew),
        glance=usecases.brews.brew_glance(notebook_of(request), view, call.thought.advice, now=clock_of(request)),
    )


@router.get("/brews/new")
def new(request: Request, again: str = "") -> Response:
    """The form of a new brew; the first one is guided by it. `again` is the brew that is to be brewed once more."""
    with shown_in(_guessed_units(request) or display_units()):
        return page(request, "brews/new.html", context=_new_context(request, again))


def _new_context(request: Request, again: str = "") -> dict[str, object]:
    notebook = notebook_of(request)
    once = usecases.brews.brew_to_repeat(notebook, again) if again else None
    return {
        "title": f"{once.name} again" if once else "New brew",
        "choices": usecases.brews.start_choices(notebook),
        "latest": usecases.brews.latest_choices(notebook),
        "again": once,
        "tests": str(once.tests_in_budget) if once else "",
        "cautions": usecases.safety.cautions_for("brewing"),
        "units_chosen": display_units(),
        "units_known": usecases.notebook.has_display_units(notebook),
    }


def _guessed_units(request: Request) -> DisplayUnits | None:
    """Units of the browser's region while nobody has chosen; None where they were chosen or the region is not known."""
    if usecases.notebook.has_display_units(notebook_of(request)):
        return None
    return guess_display_units(request.headers.get("accept-language", ""))


@router.post("/brews")
def start(request: Request, sent: Sent) -> Response:
    """Write a new brew."""
    notebook, now = notebook_of(request), clock_of(request)
    guessed = _guessed_units(request)
    try:
        units = (guessed or display_units()).with_choices(chosen_units(sent.values))
    except AerobeError as fault:
        wrong = UnusableForm((("units_currency", fault),))
        return page(request, "brews/new.html", status=422, context=_new_context(request), fault=wrong, sent=sent)
    with shown_in(units):
        try:
            key = usecases.brews.start_brew(notebook, brew_start_of(sent), now=now)
        except AerobeError as fault:
            return page(request, "brews/new.html", status=422, context=_new_context(request), fault=fault, sent=sent)
    if chosen_units(sent.values):
        usecases.notebook.set_display_units(notebook, units.choices(), now=now)
    live_of(request).tell("brews")
    return go_to(f"/brews/{key}?done=The+brew+is+written+in.+The+clock+runs.")


@router.get("/brews/{key}")
def brew(request: Request, key: str) -> Response:
    """One brew: call, curve, oxygen, readings."""
    return page(request, "brews/brew.html", context=_brew_context(request, key))


@router.get("/brews/{key}/wall")
def wall(request: Request, key: str) -> Response:
    """One page to print and hang up: the call as it stands, the curve, a code for the phone, lines to write on."""
    now = clock_of(request)
    view = usecases.brews.brew_view(notebook_of(request), key, now=now)
    call = call_of(request, view.card.brew) if view.card.state == "under way" else None
    pictures = usecases.brews.brew_pictures(notebook_of(request), view, call.thought.advice if call else None, now=now)
    address = settings_of(request).address
    return page(
        request,
        "brews/wall.html",
        title=view.card.brew.name,
        view=view,
        card=view.card,
        call=call,
        picture=pictures[0] if pictures else None,
        picture_of_link=picture_of(f"{address}/brews/{quote(key)}/record") if address else "",
    )


@router.get("/parts/brews/{key}/body")
def brew_body(request: Request, key: str) -> Response:
    """The living part of a brew's page, for a live change."""
    return page(request, "brews/body_alone.html", context=_brew_context(request, key))


@router.get("/brews/{key}/harvest")
def harvest_form(request: Request, key: str) -> Response:
    """The form that ends a brew."""
    return page(request, "brews/harvest.html", context=_harvest_context(request, key))


@router.post("/brews/{key}/harvest")
def harvest(request: Request, key: str, sent: Sent) -> Response:
    """End a brew."""
    notebook = notebook_of(request)
    try:
        usecases.brews.end_brew(
            notebook,
            key,
            usecases.brews.HarvestTyped(
                when=sent.text("when"),
                age_s=sent.text("age_s"),
                smell=sent.text("smell"),
                volume=sent.quantity("volume"),
                notes=sent.text("notes"),
                token=sent.text("entry"),
            ),
            now=clock_of(request),
        )
    except AerobeError as fault:
        if wants_json(request):
            raise  # the page's own queue sent it; the answer in JSON says problem and remedy
        return page(request, "brews/harvest.html", status=422, fault=fault, sent=sent, context=_harvest_context(request, key))
    live_of(request).tell("brew", key)
    return go_to(f"/brews/{key}?done={quote('Harvest is written in. Use the tea within its holding time.')}")


def _harvest_context(request: Request, key: str) -> dict[str, object]:
    view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
    brew = view.card.brew
    waiting = [step for step in usecases.trials.steps_of_brew(notebook_of(request), brew) if not step.done]
    return {
        "title": f"Harvest {brew.name}",
        "view": view,
        "call": call_of(request, brew),
        "smells": usecases.brews.SMELLS,
        "waiting": waiting,
        "asked_for": usecases.trials.steps_in_words(waiting),
    }


def _brew_context(request: Request, key: str) -> dict[str, object]:
    now = clock_of(request)
    view = usecases.brews.brew_view(notebook_of(request), key, now=now)
    under_way = view.card.state == "under way"
    ended = view.card.state in ("harvested", "left open")
    call = call_of(request, view.card.brew) if under_way else None
    hindsight = hindsight_of(request, view.card.brew) if ended else None
    known = call or hindsight
    advice = known.thought.advice if known is not None else None
    return {
        "title": view.card.brew.name,
        "view": view,
        "card": view.card,
        "call": call,
        "hindsight": hindsight,
        "pictures": usecases.brews.brew_pictures(notebook_of(request), view, advice, now=now),
        "guesses": usecases.brews.guesses_of_brew(notebook_of(request), key),
        "steps": usecases.trials.steps_of_brew(notebook_of(request), view.card.brew),
        "events": usecases.brews.standing_events_of(notebook_of(request), key),
        "stops": usecases.brews.stops_noticed(notebook_of(request), key),
        "pictured": usecases.notebook.readings_with_photo(notebook_of(request), (item.key for item in view.readings)),
        "start": usecases.exchange.start_in_words(notebook_of(request), view.card.brew),
        "troubles": troubles_of(request, view.card.brew) if under_way else (),
    }


def _glance(request: Request, key: str, call: CallView) -> usecases.brews.Glance | None:
    view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
    return usecases.brews.brew_glance(notebook_of(request), view, call.thought.advice, now=clock_of(request))

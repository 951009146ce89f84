"""Put right what was written in, put it away, copy it; take a reading back; give a running brew a test."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError, NotFound
from aerobe.web._frame import Fields, clock_of, fields, go_to, live_of, notebook_of, page
from aerobe.web._typed import brew_start_of
from aerobe.web._views import call_of

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]
NOUNS = {"vessels": "vessel", "recipes": "recipe", "tests": "assay"}


@router.get("/shelf/{shelf}/{key}/edit")
def shelf_form(request: Request, shelf: str, key: str) -> Response:
    """What stands of a vessel, a recipe or a test, to be put right, with its history."""
    return page(request, "mend/form.html", context=_context(request, _noun(shelf), key))


@router.post("/shelf/{shelf}/{key}/edit")
def mend_shelf(request: Request, shelf: str, key: str, sent: Sent) -> Response:
    """Put a vessel, a recipe or a test right; what stood there stays in its history."""
    return _mend(request, _noun(shelf), key, sent, back="/shelf")


@router.post("/shelf/{shelf}/{key}/away")
def put_away(request: Request, shelf: str, key: str, sent: Sent) -> Response:
    """Put a vessel, a recipe or a test away, or bring it back."""
    return _away(request, _noun(shelf), key, sent, back="/shelf")


@router.post("/shelf/recipes/{key}/copy")
def copy_recipe(request: Request, key: str, sent: Sent) -> Response:
    """The recipe once more, to be changed."""
    made = usecases.brews.copy_recipe(notebook_of(request), key, now=clock_of(request), token=sent.text("entry"))
    return go_to(f"/shelf/recipes/{made}/edit?done=This+is+the+copy.+Change+what+is+different.")


@router.get("/brews/{key}/edit")
def brew_form(request: Request, key: str) -> Response:
    """What stands of a brew, to be put right, with its history."""
    return page(request, "mend/form.html", context=_context(request, "brew", key))


@router.post("/brews/{key}/edit")
def mend_brew(request: Request, key: str, sent: Sent) -> Response:
    """Put a brew right; what stood there stays in its history."""
    return _mend(request, "brew", key, sent, back=f"/brews/{key}")


@router.post("/brews/{key}/away")
def put_brew_away(request: Request, key: str, sent: Sent) -> Response:
    """Put a brew away, or bring it back."""
    return _away(request, "brew", key, sent, back="/")


@router.get("/away")
def away(request: Request) -> Response:
    """Everything that was put away, each with the way back."""
    return page(request, "mend/away.html", title="Put away", things=usecases.brews.things_put_away(notebook_of(request)))


@router.get("/brews/{key}/test")
def test_form(request: Request, key: str) -> Response:
    """The form that gives a brew a test after its start."""
    return page(request, "mend/test.html", context=_test_context(request, key))


@router.post("/brews/{key}/test")
def give_test(request: Request, key: str, sent: Sent) -> Response:
    """Give a brew a test after its start."""
    notebook = notebook_of(request)
    try:
        test = usecases.brews.give_test(notebook, key, brew_start_of(sent), now=clock_of(request))
    except AerobeError as fault:
        return page(request, "mend/test.html", status=422, fault=fault, sent=sent, context=_test_context(request, key))
    _told(request, key)
    return go_to(f"/brews/{key}/record?{urlencode({'what': f'assay:{test}', 'done': 'The brew has a test now.'})}")


@router.post("/brews/{key}/readings/{reading}/take-back")
def take_back(request: Request, key: str, reading: str) -> Response:
    """A reading that was entered by mistake counts no longer; it stays in the notebook."""
    notebook = notebook_of(request)
    if notebook.reading(reading).brew != key:
        raise NotFound(f"Brew '{key}' has no reading '{reading}'.", "Open the reading from the page of its own brew.")
    notebook.take_back_reading(reading, at=clock_of(request))
    _told(request, key)
    return go_to(f"/brews/{key}?done=Taken+back.+It+stays+in+the+history+and+counts+no+longer.")


def _noun(shelf: str) -> str:
    if shelf not in NOUNS:
        raise NotFound(f"There is no shelf of {shelf[:40]}.", f"Use one of: {', '.join(NOUNS)}.")
    return NOUNS[shelf]


def _context(request: Request, noun: str, key: str) -> dict[str, object]:
    found = usecases.brews.to_mend(notebook_of(request), noun, key)
    shelf = next((name for name, of in NOUNS.items() if of == noun), "")
    return {"title": found.name, "mend": found, "place": f"/shelf/{shelf}/{key}" if shelf else f"/brews/{key}"}


def _mend(request: Request, noun: str, key: str, sent: Fields, *, back: str) -> Response:
    typed = {name: values[-1] for name, values in sent.values.items() if values}
    notebook, now = notebook_of(request), clock_of(request)
    try:
        receipt = usecases.brews.mend(notebook, noun, key, typed, now=now, why=sent.text("why"))
    except AerobeError as fault:
        context = _context(request, noun, key)
        return page(request, "mend/form.html", status=422, fault=fault, sent=sent, typed=typed, context=context)
    _told(request, key if noun == "brew" else "")
    says = "Put right. What stood there stays in the history." if receipt.was_new else "Nothing was changed."
    return go_to(f"{back}?{urlencode({'done': says})}")


def _away(request: Request, noun: str, key: str, sent: Fields, *, back: str) -> Response:
    gone = not sent.ticked("back")
    usecases.brews.put_away_or_back(notebook_of(request), noun, key, away=gone, now=clock_of(request))
    live_of(request).tell("brews")
    says = "Put away. Nothing is lost: it stands under Put away." if gone else "Brought back."
    return go_to(f"{back}?{urlencode({'done': says})}")


def _test_context(request: Request, key: str) -> dict[str, object]:
    view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
    return {
        "title": f"A test for {view.card.brew.name}",
        "brew": view.card.brew,
        "choices": usecases.brews.start_choices(notebook_of(request)),
    }


def _told(request: Request, key: str) -> None:
    if key:
        view = usecases.brews.brew_view(notebook_of(request), key, now=clock_of(request))
        if view.card.state == "under way":
            call_of(request, view.card.brew, urgent=True)
        live_of(request).tell("brew", key)
    live_of(request).tell("brews")

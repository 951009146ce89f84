"""May this tea go there? Three questions first, then only what this use needs; and the table cell that decided."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.units import number
from aerobe.web._frame import Fields, clock_of, fields, notebook_of, page

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]

WITH_UNIT = ("tea", "water", "area", "mesh", "nozzle", "warmth")
# What is asked of everybody before anything else; the answers decide what else is asked.
FIRST = ("made_of", "edible", "sprayed", "days_to_harvest")


@router.get("/safety/use")
def use_form(request: Request, brew: str = "") -> Response:
    """The form of a use, planned or done."""
    return page(request, "safety/use.html", context=_context(request, brew))


@router.post("/safety/use")
def use(request: Request, sent: Sent) -> Response:
    """Ask, or keep what was done. The gates answer either way."""
    entry = usecases.safety.UseEntry.from_form(_entry_of(sent))
    notebook, now = notebook_of(request), clock_of(request)
    try:
        if sent.text("do") == "keep":
            receipt, answer = usecases.safety.record_use(notebook, entry, now=now)
            return page(
                request, "safety/use.html", context={**_context(request, entry.brew, answer), "kept": receipt.key}, sent=sent
            )
        answer = usecases.safety.ask_use(notebook, entry, now=now)
    except AerobeError as fault:
        return page(request, "safety/use.html", status=422, context=_context(request, entry.brew), fault=fault, sent=sent)
    return page(request, "safety/use.html", context=_context(request, entry.brew, answer), sent=sent)


@router.get("/safety/tables")
def tables(request: Request, place: str = "") -> Response:
    """The decision tables of a place, with paragraph, edition and age."""
    notebook = notebook_of(request)
    book = usecases.safety.rule_book(place or usecases.safety.place_of(notebook), now=clock_of(request))
    return page(request, "safety/tables.html", title="What the rules on file say", book=book)


@router.post("/api/safety/use")
def use_json(request: Request, sent: Annotated[dict[str, object], Body()]) -> dict[str, object]:
    """The question before a use, for programs; fields of `UseEntry`. Nothing is written."""
    answer = usecases.safety.ask_use(notebook_of(request), usecases.safety.UseEntry.from_form(sent), now=clock_of(request))
    return answer.as_data()


def _context(request: Request, brew: str, answer: usecases.safety.UseAnswer | None = None) -> dict[str, object]:
    notebook, now = notebook_of(request), clock_of(request)
    overview = usecases.brews.brews_overview(notebook, now=now)
    brews = [(card.brew.key, card.brew.name) for card in (*overview.under_way, *overview.earlier)]
    end = usecases.brews.brew_view(notebook, brew, now=now).harvest if brew in dict(brews) else None
    asked = () if answer is None else tuple(item for item in answer.asks if item.fact not in FIRST)
    shown = {*FIRST, *(item.fact for item in asked)}
    return {
        "title": "May this tea go there?",
        "brews": brews,
        "brew": brew,
        "drawn": number(end.volume_l) if end is not None and end.volume_l else "",
        "place": usecases.safety.place_of(notebook),
        "answer": answer,
        "kept": "",
        "field_of": usecases.safety.FIELD_OF,
        "materials": usecases.safety.MADE_OF,
        "certificates": usecases.safety.CERTIFICATES,
        "first": {item.fact: item for item in usecases.safety.questions()},
        "asked": asked,
        "others": tuple(
            item for item in usecases.safety.questions() if item.fact in usecases.safety.FIELD_OF and item.fact not in shown
        ),
        "first_words": usecases.safety.END_WORDS,
        "edition": usecases.safety.edition_title,
        "edition_age": lambda key: usecases.safety.edition_age(key, now=now),
        "suggested": {} if answer is None else {item.fact: item for item in usecases.safety.suggestions(answer.use.crop)},
        "cautions": usecases.safety.cautions_for("spraying", "edible"),
    }


def _entry_of(sent: Fields) -> dict[str, str]:
    """The fields as `UseEntry` takes them: number and unit joined, what was ticked in one text."""
    typed = {name: sent.text(name) for name in sent.values}
    for name in WITH_UNIT:
        if typed.get(name):
            typed[name] = f"{typed[name]} {typed.get(f'{name}_unit', '')}".strip()
    return {**typed, "made_of": ", ".join(filter(None, sent.all("made_of"))), "token": sent.text("entry")}

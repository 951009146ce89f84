"""Recipes, vessels and tests: written in once, then chosen by name for brews and trials."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.web._frame import Fields, clock_of, fields, go_to, menu_entry, notebook_of, page
from aerobe.web._typed import brew_start_of

router = APIRouter()
nav = menu_entry("Recipes and vessels", "/shelf", order=25, icon="shelf")
Sent = Annotated[Fields, Depends(fields)]


@router.get("/shelf")
def shelf(request: Request, then: str = "") -> Response:
    """What the notebook knows by name, and the forms that add to it. `then` is the plan that a person came from."""
    return page(request, "shelf/shelf.html", context=_context(request, then))


@router.post("/shelf/recipes")
def recipe(request: Request, sent: Sent) -> Response:
    """Add a recipe."""
    form = replace(brew_start_of(sent), volume=sent.quantity("batch"))
    return _add(request, sent, "recipe", lambda: usecases.brews.add_recipe(notebook_of(request), form, now=clock_of(request)))


@router.post("/shelf/vessels")
def vessels(request: Request, sent: Sent) -> Response:
    """Add a vessel, or several alike."""
    return _add(
        request,
        sent,
        "vessel",
        lambda: usecases.brews.add_vessels(
            notebook_of(request), brew_start_of(sent), how_many=sent.text("how_many", "1"), now=clock_of(request)
        ),
    )


@router.post("/shelf/tests")
def test(request: Request, sent: Sent) -> Response:
    """Add a test."""
    return _add(
        request, sent, "test", lambda: usecases.brews.add_test(notebook_of(request), brew_start_of(sent), now=clock_of(request))
    )


def _add(request: Request, sent: Fields, what: str, write: Any) -> Response:
    then = sent.text("then")
    try:
        write()
    except AerobeError as fault:
        return page(request, "shelf/shelf.html", status=422, fault=fault, sent=sent, opened=what, context=_context(request, then))
    name = sent.text({"recipe": "recipe_name", "vessel": "vessel_name", "test": "assay_name"}[what])
    return go_to("/shelf?" + urlencode({"done": f"{name or what.capitalize()} is written in.", "then": then}))


def _context(request: Request, then: str) -> dict[str, object]:
    choices = usecases.brews.start_choices(notebook_of(request))
    return {"title": "Recipes and vessels", "choices": choices, "then": then[:2000]}

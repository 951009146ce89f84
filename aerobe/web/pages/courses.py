"""Several brews on one chart, from a common start."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from aerobe import usecases
from aerobe.errors import UnusableRecord
from aerobe.web._frame import clock_of, notebook_of, page

router = APIRouter()


@router.get("/courses")
def courses(request: Request, brew: Annotated[list[str] | None, Query()] = None, recipe: str = "") -> Response:
    """Brews on one chart by the hours since each began: those named by `brew`, and the newest of `recipe`."""
    notebook, now = notebook_of(request), clock_of(request)
    fault = None
    try:
        found = usecases.brews.overlaid_brews(notebook, brew or (), recipe=recipe, now=now)
    except UnusableRecord as refused:
        fault, found = refused, usecases.brews.overlaid_brews(notebook, (), now=now)
    return page(
        request,
        "brews/courses.html",
        status=422 if fault else 200,
        title="Brews on one chart",
        found=found,
        ticked=found.chosen or tuple(brew or ()),
        fault=fault,
    )

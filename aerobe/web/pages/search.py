"""Everything that is written in, found by its words."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from aerobe import usecases
from aerobe.web._frame import notebook_of, page

router = APIRouter()


@router.get("/search")
def search(request: Request, q: str = "") -> Response:
    """What holds all these words in its name, its notes or what was typed."""
    found = usecases.notebook.search_notebook(notebook_of(request), q)
    return page(request, "search/found.html", title="Search", words=q, found=found)

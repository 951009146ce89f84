"""All subjects on one page, for the thumb."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from aerobe.web._frame import page

router = APIRouter()


@router.get("/menu")
def menu(request: Request) -> Response:
    """Every entry of the menu."""
    return page(request, "menu.html", title="Everything")

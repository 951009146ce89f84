"""How long the queue is before what a person asked for."""

from __future__ import annotations

from fastapi import APIRouter, Request

from aerobe.web._turns import Turns

router = APIRouter()


@router.get("/parts/turn")
async def turn(request: Request) -> dict[str, int | None]:
    """How many reports, files and plans are worked on before the asker's own; nothing if none of its own is under way."""
    turns: Turns = request.app.state.turns
    return {"before": turns.before(getattr(request.state, "aerobe_who", ""))}

"""Logs of probes, posted over HTTP by whoever holds a sender's token."""

from __future__ import annotations

import hashlib
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool

from aerobe import usecases
from aerobe.web._frame import clock_of, live_of, notebook_of, state_of
from aerobe.web._points import Batch, batches_from
from aerobe.web._senders import sender_of

router = APIRouter()
LONGEST_KEY = 60  # longer ones are kept by their hash
by_token = True  # a sender has no page and no form: its token stands for it


@router.post("/log/points")
async def points(request: Request, channel: str = "", unit: str = "") -> dict[str, object]:
    """Add values of a probe. Send the same `Idempotency-Key` with a repeated body, and it is kept once."""
    sender = await run_in_threadpool(sender_of, state_of(request), request.headers.get("authorization", ""))
    body, kind = await request.body(), request.headers.get("content-type", "")
    batches = await run_in_threadpool(batches_from, body, kind, channel=channel, unit=unit)  # a long one takes seconds
    token = request.headers.get("idempotency-key", "")
    if len(token) > LONGEST_KEY:  # cut, two long ones would be taken for one, and the second batch for one that came before
        token = hashlib.sha256(token.encode()).hexdigest()
    return await run_in_threadpool(_keep, request, sender, batches, token)


def _keep(request: Request, sender: dict[str, Any], batches: tuple[Batch, ...], token: str) -> dict[str, object]:
    notebook, now, kept = notebook_of(request), clock_of(request), 0
    brew = usecases.brews.brew_at(notebook, sender["place"], now=now)
    for place, batch in enumerate(batches):
        receipt = usecases.brews.take_points(
            notebook,
            place=brew.key,
            channel=batch.channel,
            unit=batch.unit,
            points=batch.points,
            now=now,
            probe=sender["name"],
            token=f"log-{sender['id']}-{token}-{place}" if token else "",
        )
        kept += receipt.points
    live_of(request).tell("brew", brew.key)
    return {"brew": brew.key, "new_points": kept}

"""Notices on a device: asked for, tried, and ended by the device itself."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse

from aerobe.errors import NotFound, UnusableRecord
from aerobe.web._frame import access_of
from aerobe.web._push import Notices

router = APIRouter()


def notices_of(request: Request) -> Notices:
    """Who gets notices from this app."""
    found: Notices = request.app.state.watch.notices
    return found


@router.post("/notices")
async def ask(request: Request) -> Response:
    """Tell this device of alarms, by the push service that its browser names."""
    await run_in_threadpool(notices_of(request).add, access_of(request).device, await _sent(request))
    return JSONResponse({"says": "This device is told."})


@router.post("/notices/end")
async def end(request: Request) -> Response:
    """Tell this device no more."""
    sent = await _sent(request)
    endpoint = sent.get("endpoint") if isinstance(sent, dict) else None
    if not isinstance(endpoint, str) or not endpoint:
        raise UnusableRecord("The browser did not say which notices end.", "Stop them in the settings of the browser.")
    await run_in_threadpool(notices_of(request).end, access_of(request).device, endpoint)
    return JSONResponse({"says": "This device is told no more."})


@router.post("/notices/trial")
def trial(request: Request) -> Response:
    """A notice to this device now, to see whether it arrives."""
    notices = notices_of(request)
    mine = notices.subscriptions(access_of(request).device)
    if not mine:
        raise NotFound("This device is not told of anything yet.", "Ask for notices first.")
    for item in mine:
        try:
            notices.send(
                item, {"title": "Aerobe", "body": "A trial: alarms will look like this.", "url": "/reminders", "tag": "trial"}
            )
        except OSError as fault:
            raise NotFound(
                f"The push service could not be reached: {fault}.", "This machine needs the internet for notices; mail does too."
            ) from None
    return JSONResponse({"says": "Sent. If nothing shows within a minute, the device holds notices back."})


async def _sent(request: Request) -> Any:
    try:
        return json.loads(await request.body())
    except (ValueError, RecursionError):
        raise UnusableRecord("That is no JSON.", "Ask for notices on the page Reminders.") from None

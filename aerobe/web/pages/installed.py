"""What makes the pages an app on the phone: manifest, worker for use without connection, live changes, an offline page."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Callable
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, StreamingResponse
from starlette.types import Receive, Scope, Send

from aerobe.web._frame import STATIC, access_of, asset, live_of, page
from aerobe.web._live import Live

router = APIRouter()
LISTENERS_AT_MOST = 200
OF_ONE_DEVICE = 12
OF_ALL_DEVICES = 160  # the machine itself always finds a seat
SHELL = ("app.css", "app.js", "vendor/htmx.min.js", "chart.js", "food.js", "icons.svg", "mark.svg")
PARTS_OF_APP = ("queue.js", "live.js")


@router.get("/app.webmanifest")
def manifest() -> Response:
    """The app's card for the home screen."""
    icons = [
        {"src": asset(f"mark-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png", "purpose": "any"}
        for size in (192, 512)
    ]
    return JSONResponse(
        {
            "name": "Aerobe",
            "short_name": "Aerobe",
            "description": "When to test and when to harvest a compost tea",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#fffdf8",
            "theme_color": "#1d5c3a",
            "icons": icons,
            "shortcuts": [{"name": "Record a reading", "url": "/record"}],
        },
        media_type="application/manifest+json",
    )


@router.get("/service-worker.js")
def worker() -> Response:
    """The worker that keeps pages for use without connection; its name for the store changes with the files it keeps."""
    return Response(_worker(), media_type="text/javascript")


@router.get("/offline")
def offline(request: Request) -> Response:
    """Shown for a page that this device has not seen before the connection went."""
    return page(request, "installed/offline.html", title="No connection")


@router.get("/live", response_model=None)
async def live(request: Request, after: str = "") -> Response:
    """Changes as they happen, as server-sent events: `brew <key>`, `brews`, `alarm`, `everything`.

    `after` is the place up to which the page's content is known (`<meta name="aerobe-place">`).
    """
    hub, device = live_of(request), access_of(request).device
    if not has_seat(hub, device):
        return JSONResponse({"problem": "Too many pages are open.", "remedy": "Close some of them."}, status_code=503)
    # The place is taken here, before the answer begins: five hundred that come at once must not all find one free.
    # A browser that lost the line says the last word it heard; a page that is new says up to which its content is known.
    ear = hub.listen(device, after=request.headers.get("last-event-id", "") or after)

    async def events() -> AsyncIterator[str]:
        yield "retry: 3000\n\n"
        async for topic, place in hub.topics(ear):
            yield f"id: {place}\ndata: {topic}\n\n" if topic else f"id: {place}\nevent: place\ndata: {place}\n\n"

    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return Heard(events(), media_type="text/event-stream", headers=headers, leave=lambda: hub.leave(ear))


def has_seat(hub: Live, device: str) -> bool:
    """Whether one more page of a device may listen; of this machine if it is empty."""
    own = hub.listening(device)
    if not device:
        return own < LISTENERS_AT_MOST - OF_ALL_DEVICES
    return own < OF_ONE_DEVICE and len(hub) - hub.listening("") < OF_ALL_DEVICES


class Heard(StreamingResponse):
    """A stream that gives its place back however it ends, also when its first word was never sent."""

    def __init__(self, *args: Any, leave: Callable[[], None], **how: Any) -> None:
        super().__init__(*args, **how)
        self.leave = leave

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self.leave()


@lru_cache(maxsize=1)
def _worker() -> str:
    # app.js asks for these without a mark, so they are kept under that name; their content counts in the version.
    files = [*(asset(name) for name in SHELL), *(f"/static/{name}" for name in PARTS_OF_APP)]
    version = hashlib.sha256("".join([*files, *(asset(name) for name in PARTS_OF_APP)]).encode()).hexdigest()[:12]
    text = (STATIC / "service-worker.js").read_text(encoding="utf-8")
    return text.replace('"@files"', ", ".join(f'"{name}"' for name in files)).replace("@version", version)

"""Answers of the gate itself, and the headers that every answer carries."""

from __future__ import annotations

import json

from starlette.responses import HTMLResponse
from starlette.types import Send

# Nothing from elsewhere, no inline script or style, never inside a foreign frame.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = [
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), geolocation=(), microphone=(self), payment=(), usb=()"),
]
OWN_HEADERS = {name.decode(): value.decode() for name, value in (*HEADERS, (b"cache-control", b"no-store"))}
NOT_PAIRED = "This device is not paired."


def plain(status: int, problem: str, remedy: str) -> HTMLResponse:
    """A page that needs nothing of the app, so that nothing of it can fail; its words are the program's own."""
    return HTMLResponse(
        f"<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>"
        f"<title>Aerobe</title><main><h1>{problem}</h1><p>{remedy}</p></main></html>",
        status_code=status,
        headers=OWN_HEADERS,
    )


async def redirect(send: Send, address: str) -> None:
    headers = [(b"location", address.encode("latin-1")), (b"content-length", b"0"), *HEADERS, (b"cache-control", b"no-store")]
    await send({"type": "http.response.start", "status": 307, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


async def answer(send: Send, status: int, problem: str, remedy: str, *, wants_json: bool) -> None:
    if wants_json:
        body, kind = json.dumps({"problem": problem, "remedy": remedy}).encode(), b"application/json"
    else:
        body = bytes(plain(status, problem, remedy).body)
        kind = b"text/html; charset=utf-8"
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode()), *HEADERS, (b"cache-control", b"no-store")]
    if status in (429, 503):
        headers.append((b"retry-after", b"10" if status == 429 else b"60"))
    if status == 400:
        headers.append((b"connection", b"close"))  # what follows on this line may be anything
    if problem == NOT_PAIRED:
        headers.append((b"x-aerobe-shut-out", b"yes"))  # the worker on the device throws away the pages it keeps
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})

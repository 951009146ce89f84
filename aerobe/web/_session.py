"""Who sends this form: a signed token in every form that only this device's pages can know."""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import secrets

from fastapi import Request
from starlette.requests import HTTPConnection

from aerobe.errors import NotAllowed, UnusableRecord
from aerobe.web._state import WebState

SESSION_COOKIE = "aerobe_session"
A_YEAR_S = 365 * 24 * 3600
SAFE = {"GET", "HEAD", "OPTIONS"}


def state_of(connection: HTTPConnection) -> WebState:
    """The app's memory."""
    state: WebState = connection.app.state.web_state
    return state


def session_of(connection: HTTPConnection) -> str:
    """The session named by the cookie, or a new one that the answer will set."""
    kept = getattr(connection.state, "aerobe_session", None) or connection.cookies.get(SESSION_COOKIE, "")
    # It goes back in a header: only what we would make ourselves, so nothing that could end a line.
    if not re.fullmatch(r"[A-Za-z0-9_-]{32,64}", kept):
        kept = secrets.token_urlsafe(32)
    connection.state.aerobe_session = kept
    return kept


def form_token(connection: HTTPConnection) -> str:
    """The token that this device's forms must carry."""
    return hmac.new(state_of(connection).secret, session_of(connection).encode(), hashlib.sha256).hexdigest()


async def require_own_form(request: Request) -> None:
    """Refuse a change that does not come from one of our own pages on this device.

    Raises
    ------
    NotAllowed
        If the origin is foreign or the token is missing or wrong.
    """
    if request.method in SAFE:
        return
    refused = NotAllowed("This form was not sent from a page of this app.", "Open the page again and repeat the entry.")
    origin = request.headers.get("origin")
    if origin is not None and origin.split("://", 1)[-1] != request.headers.get("host", ""):
        raise refused
    sent = request.headers.get("x-aerobe-form")
    if sent is None and _is_form(request):
        sent = str((await request.form()).get("form_token", ""))
    if request.cookies.get(SESSION_COOKIE) is None or sent is None or not sent.isascii():
        raise refused
    if not hmac.compare_digest(sent, form_token(request)):
        raise refused


async def require_whole_text(request: Request) -> None:
    """Refuse JSON with half a character in it, as an escape can write: nothing can show or keep it.

    Raises
    ------
    UnusableRecord
        If there is one.
    """
    if request.method in SAFE or "json" not in request.headers.get("content-type", ""):
        return
    try:
        json.dumps(json.loads(await request.body()), ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise UnusableRecord("A text holds half a character.", "Type it again, without signs that show as boxes.") from None
    except (ValueError, RecursionError):
        return  # no JSON at all: whoever reads it says so


def _is_form(request: Request) -> bool:
    kind = request.headers.get("content-type", "")
    return kind.startswith(("multipart/form-data", "application/x-www-form-urlencoded"))

"""Letting a phone in, and shutting it out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import FileResponse

from aerobe.errors import AerobeError, NotAllowed, NotFound
from aerobe.web._frame import Fields, access_of, fields, go_to, live_of, page, settings_of
from aerobe.web._guard import device_cookie
from aerobe.web._pairing import Pairing, picture_of, spelled
from aerobe.web._roles import HELPER, ROLES

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]


def pairing_of(request: Request) -> Pairing:
    """Codes and devices of this app."""
    found: Pairing = request.app.state.pairing
    return found


@router.get("/pair")
def ask(request: Request, code: str = "") -> Response:
    """The page a new device sees: its code, and one button."""
    # The code is only used by the button, so that a link preview or a scanner that looks ahead does not spend it.
    return page(
        request,
        "pair/ask.html",
        title="Pair this device",
        code=code[:20],
        authority=settings_of(request).authority is not None,
        secure=request.url.scheme == "https",
    )


@router.post("/pair")
def accept(request: Request, sent: Sent) -> Response:
    """Use a code."""
    try:
        token = pairing_of(request).accept(sent.text("code"), sent.text("name"), entry=sent.text("entry"))
    except AerobeError as fault:
        return page(
            request,
            "pair/ask.html",
            status=403,
            title="Pair this device",
            code="",
            fault=fault,
            sent=sent,
            authority=settings_of(request).authority is not None,
            secure=request.url.scheme == "https",
        )
    answer = go_to("/?done=This+device+is+paired.")
    answer.headers.append("set-cookie", device_cookie(pairing_of(request).cookie, token, secure=request.url.scheme == "https"))
    return answer


@router.get("/pair/authority.crt")
def authority(request: Request) -> Response:
    """The certificate that a phone is asked to trust for HTTPS."""
    path = settings_of(request).authority
    if path is None:
        raise NotFound("This app runs without HTTPS.", "Start it with `aerobe serve --share`.")
    return FileResponse(path, media_type="application/x-x509-ca-cert", filename="aerobe-authority.crt")


@router.post("/settings/devices/offer")
def offer(request: Request, sent: Sent) -> Response:
    """A code for one new device, shown on this one."""
    address = settings_of(request).address
    if not address:
        raise NotAllowed("The app is served to this machine only.", "Start it with `aerobe serve --share`, then pair your phone.")
    made = pairing_of(request).offer(role=sent.text("role", HELPER), by=access_of(request).device)
    link = f"{address}/pair?code={made.code}"
    return page(
        request,
        "pair/offer.html",
        title="Scan with the other device",
        picture=picture_of(link),
        link=link,
        code=spelled(made.code),
        until=made.until,
        role=made.role,
        may=ROLES[made.role],
    )


@router.post("/settings/devices/role")
def role(request: Request, sent: Sent) -> Response:
    """Make a device something else."""
    pairing_of(request).change_role(sent.text("device"), sent.text("role"))
    live_of(request).shut_out(sent.text("device"))  # its open pages ask again, as what it is now
    return go_to("/settings?done=The+device+is+set.")


@router.post("/settings/devices/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Shut one device out: its codes, its open pages and what it keeps of them."""
    pairing_of(request).remove(sent.text("device"))
    live_of(request).shut_out(sent.text("device"))
    return go_to("/settings?done=The+device+is+shut+out.")

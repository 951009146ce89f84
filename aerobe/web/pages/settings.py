"""Settings: devices, probes that send, the broker, alarms, light and dark."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool

from aerobe import __version__, usecases
from aerobe.errors import AerobeError, UnusableRecord
from aerobe.units import parse_number
from aerobe.web._alarm_settings import AlarmSettings
from aerobe.web._broker import broker_settings, topics_from
from aerobe.web._frame import LOOKS, Fields, clock_of, fields, go_to, menu_entry, notebook_of, page, settings_of, state_of
from aerobe.web._in_units import chosen_units
from aerobe.web._roles import ROLES
from aerobe.web._senders import add_sender, remove_sender, senders

router = APIRouter()
nav = menu_entry("Settings", "/settings", order=90, icon="settings", more=True)
Sent = Annotated[Fields, Depends(fields)]
MAIL_TEXTS = ("mail_to", "mail_from", "mail_host", "mail_user", "webhook", "quiet_from", "quiet_to")


@router.get("/settings")
def settings(request: Request) -> Response:
    """All settings."""
    return _page(request)


@router.post("/settings/senders")
def new_sender(request: Request, sent: Sent) -> Response:
    """A token for a probe that posts its values; shown once."""
    try:
        place = sent.text("place")
        if place not in {item.key for item in usecases.brews.start_choices(notebook_of(request)).vessels}:
            raise UnusableRecord(
                "Choose the vessel that the probe hangs in.", "Vessels are written in with the first brew in them."
            )
        token = add_sender(
            state_of(request), name=sent.text("sender_name"), place=place, now=clock_of(request), entry=sent.text("entry")
        )
    except AerobeError as fault:
        return _page(request, status=422, fault=fault, sent=sent)
    return page(
        request,
        "settings/token.html",
        title="A token for the probe",
        token=token,
        address=settings_of(request).address or str(request.base_url).rstrip("/"),
    )


@router.post("/settings/senders/remove")
def no_sender(request: Request, sent: Sent) -> Response:
    """Take a token back."""
    remove_sender(state_of(request), sent.text("sender"))
    return _done("The token is taken back.")


@router.post("/settings/broker")
async def broker(request: Request, sent: Sent) -> Response:
    """Another broker, other topics."""
    state = state_of(request)
    try:
        old = state.get("broker")
        kept: dict[str, Any] = {
            "host": sent.text("host"),
            "port": _port(sent.text("port", "1883")),
            "user": sent.text("user"),
            "tls": sent.ticked("tls"),
            "topics": topics_from(sent.text("topics")),
        }
        kept["password"] = _secret(sent.text("broker_password"), old, kept, of=("host", "port", "user", "tls"), name="password")
        if len(kept["host"]) > 200 or any(mark in kept["host"] for mark in " /\r\n"):
            raise UnusableRecord(
                f"'{kept['host']}' is no host.", "Write the broker's name or address only, such as 192.168.1.20."
            )
    except AerobeError as fault:
        return await run_in_threadpool(_page, request, 422, fault, sent)
    await run_in_threadpool(state.change, "broker", lambda _: kept)
    await request.app.state.broker.use(broker_settings(kept))
    return _done("The broker is set.")


@router.post("/settings/alarms")
def alarms(request: Request, sent: Sent) -> Response:
    """Where alarms go beside the page, and when not."""
    state = state_of(request)
    try:
        old = state.get("alarms")
        texts = {name: sent.text(name) for name in MAIL_TEXTS}
        port = _port(sent.text("mail_port", "587"))
        new: dict[str, Any] = {**texts, "mail_port": port}
        made = AlarmSettings(
            **texts,
            mail_port=port,
            urgent_breaks_quiet=sent.ticked("urgent_breaks_quiet"),
            mail_password=_secret(
                sent.text("mail_password"), old, new, of=("mail_host", "mail_port", "mail_user"), name="mail_password"
            ),
        )
    except AerobeError as fault:
        return _page(request, status=422, fault=fault, sent=sent)
    state.change("alarms", lambda _: asdict(made))
    return _done("Alarms are set.")


@router.post("/settings/look")
def look(request: Request, sent: Sent) -> Response:
    """Light, dark, or as the device says."""
    answer = _done("The look is set.")
    chosen = sent.text("look", "auto")
    answer.set_cookie("aerobe_look", chosen if chosen in LOOKS else "auto", max_age=31536000, samesite="lax")
    return answer


@router.post("/settings/units")
def units(request: Request, sent: Sent) -> Response:
    """The units, the money, the dates and the decimal sign of every page."""
    try:
        usecases.notebook.set_display_units(notebook_of(request), chosen_units(sent.values), now=clock_of(request))
    except AerobeError as fault:
        return _page(request, status=422, fault=fault, sent=sent)
    return _done("The units are set.")


def _page(request: Request, status: int = 200, fault: AerobeError | None = None, sent: Fields | None = None) -> Response:
    state, notebook = state_of(request), notebook_of(request)
    kept: dict[str, Any] = state.get("broker")
    return page(
        request,
        "settings/settings.html",
        status=status,
        title="Settings",
        fault=fault,
        sent=sent or Fields(),
        units_chosen=usecases.notebook.display_units_of(notebook),
        devices=request.app.state.pairing.devices(),
        roles=ROLES,
        senders=senders(state),
        vessels=usecases.brews.start_choices(notebook).vessels,
        alarm=AlarmSettings(**state.get("alarms")),
        broker=kept,
        broker_says=request.app.state.broker.says,
        topics="\n".join(
            " | ".join(item[name] for name in ("topic", "place", "channel", "unit")) for item in kept.get("topics", ())
        ),
        shared=bool(settings_of(request).address),
        sending_fault=request.app.state.watch.dispatch.says,
        version=__version__,
    )


def _secret(typed: str, old: dict[str, Any], new: dict[str, Any], *, of: tuple[str, ...], name: str) -> str:
    """A secret belongs to the place it was typed for: with another host, port or user the kept one is forgotten, never sent."""
    if typed or not new[of[0]] or not new[of[2]]:
        return typed
    kept: str = old.get(name, "") if all(old.get(part, False) == new[part] for part in of) else ""
    return kept


def _port(text: str) -> int:
    number = parse_number(text)
    if number != int(number) or not 1 <= number <= 65535:
        raise UnusableRecord(f"'{text}' is no port.", "Write a whole number from 1 to 65535.")
    return int(number)


def _done(words: str) -> Response:
    return go_to("/settings?" + urlencode({"done": words}))

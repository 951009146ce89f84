"""What every page needs. A page file imports from here:

    from aerobe.web._frame import Fields, clock_of, fields, go_to, live_of, menu_entry, notebook_of, page

    router = APIRouter()
    nav = menu_entry("Trials", "/trials", order=30)

    @router.get("/trials")
    def trials(request: Request) -> Response:
        return page(request, "trials/list.html", title="Trials", trials=usecases.trials.trial_list(notebook_of(request)))

    @router.post("/trials")
    def add(request: Request, sent: Annotated[Fields, Depends(fields)]) -> Response:
        try:
            key = usecases.trials.start_trial(notebook_of(request), name=sent.text("name"), now=clock_of(request))
        except AerobeError as fault:
            return page(request, "trials/form.html", status=422, title="New trial", fault=fault, sent=sent)
        return go_to(f"/trials/{key}")

Handlers are plain `def` (they run off the event loop). An `AerobeError` that a handler does not catch becomes a page
that shows problem and remedy. Templates extend "frame.html"; macros for fields, faults, charts and tables are in
"parts.html".
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from starlette.datastructures import UploadFile
from starlette.requests import HTTPConnection

from aerobe import usecases
from aerobe.errors import ImportFault
from aerobe.records import guess_mark
from aerobe.units import (
    DisplayUnits,
    display_units,
    given,
    number,
    shown_in,
    shown_markup,
    signs,
    signs_of_page,
    span,
    with_uncertainty,
)
from aerobe.web import _in_units as in_units
from aerobe.web._live import Live
from aerobe.web._roles import OWNER, Access
from aerobe.web._serve_settings import ServeSettings
from aerobe.web._session import form_token, state_of

HERE = Path(__file__).parent
STATIC = HERE / "static"
LOOKS = ("auto", "light", "dark")

__all__ = [
    "Fields",
    "NavItem",
    "access_of",
    "chosen_file",
    "clock_of",
    "fields",
    "go_to",
    "live_of",
    "menu_entry",
    "note_place",
    "notebook_of",
    "page",
    "settings_of",
    "state_of",
    "wants_json",
    "zipped",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class NavItem:
    """One entry of the menu."""

    label: str
    href: str
    order: int  # small numbers first
    icon: str = "dot"  # a symbol of static/icons.svg
    first: bool = False  # in the bar under the thumb, not only in the menu
    more: bool = False  # behind "More": for experts, or seldom wanted


def menu_entry(label: str, href: str, *, order: int, icon: str = "dot", first: bool = False, more: bool = False) -> NavItem:
    """An entry of the menu; a page file exposes it as `nav`."""
    return NavItem(label=label, href=href, order=order, icon=icon, first=first, more=more)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """What a form sent, as typed."""

    values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    files: Mapping[str, tuple[UploadFile, ...]] = field(default_factory=dict)

    def text(self, name: str, default: str = "") -> str:
        """The field without outer spaces; `default` if it was not sent or left empty."""
        found = self.values.get(name, ())
        return (found[-1].strip() if found else "") or default

    def quantity(self, name: str, default: str = "") -> str:
        """Number and unit of a field as one text; a unit typed behind the number wins over the chosen one."""
        typed = self.text(name)
        if not typed or typed[-1].isalpha() or typed[-1] == "%":
            return typed or default
        return f"{typed} {self.text(f'{name}_unit')}".strip()

    def all(self, name: str) -> tuple[str, ...]:
        """All values of a field that can be ticked or filled several times."""
        return tuple(item.strip() for item in self.values.get(name, ()))

    def ticked(self, name: str) -> bool:
        """Whether a box was ticked."""
        return self.text(name) not in ("", "0", "off", "no")

    def upload(self, name: str) -> UploadFile | None:
        """A file, if one was chosen."""
        found = self.files.get(name, ())
        return found[-1] if found and found[-1].filename else None


async def chosen_file(sent: Fields, name: str, *, choose: str) -> tuple[bytes, str]:
    """Content and name of the file that a form must bring; `choose` says which is meant."""
    upload = sent.upload(name)
    if upload is None:
        raise ImportFault("No file was chosen.", choose)
    return await upload.read(), (upload.filename or "file")[-120:]


async def fields(request: Request) -> Fields:
    """Dependency: the fields of a posted form."""
    kind = request.headers.get("content-type", "")
    if not kind.startswith(("multipart/form-data", "application/x-www-form-urlencoded")):
        return Fields()
    values: dict[str, tuple[str, ...]] = {}
    files: dict[str, tuple[UploadFile, ...]] = {}
    for name, item in (await request.form()).multi_items():
        if isinstance(item, UploadFile):
            files[name] = (*files.get(name, ()), item)
        else:
            values[name] = (*values.get(name, ()), item)
    if values.get("sent_at_ms") and values.get("age_s"):
        values["age_s"] = (age_on_arrival(values["age_s"][-1], values["sent_at_ms"][-1], now=clock_of(request)),)
    return Fields(values=values, files=files)


LONGEST_WAY_S = 120.0  # a page gives a sending up sooner; more than this is a clock that is wrong


def age_on_arrival(age_s: str, sent_at_ms: str, *, now: datetime) -> str:
    """The age of an entry when it is read here: what it was when it was sent, and the time that it was under way.

    Parameters
    ----------
    age_s
        As the device sent it. [s]
    sent_at_ms
        When it was sent, by the server's clock as the device knew it. [ms since 1970, UTC]
    now
        This machine's clock.

    Returns
    -------
    str
        The age; as it was sent if either cannot be read or the way took no possible time. [s]
    """
    try:
        way = now.timestamp() - float(sent_at_ms) / 1000.0
        return f"{float(age_s) + way:.3f}" if 0.0 < way < LONGEST_WAY_S else age_s
    except ValueError:
        return age_s


def notebook_of(connection: HTTPConnection) -> usecases.notebook.Notebook:
    """The open notebook that this app serves."""
    notebook: usecases.notebook.Notebook = connection.app.state.notebook
    return notebook


def clock_of(connection: HTTPConnection) -> datetime:
    """Now, with its offset. Tests put their own clock here."""
    now: datetime = connection.app.state.clock()
    return now


def live_of(connection: HTTPConnection) -> Live:
    """Where a page says that something changed: `live_of(request).tell("brew", key)`."""
    live: Live = connection.app.state.live
    return live


async def note_place(request: Request) -> None:
    """Dependency of every page: what is said from here on, the page is still to hear, since its content may be older."""
    request.state.aerobe_place = live_of(request).place


def access_of(connection: HTTPConnection) -> Access:
    """Who asks: this machine is the owner."""
    found: Access = getattr(connection.state, "aerobe_access", None) or Access(role=OWNER)
    return found


def settings_of(connection: HTTPConnection) -> ServeSettings:
    """How the app was started."""
    settings: ServeSettings = connection.app.state.settings
    return settings


def wants_json(request: Request) -> bool:
    """Whether a program asks, and not a person."""
    return "json" in request.headers.get("accept", "") or "json" in request.headers.get("content-type", "")


def go_to(address: str) -> Response:
    """After a form: show another page (303), so that reloading does not send the form again."""
    return RedirectResponse(address, status_code=303)


def page(
    request: Request,
    template: str,
    *,
    status: int = 200,
    title: str = "",
    context: Mapping[str, object] | None = None,
    **more: object,
) -> HTMLResponse:
    """A page inside the frame.

    Parameters
    ----------
    request
        The request being answered.
    template
        Path under `templates/`.
    status
        422 when a form comes back with a fault.
    title
        Heading and window title; may stand in the context instead.
    context, more
        What the template shows. `fault` (an AerobeError) and `sent` (Fields) are shown by the parts.
    """
    look, access = request.cookies.get("aerobe_look", "auto"), access_of(request)
    full = {
        "request": request,
        "title": title,
        "menu": request.app.state.menu,
        "path": request.url.path,
        "look": look if look in LOOKS else "auto",
        "form_token": form_token(request),
        "place": getattr(request.state, "aerobe_place", ""),
        "fault": None,
        "sent": Fields(),
        "access": access,
        "now": clock_of(request),
        "alarms": request.app.state.watch.boxes() if access.sees_brews else (),
        "damaged": notebook_of(request).damaged,
        "lost": notebook_of(request).lost if access.sees_brews else (),
        "notice": request.query_params.get("done", ""),
        "undo": _undo(request.query_params.get("undo", "")),
        **(context or {}),
        **more,
    }
    units = _units_of(request, full["sent"])
    with shown_in(units):
        drawn = environment().get_template(template).render(full, shown_units=units)
    return HTMLResponse(signs_of_page(shown_markup(units, drawn)), status_code=status)


def _units_of(request: Request, sent: object) -> DisplayUnits:
    """Display units of this page: those of its brew, and what was typed into its form stays as it is."""
    key = request.path_params.get("key", "") if re.search("/brews?/", request.url.path) else ""
    units = usecases.notebook.display_units_for(notebook_of(request), key) if key else display_units()
    if (units.is_house and not units.currency) or not isinstance(sent, Fields):
        return units
    typed = {text for name in sent.values for text in (sent.text(name), sent.quantity(name)) if text}
    return replace(units, as_typed=(*units.as_typed, *sorted(typed)))


def _undo(kept: str) -> str:
    """Address that takes back what was kept just now, from its brew and key; empty if it names nothing."""
    found = re.fullmatch(r"([\w.-]{1,80})/([\w.-]{1,80})", kept)
    return f"/brews/{found[1]}/readings/{found[2]}/take-back" if found else ""


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates with autoescape; an unknown name in a template is an error and not an empty place."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        number=number,
        given=given,
        json_data=json_data,
        clock=usecases.notebook.spoken,
        hours=hours_words,
        unit=signs,
        **in_units.FILTERS,
    )
    made.globals.update(
        asset=asset,
        entry_token=entry_token,
        guess_mark=guess_mark,
        **in_units.GLOBALS,
        span=span,
        with_uncertainty=with_uncertainty,
    )
    return made


def entry_token() -> str:
    """A name for one entry, made when its form opens: sent twice, kept once."""
    return secrets.token_urlsafe(18)


@lru_cache(maxsize=64)
def asset(name: str) -> str:
    """Address of a static file, with its content's mark so that a phone may keep it for good."""
    mark = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={mark}"


def json_data(value: object) -> Markup:
    """JSON for a data block in the page: nothing in it can end the block. Text is taken as JSON already written."""
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def hours_words(hours: float) -> str:
    """`18 h 20 min`."""
    minutes = round(abs(timedelta(hours=hours).total_seconds()) / 60)
    sign = "-" if hours < 0 and minutes else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02d} min"


def zipped(poster: usecases.reports.Poster, stem: str) -> Response:
    """All pictures to show of one poster as a download."""
    headers = {"Content-Disposition": f'attachment; filename="{stem}-pictures.zip"'}
    return Response(usecases.reports.packed_poster(poster, stem), media_type="application/zip", headers=headers)

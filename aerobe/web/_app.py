"""The app put together: gate, pages, faults."""

from __future__ import annotations

import asyncio
import importlib
import pkgutil
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from datetime import datetime
from functools import cache
from types import ModuleType
from typing import TYPE_CHECKING

from fastapi import APIRouter, Depends, FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import BaseRoute
from starlette.staticfiles import StaticFiles

from aerobe import usecases
from aerobe.errors import AerobeError, Damaged, NotAllowed, NotebookFault, NotFound
from aerobe.web import pages
from aerobe.web._answers import OWN_HEADERS, plain
from aerobe.web._bodies import TooMuch
from aerobe.web._broker import Broker, broker_settings
from aerobe.web._frame import STATIC, go_to, note_place, page, wants_json
from aerobe.web._guard import TOO_MUCH, Guard
from aerobe.web._in_units import InDisplayUnits
from aerobe.web._kept_reports import KeptReports
from aerobe.web._live import Live
from aerobe.web._pairing import Pairing
from aerobe.web._practising import open_practising
from aerobe.web._serve_settings import ServeSettings
from aerobe.web._session import require_own_form, require_whole_text
from aerobe.web._state import WebState, open_state
from aerobe.web._thinker import Thinker
from aerobe.web._turns import Turns
from aerobe.web._uploads import Uploads
from aerobe.web._watch import Watch

# A store that cannot write just now (busy, full disk) is no fault of the entry: a phone keeps it and sends it again.
STATUS: dict[type[AerobeError], int] = {NotFound: 404, NotAllowed: 403, NotebookFault: 503}


def system_clock() -> datetime:
    """Now in the machine's time zone."""
    return datetime.now().astimezone()


if TYPE_CHECKING:
    Advising = Callable[[usecases.notebook.Notebook, str, datetime], usecases.brews.Advice]
    LookingBack = Callable[[usecases.notebook.Notebook, str, datetime], usecases.brews.Hindsight]


def create_app(
    notebook: usecases.notebook.Notebook,
    *,
    state: WebState | None = None,
    clock: Callable[[], datetime] = system_clock,
    settings: ServeSettings | None = None,
    advise: Advising | None = None,
    look_back: LookingBack | None = None,
) -> FastAPI:
    """The app for one open notebook.

    Parameters
    ----------
    notebook
        What `aerobe.usecases` functions take as their first argument.
    state
        The app's own memory; kept in memory only if not given.
    clock
        Now, with offset.
    settings
        How it is started.
    advise
        What finds the call of a brew: `usecases.brews.advise_brew` if not given.
    look_back
        What looks back at an ended brew: `usecases.brews.look_back_at` if neither is given.

    Returns
    -------
    FastAPI
        An ASGI app. Pages are found in `aerobe.web.pages`.
    """
    state = state if state is not None else open_state(None)
    settings = settings if settings is not None else ServeSettings()
    app = FastAPI(title="Aerobe", docs_url=None, redoc_url=None, lifespan=_lifespan)
    app.state.notebook, app.state.web_state, app.state.clock = notebook, state, clock
    app.state.settings, app.state.live, app.state.uploads = settings, Live(), Uploads()
    app.state.pairing, app.state.reports, app.state.turns = Pairing(state, clock), KeptReports(), Turns()
    app.state.broker = Broker(notebook, app.state.live, clock, name=state.name)
    app.state.thinker = _thinker(notebook, clock, app.state.live, advise or _advise)
    app.state.hindsight = _hindsight(notebook, clock, app.state.live, look_back or (None if advise else _look_back))
    app.state.practising = open_practising(state, clock, app.state.live, able=advise is None)
    app.state.watch = Watch(notebook, state, app.state.live, app.state.thinker, clock)
    # A page file may show several entries: `nav` alone or a tuple of them.
    entries = [item for module in page_modules() for item in _entries(module)]
    app.state.menu = sorted(entries, key=lambda item: item.order)
    app.router.routes.extend(_pages())
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    _answer_faults(app)
    app.add_middleware(InDisplayUnits, notebook=notebook)
    app.add_middleware(
        Guard,
        pairing=app.state.pairing,
        turns=app.state.turns,
        names=settings.names,
        secure_port=settings.secure_port,
        burst=settings.burst,
        per_s=settings.per_s,
    )
    return app


@cache
def _pages() -> tuple[BaseRoute, ...]:
    """The routes of all pages. They hold nothing of an app, and what they ask of a request is worked out once a process."""
    every = APIRouter()
    for module in page_modules():
        own_form = [] if getattr(module, "by_token", False) else [Depends(require_own_form), Depends(require_whole_text)]
        every.include_router(module.router, dependencies=[Depends(note_place), *own_form])
    return tuple(every.routes)


def page_modules() -> Iterator[ModuleType]:
    """Every file under `pages` that has a router, by name."""
    for found in sorted(pkgutil.iter_modules(pages.__path__), key=lambda item: item.name):
        module = importlib.import_module(f"{pages.__name__}.{found.name}")
        if hasattr(module, "router"):
            yield module


def _entries(module: ModuleType) -> tuple[object, ...]:
    entries = getattr(module, "nav", ())
    return entries if isinstance(entries, tuple) else (entries,)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    state = app.state
    await state.broker.use(broker_settings(state.web_state.get("broker")))
    watching = asyncio.create_task(state.watch.run(), name="aerobe-watch") if state.settings.watching else None
    try:
        yield
    finally:
        if watching is not None:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
        await state.broker.stop()


def _advise(notebook: usecases.notebook.Notebook, brew: str, now: datetime) -> usecases.brews.Advice:
    # Looked up when it is first needed: the numerics behind it take seconds to load, the pages need not wait for them.
    return usecases.brews.advise_brew(notebook, brew, now)


def _thinker(
    notebook: usecases.notebook.Notebook, clock: Callable[[], datetime], live: Live, advise: Advising
) -> Thinker[usecases.brews.Advice]:
    def version(brew: str) -> tuple[int, int]:
        return usecases.brews.evidence_count(notebook, brew)

    return Thinker(lambda brew, now: advise(notebook, brew, now), version=version, clock=clock, live=live)


def _look_back(notebook: usecases.notebook.Notebook, brew: str, now: datetime) -> usecases.brews.Hindsight:
    return usecases.brews.look_back_at(notebook, brew, now)


def _hindsight(
    notebook: usecases.notebook.Notebook, clock: Callable[[], datetime], live: Live, look_back: LookingBack | None
) -> Thinker[usecases.brews.Hindsight]:
    """A worker of its own for ended brews: no call waits for them, and only the last few looked at are worked out."""

    def version(brew: str) -> tuple[int, int]:
        return usecases.brews.brew_version(notebook, brew), 0

    if look_back is None:
        return Thinker(None, version=version, clock=clock, live=live)

    def work(brew: str, now: datetime) -> usecases.brews.Hindsight:
        return look_back(notebook, brew, now)

    return Thinker(work, version=version, clock=clock, live=live, at_most=3, pause_s=2.0)


def _answer_faults(app: FastAPI) -> None:
    @app.exception_handler(AerobeError)
    async def fault(request: Request, fault: AerobeError) -> Response:
        if isinstance(fault, Damaged) and not app.state.notebook.damaged:
            await asyncio.to_thread(app.state.watch.show_whole_part)
            if app.state.notebook.damaged and request.method == "GET" and not wants_json(request):
                address = "/" + request.url.path.lstrip("/") + (f"?{request.url.query}" if request.url.query else "")
                return go_to(address)  # the same page, of what is whole
        status = next((number for kind, number in STATUS.items() if isinstance(fault, kind)), 422)
        return _fault(request, status, fault.problem, fault.remedy)

    @app.exception_handler(StarletteHTTPException)
    async def http(request: Request, fault: HTTPException) -> Response:
        if fault.status_code == 404:
            return _fault(request, 404, "There is no such page.", "Go back to the brews and start from there.")
        if fault.status_code == 405:
            answer = _fault(request, 405, "This page does not take what was sent.", "Open it from the menu.")
            answer.headers.update(fault.headers or {})
            return answer
        return _fault(request, fault.status_code, str(fault.detail), "Go back and try again.")

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, fault: RequestValidationError) -> Response:
        first = fault.errors()[0] if fault.errors() else {"loc": (), "msg": "unreadable"}
        where = " ".join(str(part) for part in first["loc"])
        return _fault(request, 422, f"{where}: {first['msg']}.", "Correct the value and send it again.")

    @app.exception_handler(Exception)
    async def ours(request: Request, fault: Exception) -> Response:
        # A bug of ours; the server still logs it with its trace.
        problem = "That did not work: a fault of the program."
        remedy = "What was kept before is safe. The window in which the app was started says more; try again, or another way."
        if wants_json(request):
            return JSONResponse({"problem": problem, "remedy": remedy}, 500, headers=OWN_HEADERS)
        return plain(500, problem, remedy)

    @app.exception_handler(ClientDisconnect)
    async def gone(request: Request, fault: ClientDisconnect) -> Response:
        # The line was cut before the form had arrived: nothing was done, and nobody is there to be told.
        return Response(status_code=400)

    @app.exception_handler(TooMuch)
    async def too_much(request: Request, fault: TooMuch) -> Response:
        return _fault(request, 413, *TOO_MUCH)


def _fault(request: Request, status: int, problem: str, remedy: str) -> Response:
    if wants_json(request):
        return JSONResponse({"problem": problem, "remedy": remedy}, status_code=status)
    return page(request, "fault.html", status=status, title="That did not work", problem=problem, remedy=remedy)

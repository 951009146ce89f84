"""A real browser over the app served on a port of this machine: for every test that drives one."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from aerobe.web._app import system_clock
from aerobe.web._serve import make_server

CHROMIUM = shutil.which("chromium")
ARGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 900}, "narrow": {"width": 320, "height": 568}}


@dataclass
class Served:
    """The app on a port of this machine, over a notebook of its own. It can be stopped and started again."""

    folder: Path
    port: int
    advise: Any = None
    clock: Any = system_clock
    server: Any = None
    thread: threading.Thread | None = None
    notebook: Any = None

    @property
    def base(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        self.notebook = usecases.notebook.open_notebook(self.folder / "tea.notebook", at=self.clock())
        settings = ServeSettings(photos=self.folder / "photos", burst=5000, per_s=5000)
        state = open_state(self.folder / "app.json")
        app = create_app(self.notebook, state=state, clock=self.clock, settings=settings, advise=self.advise)
        self.server = make_server(app, host="127.0.0.1", port=self.port, log_level="error", timeout_graceful_shutdown=3)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        for _ in range(200):
            if self.server.started:
                return
            time.sleep(0.05)
        raise AssertionError("the server did not start")

    def stop(self) -> None:
        self.server.should_exit = True
        assert self.thread is not None
        self.thread.join(15)
        self.notebook.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    made = Served(folder=tmp_path, port=free_port())
    made.start()
    yield made
    made.stop()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield made
        made.close()


@dataclass
class Visit:
    """One device: its page, and what the browser said about it."""

    page: Any
    context: Any
    faults: list[str]
    foreign: list[str]


def visit(browser: Any, served: Served, size: str, look: str = "light") -> Visit:
    """A device that notes every fault, every breach of the policy and every request to elsewhere."""
    phone = size != "desk"
    context = browser.new_context(viewport=SIZES[size], color_scheme=look, has_touch=phone, is_mobile=phone, locale="de-DE")
    page = context.new_page()
    made = Visit(page=page, context=context, faults=[], foreign=[])
    page.on("pageerror", lambda fault: made.faults.append(str(fault)))
    page.on(
        "console", lambda told: made.faults.append(told.text) if told.type == "error" and "net::ERR" not in told.text else None
    )
    context.on(
        "request", lambda asked: None if asked.url.startswith((served.base, "data:", "blob:")) else made.foreign.append(asked.url)
    )
    page.set_default_timeout(60_000)  # how long the machine may take is not what is tested
    return made


def until(page: Any, script: str, argument: Any = None, seconds: float = 30.0) -> None:
    """Look until the script says true. The page's own policy forbids the waiting that the driver would build into it."""
    end = time.monotonic() + seconds
    while not answered(page, script, argument):
        assert time.monotonic() < end, f"it never came true: {script}\n{page.locator('#main').inner_text()[:1500]}"
        time.sleep(0.1)


def answered(page: Any, script: str, argument: Any = None) -> Any:
    """What the script says; asked again if the page renews itself just then, as a kept copy does."""
    from playwright.sync_api import Error

    for last in (False, False, False, True):
        try:
            return page.evaluate(script, argument)
        except Error as fault:
            if last or "context was destroyed" not in str(fault):
                raise
            page.wait_for_load_state("load")
    return None


def go(page: Any, address: str) -> None:
    """Open an address; once more if the page that is left renews itself in the same moment."""
    from playwright.sync_api import Error

    for last in (False, False, True):
        try:
            page.goto(address)
            return
        except Error as fault:
            if last or not any(words in str(fault) for words in ("ERR_ABORTED", "interrupted by another navigation")):
                raise

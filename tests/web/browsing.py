"""A real browser over the app served on a port of this machine: for every test that drives one."""

from __future__ import annotations

import json
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from aerobe.web._app import system_clock
from aerobe.web._serve import make_server
from tests.calls import no_call
from tests.ports import free_port
from tests.web.conftest import BREW, form_token

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
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
PATIENCE_S = 240.0  # how long the machine may take is not what is tested
SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 900}, "narrow": {"width": 320, "height": 568}}


@dataclass
class Served:
    """The app on a port of this machine, over a notebook of its own. It can be stopped and started again."""

    folder: Path
    port: int
    advise: Any = None
    clock: Any = system_clock
    watching: bool = True
    server: Any = None
    thread: threading.Thread | None = None
    notebook: Any = None

    @property
    def base(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        self.notebook = usecases.notebook.open_notebook(self.folder / "tea.notebook", at=self.clock())
        settings = ServeSettings(photos=self.folder / "photos", burst=5000, per_s=5000, watching=self.watching)
        state = open_state(self.folder / "app.json")
        app = create_app(self.notebook, state=state, clock=self.clock, settings=settings, advise=self.advise)
        self.server = make_server(app, host="127.0.0.1", port=self.port, log_level="error", timeout_graceful_shutdown=3)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        end = time.monotonic() + PATIENCE_S
        while not self.server.started:
            assert self.thread.is_alive() and time.monotonic() < end, "the server did not start"
            time.sleep(0.02)

    def stop(self) -> None:
        self.server.should_exit = True
        assert self.thread is not None
        self.thread.join(PATIENCE_S)
        assert not self.thread.is_alive(), "the server did not end"
        self.notebook.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """An app over an empty notebook that finds no call."""
    made = Served(folder=tmp_path, port=free_port(), advise=no_call)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def calling(tmp_path: Path) -> Iterator[Served]:
    """The same, and it finds the call of each brew."""
    made = Served(folder=tmp_path, port=free_port())
    made.start()
    yield made
    made.stop()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The invented yard, so that every page has something to show."""
    made = Served(folder=tmp_path_factory.mktemp("demo"), port=free_port())
    made.start()
    usecases.notebook.make_demo(made.notebook, now=datetime.now().astimezone())
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
    page.set_default_timeout(1000 * PATIENCE_S)
    return made


def ago(hours: float) -> str:
    """An hour of this machine's clock, as a person types it: also where the clocks were changed since then."""
    return (datetime.now().astimezone() - timedelta(hours=hours)).astimezone().strftime("%Y-%m-%d %H:%M")


def with_a_brew(served: Served, hours: float = 2.0) -> str:
    """A brew under air since then, sent as its form sends it; gives the address of its page."""
    with httpx.Client(base_url=served.base, timeout=PATIENCE_S) as device:
        token = form_token(device.get("/menu").text)
        typed = BREW | {"name": "Barrel by the door", "started_at": ago(hours)}
        answer = device.post("/brews", data=typed, headers={"x-aerobe-form": token})
    assert answer.status_code == 303, answer.text
    return f"{served.base}{answer.headers['location'].partition('?')[0]}"


def violations(page: Any, rules: list[str] | None = None) -> list[Any]:
    """What axe-core finds on the page that stands, by all its rules or by these."""
    asked = json.dumps({"resultTypes": ["violations"], "preload": False, **({"runOnly": rules} if rules else {})})
    check = f"axe.run(document, {asked}).then(told => told.violations)"
    told = page.evaluate(f"window.axe ? {check} : null")  # it is brought to each page once
    found: list[Any] = page.evaluate(f"{AXE}\n;{check}") if told is None else told
    return found


# The page stands as a whole, and what its scripts do at its start is done.
WHOLE = "document.readyState === 'complete'"


def until(page: Any, script: str, argument: Any = None, seconds: float = PATIENCE_S) -> Any:
    """Look until the script says something true, and give that. The page may renew itself meanwhile.

    The page's own policy forbids the waiting that the driver would build into it.
    """
    from playwright.sync_api import Error

    end, fault = time.monotonic() + seconds, ""
    while True:
        try:
            if told := page.evaluate(script, argument):
                return told
        except Error as found:  # no page at this moment, or not yet what the script asks about
            fault = str(found)
        if time.monotonic() > end:
            raise AssertionError(f"it never came true: {script}\n{fault}\n{page.url}\n{page.locator('body').inner_text()[:1500]}")
        page.wait_for_timeout(50)


def arrive(page: Any, pattern: str) -> None:
    """Wait until a page of this address stands, whatever was begun and given up before it. `*` is no slash, `**` is anything."""
    signs = {"**": ".*", "*": "[^/]*"}
    wanted = re.compile("".join(signs.get(part) or re.escape(part) for part in re.split(r"(\*\*|\*)", pattern)))
    end = time.monotonic() + PATIENCE_S
    while not wanted.fullmatch(page.url):
        assert time.monotonic() < end, f"{page.url} is not {pattern}"
        page.wait_for_timeout(50)
    until(page, WHOLE)


def steadily(page: Any, look: Callable[[], Any]) -> Any:
    """What a look at the page tells; once more if the page renewed itself under it."""
    from playwright.sync_api import Error

    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            return look()
        except Error as fault:
            if time.monotonic() > end or not any(
                words in str(fault) for words in ("destroyed", "navigat", "detached", "not attached")
            ):
                raise
            until(page, WHOLE)


def answered(page: Any, script: str, argument: Any = None) -> Any:
    """What the script says; asked again if the page renews itself just then, as a kept copy does."""
    return steadily(page, lambda: page.evaluate(script, argument))


def tap_twice(button: Any) -> None:
    """A double tap, as fast as one can be on any machine."""
    button.evaluate("button => { button.click(); button.click(); }")


def go(page: Any, address: str) -> Any:
    """Open an address; once more if the page that is left renews itself in the same moment. Gives the answer that came."""
    from playwright.sync_api import Error

    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            return page.goto(address)
        except Error as fault:
            words = ("ERR_ABORTED", "interrupted by another navigation")
            if time.monotonic() > end or not any(one in str(fault) for one in words):
                raise


# What a page asks for by itself has come.
AT_REST = "document.readyState === 'complete' && !document.querySelector('.htmx-request')"
# Nothing moves any more but what moves without end.
STILL = """document.getAnimations().every(
  one => one.playState !== 'running' || one.effect.getComputedTiming().endTime === Infinity)"""


def let_parts_arrive(page: Any) -> None:
    """Up to seven tenths of a second; a page that asks for nothing is looked at at once. Slow parts are pages of their own."""
    for _ in range(7):
        if answered(page, AT_REST):
            break
        page.wait_for_timeout(100)
    until(page, STILL)

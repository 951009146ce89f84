"""How much does the app ask of a newcomer? Six tasks from an empty notebook, on a phone: taps, fields, words read, time.

    python benchmarks/how_much_is_asked.py [pause]

A browser does what a person would, from the first screen on: start a brew, record a value, mend a slip, learn whether a test
is any good, plan a trial of two recipes, have a report to publish. A tap is a press on a link, button or fold; a field is a
thing typed or chosen. Words read are all that stand open on each page that is passed, so no person reads more. `pause` is how
long the person thinks at each field [s], 2 unless given; the time is that of the script with these pauses, on this machine as
it is now.

Before: what the same tasks took in the first make of the pages, counted on its forms, where that was written down.
"""

from __future__ import annotations

import os
import platform
import shutil
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from aerobe.web._serve import make_server

PHONE = {"width": 390, "height": 844}
BEFORE = {
    "start a brew": "34 fields on 3,224 px, refused four times, one fault each",
    "record a value": "2 taps, 1 field",
    "mend a slip": "could not be done",
    "is my test any good": "a table of 12 columns to paste, 13 paragraphs of answer",
    "plan a trial of two recipes": "not counted",
    "a report to publish": "a PDF to be fetched unseen",
}


@dataclass
class Hand:
    """A person's hand on a page, and what it has done since the task began."""

    page: Any
    base: str
    pause_s: float = 0.0
    taps: int = 0
    fields: int = 0
    words: int = 0

    def begin(self) -> None:
        """A new task, from the first screen."""
        self.taps = self.fields = self.words = 0
        self.page.goto(self.base + "/")
        self.read()

    def read(self) -> None:
        """All words that stand open on the page."""
        self.page.locator("#main").wait_for()
        self.words += len(self.page.locator("#main").inner_text().split())

    def tap(self, thing: Any, *, to: str = "") -> None:
        """Press something; `to` is the address that it leads to, whose page is then read."""
        thing.click()
        self.taps += 1
        if to:
            self.page.wait_for_url(to)
            self.read()

    def fill(self, name: str, text: str) -> None:
        """Type into a field."""
        time.sleep(self.pause_s)
        self.page.locator(f"#{name}").fill(text)
        self.fields += 1

    def choose(self, name: str, value: str) -> None:
        """Take one of a list."""
        time.sleep(self.pause_s)
        self.page.locator(f"#{name}").select_option(value)
        self.fields += 1

    def link(self, words: str) -> Any:
        """A link by its words."""
        return self.page.get_by_role("link", name=words, exact=True).locator("visible=true").first

    def button(self, words: str) -> Any:
        """A button by its words."""
        return self.page.get_by_role("button", name=words, exact=True).locator("visible=true").first


def start(hand: Hand) -> None:
    """Four answers and the air runs."""
    hand.tap(hand.link("Start the first brew"), to="**/brews/new")
    hand.fill("volume", "20")
    hand.fill("compost_amount", "0,5")
    hand.choose("food_1", "molasses")
    time.sleep(hand.pause_s)
    hand.page.get_by_role("radio", name="I don’t know").check()
    hand.fields += 1
    hand.tap(hand.button("Start the clock"), to="**/brews/brew-of-*")


def record(hand: Hand) -> None:
    """A value of the oxygen meter."""
    hand.tap(hand.link("Record"), to="**/record")
    hand.fill("signal", "7,9")
    hand.tap(hand.button("Keep"), to="**/brews/brew-of-*")


def mend(hand: Hand) -> None:
    """The vessel holds 25 litres, not 20."""
    hand.tap(hand.link("Curve and details"), to="**/brews/brew-of-*")
    hand.tap(hand.page.get_by_text("Vessel, recipe and settings"))
    hand.tap(hand.link("Its vessel and air"), to="**/edit")
    hand.fill("volume", "25 L")
    hand.tap(hand.button("Put it right"))
    hand.page.locator(".done").first.wait_for()


def characterise(hand: Hand) -> None:
    """Water, the tea again and again, the tea diluted."""
    hand.tap(hand.page.locator('.rail a[href="/menu"]'), to="**/menu")
    hand.tap(hand.page.locator('#main a[href="/assay"]'), to="**/assay")
    for name, readings in (("water", "0,5 0,7 0,4 0,6"), ("again", "41 44 40 43"), ("half", "21 22"), ("quarter", "11 10")):
        hand.fill(name, readings)
    hand.tap(hand.button("Is it any good?"))
    hand.page.get_by_text("Good for", exact=True).first.wait_for()
    hand.read()


def plan(hand: Hand) -> None:
    """The recipe of the first brew against the same without food."""
    hand.tap(hand.page.locator('.rail a[href="/menu"]'), to="**/menu")
    hand.tap(hand.page.locator('#main a[href="/shelf"]'), to="**/shelf")
    hand.tap(hand.page.get_by_text("Change or copy").first, to="**/edit")
    hand.tap(hand.button("Copy this recipe"), to="**/edit*")
    hand.fill("name", "Plain")
    hand.fill("foods", "")
    hand.tap(hand.button("Put it right"))
    hand.page.locator(".done").first.wait_for()
    hand.tap(hand.page.locator('.rail a[href="/menu"]'), to="**/menu")
    hand.tap(hand.page.locator('#main a[href="/trials"]'), to="**/trials")
    hand.tap(hand.link("Plan a trial"), to="**/trials/new")
    hand.fill("name", "Food or none")
    for box in hand.page.locator('input[name="arms"][type="checkbox"]').all():
        time.sleep(hand.pause_s)
        box.check()
        hand.fields += 1
    hand.tap(hand.button("See what this can answer"))
    hand.page.get_by_role("heading", name="Plan: Food or none").wait_for()
    hand.read()
    hand.tap(hand.page.locator('form[action="/trials"] button'), to="**/trials/food-or-none*")


def publish(hand: Hand) -> None:
    """The report of the first brew on the screen, with its files one tap away."""
    hand.tap(hand.page.locator('.rail a[href="/menu"]'), to="**/menu")
    hand.tap(hand.page.locator('#main a[href="/reports"]'), to="**/reports")
    hand.tap(hand.page.locator('a[href^="/reports/brew/"]').first, to="**/reports/brew/*")
    hand.page.get_by_role("link", name="Data package").wait_for()


TASKS: dict[str, Callable[[Hand], None]] = {
    "start a brew": start,
    "record a value": record,
    "mend a slip": mend,
    "is my test any good": characterise,
    "plan a trial of two recipes": plan,
    "a report to publish": publish,
}


def asked_of(hand: Hand, task: str) -> tuple[int, int, int, float]:
    """Taps, fields, words read and seconds of one task."""
    began = time.monotonic()
    hand.begin()
    TASKS[task](hand)
    return hand.taps, hand.fields, hand.words, time.monotonic() - began


def called(hand: Hand) -> float:
    """How long the page of a brew that has just begun works until its call stands there [s]."""
    began = time.monotonic()
    say = hand.page.locator(".call .say").first
    say.wait_for()
    while "Working" in say.inner_text():
        time.sleep(0.1)
    return time.monotonic() - began


@contextmanager
def empty_app(advise: Any = None) -> Iterator[tuple[str, Any]]:
    """The app over an empty notebook: its address, and the notebook. `advise` finds calls in the place of the model."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        now = datetime.now().astimezone()
        with usecases.notebook.open_notebook(Path(folder) / "tea.notebook", at=now) as notebook:
            app = create_app(notebook, state=open_state(None), settings=ServeSettings(burst=5000, per_s=5000), advise=advise)
            server = make_server(app, host="127.0.0.1", port=port, log_level="error", timeout_graceful_shutdown=3)
            serving = threading.Thread(target=server.run, daemon=True)
            serving.start()
            while not server.started:
                time.sleep(0.05)
            yield f"http://localhost:{port}", notebook
            server.should_exit = True
            serving.join(20)


@contextmanager
def newcomer(base: str, pause_s: float) -> Iterator[Hand]:
    """Somebody with a phone who was never there."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        args = ["--headless", "--no-sandbox", "--disable-gpu"]
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=args)
        page = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, locale="de-DE").new_page()
        page.set_default_timeout(240_000)
        yield Hand(page=page, base=base, pause_s=pause_s)
        browser.close()


def main() -> None:
    """Do the six tasks and print the table."""
    pause_s = float(sys.argv[1]) if len(sys.argv) > 1 else 2.0
    with empty_app() as (base, _), newcomer(base, pause_s) as hand:
        machine = platform.processor() or platform.machine()
        print(f"{machine}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {pause_s:g} s at each field")
        print(f"{'task':30}{'taps':>6}{'fields':>8}{'words':>7}{'s':>7}  before")
        for task in TASKS:
            taps, fields, words, seconds = asked_of(hand, task)
            print(f"{task:30}{taps:6}{fields:8}{words:7}{seconds:7.0f}  {BEFORE[task]}", flush=True)
            if task == "start a brew":
                print(f"{'... and its first call is there':51}{seconds + called(hand):7.0f}", flush=True)


if __name__ == "__main__":
    main()

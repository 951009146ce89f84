"""The same job by the same person in a real browser, on a phone of 390 px."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.fewer import fewer_courses
from tests.ports import free_port
from tests.web.browsing import CHROMIUM, PATIENCE_S, WHOLE, Served, Visit, browser, go, steadily, until, visit
from tests.whole_job.browse import Browser, PlainBrowser
from tests.whole_job.job import Clock, Person, do_the_job
from tests.whole_job.test_whole_job import by_hand, told, true_ratio
from tests.whole_job.world import World

__all__ = ["browser"]  # the fixture of the other browser tests
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]

# Every word of the page, those of its closed parts too, as the browser without a screen reads them.
WORDS = """page => {
  const walk = document.createTreeWalker(page, NodeFilter.SHOW_TEXT), found = [];
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    if (!node.parentElement.closest("script, style, option, textarea, svg")) found.push(node.data);
  }
  return found.join(" ");
}"""
LINKS = "main a:not(#alarms a)"
FIRST = """([selector, words]) => [...document.querySelectorAll(selector)].find(
  item => (item.getAttribute("aria-label") || item.textContent).replace(/\\s+/g, " ").toLowerCase().includes(words))"""
PRESS = f"""asked => {{
  const item = ({FIRST})(asked);
  if (!item || !item.checkVisibility()) return item ? "hidden" : "not there";
  const box = item.getBoundingClientRect();
  if (box.left < 0 || box.width < 1) return "outside the screen";
  window.pressed = true;
  setTimeout(() => item.click());
  return {{ target: item.href || "", own: Boolean(item.form?.hasAttribute("data-queue")) }};
}}"""
OPEN = "field => { for (let at = field.closest('details'); at; at = at.parentElement.closest('details')) at.open = true; }"


@dataclass
class Chromium:
    """The browser of the whole job, with a screen: links and buttons are found by their words and pressed where they stand."""

    one: Visit
    base: str

    def take(self, brew: str) -> None:
        """One device does it all."""

    def open(self, path: str) -> None:
        go(self.one.page, self.base + path)

    def follow(self, words: str, near: str = "") -> None:
        # An alarm stands on every page and links its brew; what the page itself links is meant.
        self._leave(LINKS, words)

    def fetch(self, words: str) -> bytes:
        with self.one.page.expect_download() as coming:
            self._find(LINKS, words).click()
        return Path(coming.value.path()).read_bytes()

    def press(self, button: str, **typed: Any) -> None:
        key = self._find("main form button", button)
        key.evaluate(OPEN)
        form = key.evaluate_handle("key => key.form").as_element()
        for name, value in typed.items():
            self._fill(form, name, value)
        self._leave("main form button", button)

    def text(self) -> str:
        page = self.one.page
        read = f"() => ({WORDS})(document.querySelector('main') ?? document.body)"
        return re.sub(r"\s+", " ", steadily(page, lambda: page.evaluate(read))).strip()

    def _find(self, selector: str, words: str) -> Any:
        """The first with these words, found in one look: a call that arrives meanwhile may change the page."""
        page = self.one.page
        found = steadily(page, lambda: page.evaluate_handle(FIRST, [selector, words.casefold()]).as_element())
        said = page.locator(selector).all_inner_texts() if found is None else ()
        assert found is not None, f"{page.url} has no '{words}' among: {said}"
        return found

    def _leave(self, selector: str, words: str) -> None:
        """Press what leads to another page and wait until that page stands: a link's own, or any after a form but its own."""
        page = self.one.page
        self._find(selector, words)
        here = page.url
        pressed = steadily(page, lambda: page.evaluate(PRESS, [selector, words.casefold()]))
        assert isinstance(pressed, dict), f"{page.url} has no '{words}' to be seen ({pressed})"
        target, own = pressed["target"], pressed["own"]

        def arrived(url: str) -> bool:
            return url == target if target else not own or url.split("?")[0] != here.split("?")[0]

        end = time.monotonic() + PATIENCE_S
        while not (arrived(page.url) and until(page, f"window.pressed ? 'old' : {WHOLE} && 'new'") == "new"):
            assert time.monotonic() < end, f"'{words}' led from {here} to {page.url}"
            page.wait_for_timeout(50)

    def _fill(self, form: Any, name: str, value: Any) -> None:
        field = form.query_selector(f'[name="{name}"]')
        assert field is not None, f"the form on {self.one.page.url} has no field '{name}'"
        kind = field.evaluate("field => field.type")
        field.evaluate(OPEN)
        if kind in ("radio", "checkbox"):
            for each in value if isinstance(value, tuple) else (value,):
                form.query_selector(f'[name="{name}"][value="{each}"]').check(force=True)
        elif kind == "select-one":
            field.select_option(value)
        elif kind == "file":
            field.set_input_files({"name": value[0], "buffer": value[1], "mimeType": value[2]})
        elif kind != "hidden":
            field.fill(value)


@dataclass
class Household:
    """The phone stands by two of the buckets and does all that is no bucket's; the others are entered at the machine itself."""

    phone: Chromium
    machine: PlainBrowser
    by_phone: set[str] = field(default_factory=set)
    now: Browser = field(init=False)

    def __post_init__(self) -> None:
        self.now = self.phone

    def take(self, brew: str) -> None:
        if brew and len(self.by_phone) < 2:
            self.by_phone.add(brew)
        self.now = self.machine if brew and brew not in self.by_phone else self.phone

    def open(self, path: str) -> None:
        self.now.open(path)

    def follow(self, words: str, near: str = "") -> None:
        self.now.follow(words, near)

    def fetch(self, words: str) -> bytes:
        return self.now.fetch(words)

    def press(self, button: str, **typed: Any) -> None:
        self.now.press(button, **typed)

    def text(self) -> str:
        return self.now.text()


@pytest.fixture
def person(browser: Any, tmp_path: Path) -> Iterator[Person]:
    clock = Clock()
    served = Served(folder=tmp_path, port=free_port(), clock=clock, watching=False)
    served.start()
    one = visit(browser, served, "phone")
    # What the courses say is asked in the job without a screen; here it is asked whether a person gets through on a phone.
    with fewer_courses(), httpx.Client(base_url=served.base, timeout=PATIENCE_S) as client:
        both = Household(phone=Chromium(one=one, base=served.base), machine=PlainBrowser(client))
        yield Person(browse=both, clock=clock, world=World(feeds=1.0, seed=3))
    one.context.close()
    served.stop()


def test_the_whole_job_on_a_phone(person: Person) -> None:
    do_the_job(person)
    report, package = person.publish()
    assert report.startswith(b"%PDF") and package.startswith(b"PK")
    ratio, low, high = told(person.verdict)
    assert "with-molasses is better than plain" in person.verdict and low <= true_ratio(person) <= high
    assert (ratio, low, high) == pytest.approx(by_hand(person), rel=0.03)
    assert isinstance(person.browse, Household)
    one = person.browse.phone.one
    assert one.faults == [] and one.foreign == []
    wide = one.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390

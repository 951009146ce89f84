"""The same job by the same person in a real browser, on a phone of 390 px."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_browser import CHROMIUM, Served, Visit, browser, free_port, visit
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
OPEN = (
    "field => { for (let at = field.closest('details'); at; at = at.parentElement.closest('details')) at.open = true; }"
)


@dataclass
class Chromium:
    """The browser of the whole job, with a screen: links and buttons are found by their words and pressed where they stand."""

    one: Visit
    base: str

    def open(self, path: str) -> None:
        self.one.page.goto(self.base + path)

    def follow(self, words: str, near: str = "") -> None:
        with self.one.page.expect_navigation():
            self._link(words).click()

    def fetch(self, words: str) -> bytes:
        with self.one.page.expect_download() as coming:
            self._link(words).click()
        return Path(coming.value.path()).read_bytes()

    def press(self, button: str, **typed: Any) -> None:
        keys = self.one.page.locator("main form button")
        words = keys.evaluate_all("keys => keys.map(key => key.getAttribute('aria-label') || key.textContent)")
        places = [place for place, said in enumerate(words) if button.casefold() in " ".join(said.split()).casefold()]
        assert places, f"{self.one.page.url} has no button '{button}', only {words}"
        key = keys.nth(places[0])
        key.evaluate(OPEN)
        form = key.locator("xpath=ancestor::form")
        for name, value in typed.items():
            self._fill(form, name, value)
        with self.one.page.expect_navigation():
            key.click()

    def text(self) -> str:
        place = self.one.page.locator("main" if self.one.page.locator("main").count() else "body")
        return re.sub(r"\s+", " ", place.evaluate(WORDS)).strip()

    def _link(self, words: str) -> Any:
        # An alarm stands on every page and links its brew; what the page itself links is meant.
        links = self.one.page.locator("main a:not(#alarms a)")
        said = links.evaluate_all("links => links.map(link => link.getAttribute('aria-label') || link.textContent)")
        places = [place for place, each in enumerate(said) if words.casefold() in " ".join(each.split()).casefold()]
        assert places, f"{self.one.page.url} has no link '{words}', only {said}"
        return links.nth(places[0])

    def _fill(self, form: Any, name: str, value: Any) -> None:
        fields = form.locator(f'[name="{name}"]')
        kind = fields.first.evaluate("field => field.type || field.tagName")
        fields.first.evaluate(OPEN)
        if kind == "hidden":
            return
        if kind in ("radio", "checkbox"):
            for each in value if isinstance(value, tuple) else (value,):
                form.locator(f'[name="{name}"][value="{each}"]').check(force=True)
        elif kind == "select-one":
            fields.first.select_option(value)
        elif kind == "file":
            fields.first.set_input_files({"name": value[0], "buffer": value[1], "mimeType": value[2]})
        else:
            fields.first.fill(value)


@pytest.fixture
def person(browser: Any, tmp_path: Path) -> Iterator[Person]:
    clock = Clock()
    served = Served(folder=tmp_path, port=free_port(), clock=clock)
    served.start()
    one = visit(browser, served, "phone")
    yield Person(browse=Chromium(one=one, base=served.base), clock=clock, world=World(feeds=1.0, seed=3))
    one.context.close()
    served.stop()


def test_the_whole_job_on_a_phone(person: Person) -> None:
    do_the_job(person)
    report, package = person.publish()
    assert report.startswith(b"%PDF") and package.startswith(b"PK")
    ratio, low, high = told(person.verdict)
    assert "with-molasses is better than plain" in person.verdict and low <= true_ratio(person) <= high
    assert (ratio, low, high) == pytest.approx(by_hand(person), rel=0.03)
    assert isinstance(person.browse, Chromium)
    assert person.browse.one.faults == [] and person.browse.one.foreign == []
    wide = person.browse.one.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390

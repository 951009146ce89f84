"""Every page of the invented yard, looked at by axe in light and dark, on a phone and on a desk; nothing leaves the screen."""

from __future__ import annotations

import json
import os
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.records import Brew
from tests.web.browsing import (
    AXE,
    CHROMIUM,
    PATIENCE_S,
    SIZES,
    Served,
    answered,
    browser,
    demo,
    go,
    let_parts_arrive,
    steadily,
    visit,
)

__all__ = ["browser", "demo"]  # fixtures

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]
SHOTS = Path(__file__).parents[2] / "screenshots"  # not kept in the repository; there to be looked at


def pages_of(served: Served) -> list[str]:
    """Every page that can be opened by its address alone, and those of the brew under air."""
    brew = usecases.brews.brews_under_way(served.notebook, now=datetime.now().astimezone())[0].key
    reading = served.notebook.readings(brew)[0].key
    trial = usecases.brews.trial_names(served.notebook)[0][0]
    addresses = served.server.config.app.openapi()["paths"]
    routes = {path for path, ways in addresses.items() if "get" in ways}
    skipped = (
        "/parts/",
        "/live",
        "/openapi",
        "/app.webmanifest",
        "/service-worker",
        "/static",
        "/reminders.ics",
        "/data/export",
        "/pair/authority",
    )
    plain = sorted(path for path in routes if "{" not in path and not path.startswith(skipped))
    ours = [
        f"/brews/{brew}",
        f"/brews/{brew}/record",
        f"/brews/{brew}/record?what=smell",
        f"/brews/{brew}/harvest",
        f"/brews/{brew}/readings/{reading}",
        f"/brews/{brew}/wall",
        f"/courses?brew={brew}&recipe={served.notebook.get(Brew, brew).recipe}",
        f"/brews/{brew}/record?role=killed+control",
        f"/safety/brews/{brew}",
        f"/trials/{trial}",
        f"/trials/{trial}/verdict",
        "/no/such/page",
    ]
    assert len(plain) > 15
    return plain + ours


# In dark the document that was looked at in light has only other colours.
OF_COLOURS = ["color-contrast", "link-in-text-block"]


def _barriers(page: Any, rules: list[str] | None = None) -> tuple[Any, bool]:
    """What axe-core finds by all its rules or by these, and whether the page is wider than the screen.

    A page may renew itself when its call is ready, which ends a check half way: then once more.
    """
    asked = json.dumps({"resultTypes": ["violations"], **({"runOnly": rules} if rules else {})})
    check = f"{AXE.read_text(encoding='utf-8')}\n;axe.run(document, {asked})"

    def look() -> tuple[Any, bool]:
        let_parts_arrive(page)
        return page.evaluate(check), page.evaluate(IS_WIDE, page.viewport_size["width"])

    found: tuple[Any, bool] = steadily(page, look)
    return found


# Text of twice the size, or a screen of 320 px: nothing may leave the screen (WCAG 2.2, 1.4.4 and 1.4.10).
LARGE_TEXT = "document.documentElement.style.fontSize = '200%'"
# By the width that the screen has: on a phone `innerWidth` grows with what is too wide.
IS_WIDE = "width => document.documentElement.scrollWidth > width"


def leaves_the_screen(page: Any) -> list[str]:
    """In which of the narrowest cases a page that stands open is wider than its screen."""
    found = []
    before = page.viewport_size
    narrow = [("320 px", SIZES["narrow"], "")] if before == SIZES["phone"] else []
    for words, size, script in (*narrow, ("200 % text", before, LARGE_TEXT)):
        page.set_viewport_size(size)
        if answered(page, f"width => {{ {script}; return ({IS_WIDE})(width); }}", size["width"]):
            found.append(words)
    page.set_viewport_size(before)
    answered(page, "document.documentElement.style.fontSize = ''")
    return found


@pytest.fixture(scope="module")
def pages(browser: Any, demo: Served) -> list[str]:
    """The addresses of the invented yard that are pages, and no downloads."""
    asks, found = visit(browser, demo, "desk").context.request, []
    for path in pages_of(demo):
        # A line that lay idle may have been hung up.
        told = asks.get(demo.base + path, max_retries=3, timeout=1000 * PATIENCE_S).headers
        if "html" in told.get("content-type", "") and "attachment" not in told.get("content-disposition", ""):
            found.append(path)
    return found


@pytest.mark.parametrize("size", ["phone", "desk", pytest.param("narrow", marks=pytest.mark.night)])
def test_every_page_is_free_of_barriers_in_light_and_dark(browser: Any, demo: Served, pages: list[str], size: str) -> None:
    one = visit(browser, demo, size)
    found, wide = [], []
    # In dark other colours are all that changes, and they do not hang on the width.
    looks = [("light", None), ("dark", OF_COLOURS)] if size == "phone" else [("light", None)]
    SHOTS.mkdir(exist_ok=True)
    for path in pages:
        one.page.emulate_media(color_scheme="light")
        go(one.page, demo.base + path)
        for look, rules in looks:
            one.page.emulate_media(color_scheme=look)
            told, is_wide = _barriers(one.page, rules)
            found += [(path, look, item["id"], [node["html"][:150] for node in item["nodes"][:3]]) for item in told["violations"]]
            wide += [f"{path} in {look}"] if is_wide else []
            if look == "light" and size != "narrow":
                wide += [f"{path} at {words}" for words in leaves_the_screen(one.page)]
            if os.environ.get("AEROBE_SCREENSHOTS"):
                name = path.strip("/").replace("/", "_").replace("?", "_") or "home"
                one.page.screenshot(path=SHOTS / f"{name}-{size}-{look}.png", full_page=True)
    assert found == []
    assert wide == []
    assert one.foreign == []
    assert [fault for fault in one.faults if "Failed to load resource" not in fault] == []  # fault pages say 404 and 422


def test_colours_that_nobody_could_read_are_noticed_in_dark(browser: Any, demo: Served) -> None:
    page = visit(browser, demo, "phone").page
    go(page, f"{demo.base}/menu")
    page.emulate_media(color_scheme="dark")
    assert _barriers(page, OF_COLOURS)[0]["violations"] == []
    answered(page, "() => { document.querySelector('h1').style.color = '#333'; }")
    assert [item["id"] for item in _barriers(page, OF_COLOURS)[0]["violations"]] == ["color-contrast"]

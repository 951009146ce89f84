"""Every page of the invented yard, looked at by axe in light and dark, on a phone and on a desk; nothing leaves the screen."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.records import Brew
from tests.web.browsing import (
    CHROMIUM,
    SIZES,
    Served,
    answered,
    browser,
    demo,
    go,
    let_parts_arrive,
    steadily,
    violations,
    visit,
)

__all__ = ["browser", "demo"]  # fixtures

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]
SHOTS = Path(__file__).parents[2] / "screenshots"  # not kept in the repository; there to be looked at


# What is fetched, and is not looked at: parts of pages, numbers, files. Whatever else answers without a page fails below.
NO_PAGES = (
    "/api/",
    "/app.webmanifest",
    "/assay/example.csv",
    "/data/export",
    "/live",
    "/openapi",
    "/pair/authority",
    "/parts/",
    "/pictures/",
    "/record/pages",
    "/reminders.ics",
    "/service-worker",
    "/static",
    "/trials/run-sheet.css",
)


def pages_of(served: Served) -> list[str]:
    """Every page that can be opened by its address alone, and those of the brew under air."""
    brew = usecases.brews.brews_under_way(served.notebook, now=datetime.now().astimezone())[0].key
    reading = served.notebook.readings(brew)[0].key
    trial = usecases.brews.trial_names(served.notebook)[0][0]
    addresses = served.server.config.app.openapi()["paths"]
    routes = {path for path, ways in addresses.items() if "get" in ways}
    plain = sorted(path for path in routes if "{" not in path and not path.startswith(NO_PAGES))
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


def _barriers(page: Any, rules: list[str] | None = None) -> tuple[list[Any], bool]:
    """What axe-core finds by all its rules or by these, and whether the page is wider than the screen.

    A page may renew itself when its call is ready, which ends a check half way: then once more.
    """

    def look() -> tuple[list[Any], bool]:
        let_parts_arrive(page)
        return violations(page, rules), page.evaluate(IS_WIDE, page.viewport_size["width"])

    found: tuple[list[Any], bool] = steadily(page, look)
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


@dataclass(frozen=True, kw_only=True)
class Look:
    """One way of looking at a page that stands open."""

    size: str
    colours: str = "light"
    rules: list[str] | None = None  # of axe; None for all


# In dark other colours are all that changes, and they do not hang on the width.
ON_A_PHONE = (Look(size="phone"), Look(size="phone", colours="dark", rules=OF_COLOURS))
# Every day a page is opened once, on a phone that then gets as wide as a desk; at night on each as a device of its own.
LOOKS = {"phone": (*ON_A_PHONE, Look(size="desk")), "desk": (Look(size="desk"),), "narrow": (Look(size="narrow"),)}


def stands(page: Any, address: str) -> bool:
    """Open an address, and tell whether a page came and no download."""
    told = go(page, address)
    # Without an answer it was open already: only a place within the page was asked for.
    return told is None or "text/html" in told.headers.get("content-type", "")


@pytest.mark.parametrize(
    "device", ["phone", pytest.param("desk", marks=pytest.mark.night), pytest.param("narrow", marks=pytest.mark.night)]
)
def test_every_page_is_free_of_barriers_in_light_and_dark(browser: Any, demo: Served, device: str) -> None:
    one = visit(browser, demo, device)
    found, wide, strange = [], [], []
    SHOTS.mkdir(exist_ok=True)
    for path in pages_of(demo):
        one.page.set_viewport_size(SIZES[device])
        if not stands(one.page, demo.base + path):
            strange.append(path)
            continue
        for look in LOOKS[device]:
            one.page.set_viewport_size(SIZES[look.size])
            one.page.emulate_media(color_scheme=look.colours)
            told, is_wide = _barriers(one.page, look.rules)
            where = f"{path} on a {look.size} in {look.colours}"
            found += [(where, item["id"], [node["html"][:150] for node in item["nodes"][:3]]) for item in told]
            wide += [where] if is_wide else []
            if look.colours == "light" and look.size != "narrow":
                wide += [f"{where} at {words}" for words in leaves_the_screen(one.page)]
            if os.environ.get("AEROBE_SCREENSHOTS"):
                name = path.strip("/").replace("/", "_").replace("?", "_") or "home"
                one.page.screenshot(path=SHOTS / f"{name}-{look.size}-{look.colours}.png", full_page=True)
    assert strange == []  # no pages: they are named in NO_PAGES
    assert found == []
    assert wide == []
    assert one.foreign == []
    assert [fault for fault in one.faults if "Failed to load resource" not in fault] == []  # fault pages say 404 and 422


def test_colours_that_nobody_could_read_are_noticed_in_dark(browser: Any, demo: Served) -> None:
    page = visit(browser, demo, "phone").page
    go(page, f"{demo.base}/menu")
    page.emulate_media(color_scheme="dark")
    assert _barriers(page, OF_COLOURS)[0] == []
    answered(page, "() => { document.querySelector('h1').style.color = '#333'; }")
    assert [item["id"] for item in _barriers(page, OF_COLOURS)[0]] == ["color-contrast"]

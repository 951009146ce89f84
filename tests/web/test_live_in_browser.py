"""An open page in a real browser shows what it was told of, on a poor line too."""

from __future__ import annotations

import re
import time
from typing import Any

import pytest

from tests.web.browsing import CHROMIUM, PATIENCE_S, Served, browser, calling, go, until, visit, with_a_brew

__all__ = ["browser", "calling"]  # fixtures
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]


def test_a_call_that_was_found_before_the_page_could_listen_is_shown_all_the_same(browser: Any, calling: Served) -> None:
    """So is one whose part did not come over the line at the first try."""
    one = visit(browser, calling, "phone")
    held: list[Any] = []
    the_line = re.compile(r"/live(\?|$)")
    one.page.route(the_line, lambda route: held.append(route))
    go(one.page, with_a_brew(calling))
    one.page.locator(".call .say").first.wait_for()
    thinker = calling.server.config.app.state.thinker
    end = time.monotonic() + PATIENCE_S
    while thinker.look("barrel-by-the-door").advice is None:
        assert time.monotonic() < end
        one.page.wait_for_timeout(100)
    failed: list[str] = []

    def fail_once(route: Any) -> None:
        if failed:
            route.continue_()
        else:
            failed.append(route.request.url)
            route.abort()

    one.page.route("**/parts/brews/**", fail_once)
    one.page.unroute(the_line)
    for route in held:
        route.continue_()
    until(one.page, "!document.querySelector('.call .say').textContent.includes('Working')")
    assert failed

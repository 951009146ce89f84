"""Charts in a browser: light to load, read out under a finger and by keys, in both looks; a moved dose needs no server."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from aerobe import usecases
from aerobe.records import Brew
from tests.web.browsing import CHROMIUM, Served, browser, demo, go, until, visit

__all__ = ["browser", "demo"]  # fixtures

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]


def test_a_page_with_its_charts_is_light(browser: Any, demo: Served) -> None:
    brew = usecases.brews.brews_under_way(demo.notebook, now=datetime.now().astimezone())[0].key
    for path in ("/", f"/brews/{brew}"):
        one = visit(browser, demo, "phone")
        sizes: list[int] = []
        session = one.context.new_cdp_session(one.page)
        session.send("Network.enable")
        session.on("Network.loadingFinished", lambda told, sizes=sizes: sizes.append(told["encodedDataLength"]))
        one.page.goto(demo.base + path, wait_until="networkidle" if path != "/" else "load")
        if path != "/":
            until(one.page, "document.querySelectorAll('figure.chart svg.area').length > 0")
        assert 20_000 < sum(sizes) < 200_000, (path, sum(sizes))
        one.context.close()


def test_a_chart_reads_out_under_the_finger(browser: Any, demo: Served) -> None:
    one = visit(browser, demo, "phone")
    brew = usecases.brews.brews_under_way(demo.notebook, now=datetime.now().astimezone())[0].key
    go(one.page, f"{demo.base}/brews/{brew}")
    until(one.page, "document.querySelector('figure.chart script[type=\"application/json\"]') !== null")
    # The page renews its charts when the call is ready; what was read out before goes with them, so touch again then.
    touch = """() => { const chart = document.querySelector("figure.chart:has(> script)");
      if (!chart) return "";
      const box = chart.querySelector(".area").getBoundingClientRect();
      const at = { clientX: box.left + box.width / 2, clientY: box.top + 90, bubbles: true, pointerType: "touch" };
      chart.querySelector(".area").dispatchEvent(new PointerEvent("pointerdown", at));
      return chart.querySelector(".at-words")?.textContent ?? ""; }"""
    read = until(one.page, touch)
    assert " h" in read and ":" in read and any(unit in read for unit in ("µg C/mL", "mg/L"))
    # The same by keyboard, on a page that does not renew itself: each arrow tells another moment, Escape puts the words away.
    go(one.page, f"{demo.base}/courses?brew={brew}&recipe={demo.notebook.get(Brew, brew).recipe}")
    chart = one.page.get_by_role("slider").first
    chart.focus()
    told = [chart.get_attribute("aria-valuetext")]
    for key in ("ArrowRight", "ArrowLeft", "Home"):
        one.page.keyboard.press(key)
        told.append(chart.get_attribute("aria-valuetext"))
    assert len(set(told)) == 4 and all(" h" in said or "hours" in said for said in told[1:])
    assert chart.locator(".at-words").is_visible()
    one.page.keyboard.press("Escape")
    assert chart.locator(".at-words").is_hidden()
    assert one.faults == []


def test_a_moved_dose_is_answered_without_asking_the_server(browser: Any, demo: Served) -> None:
    one = visit(browser, demo, "phone")
    go(one.page, f"{demo.base}/oxygen")
    one.page.route("**/parts/oxygen/**", lambda route: route.abort())
    said = one.page.locator("[data-say]").inner_text()
    one.page.locator("#dose").evaluate("e => { e.value = 9; e.dispatchEvent(new Event('input', { bubbles: true })); }")
    assert one.page.locator("[data-say]").inner_text() == "9.00 g/L is more than the air carries" != said
    assert one.page.locator("[data-whole]").inner_text() == "180 g"
    one.page.locator("#oxygen-form details").last.scroll_into_view_if_needed()
    assert one.page.locator("[data-say]").is_visible()  # the answer stays in sight of the controls
    box = one.page.locator("[data-say]").bounding_box()
    assert box is not None and 0 <= box["y"] < 844


def test_a_chart_follows_light_and_dark_and_its_figures_are_beside_it(browser: Any, demo: Served) -> None:
    one = visit(browser, demo, "phone")
    brew = usecases.brews.brews_under_way(demo.notebook, now=datetime.now().astimezone())[0].key
    go(one.page, f"{demo.base}/brews/{brew}")
    one.page.locator("figure.chart svg").first.wait_for()
    ink = "getComputedStyle(document.querySelector('figure.chart svg text')).fill"
    light = until(one.page, ink)
    one.page.get_by_role("button", name="Light or dark").click()
    until(one.page, f"{ink} !== '{light}'")
    one.page.get_by_text("Figures").first.click()
    assert one.page.locator("figure.chart table tbody tr").count() > 3
    assert one.page.locator("figure.chart .canvas").first.get_attribute("aria-label")

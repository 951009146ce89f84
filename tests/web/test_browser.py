"""A whole brew driven in a browser, on a phone and on a desk; every page looked at by axe; nothing asked from elsewhere."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.records import Brew
from tests.ports import free_port
from tests.web.browsing import (
    AXE,
    CHROMIUM,
    PATIENCE_S,
    SIZES,
    Served,
    ago,
    answered,
    arrive,
    browser,
    go,
    served,
    steadily,
    tap_twice,
    until,
    visit,
)

__all__ = ["browser", "served"]  # fixtures

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]
SHOTS = Path(__file__).parents[2] / "screenshots"  # not kept in the repository; there to be looked at


def fill_first_brew(page: Any, base: str, hours: float) -> None:
    """From the empty notebook to the brew's own page."""
    go(page, base + "/")
    page.get_by_role("link", name="Start the first brew").click()
    page.locator("#volume").fill("100")
    page.locator("#compost_amount").fill("3")
    page.locator("#food_1").select_option("molasses")
    page.locator("#food_1_amount").fill("70")
    page.get_by_role("radio", name="I measured it").check()
    page.locator("#flow").fill("30")
    page.get_by_text("When it began, its name").click()
    page.get_by_label("Name", exact=True).fill("Barrel by the door")
    page.get_by_label("Air on since").fill(ago(hours))
    page.get_by_text("More about the vessel").click()
    page.locator("#depth").fill("60")
    page.get_by_text("How you test").click()
    page.locator("#assay_name").fill("Home colour test")
    page.get_by_role("button", name="Start the clock").click()
    arrive(page, "**/brews/barrel-by-the-door*")


def type_with_keys(page: Any, digits: str) -> None:
    """Press the large keys."""
    for digit in digits:
        name = "decimal mark" if digit in ",." else digit
        page.locator(".pad").get_by_role("button", name=name, exact=True).click()


def test_a_newcomer_starts_with_four_answers_mends_slips_where_they_are_and_starts_again_with_two_taps(
    browser: Any, served: Served
) -> None:
    one = visit(browser, served, "phone")
    page = one.page
    go(page, served.base + "/brews/new")
    # A slip in two answers, one of them folded away: both are told, the first has the focus.
    page.locator("#flow").fill("a lot")
    page.get_by_text("When it began, its name").click()
    page.locator("#temperature").fill("warm")
    page.get_by_role("button", name="Start the clock").click()
    page.locator("#volume-wrong").wait_for()
    assert page.evaluate("document.activeElement.id") == "volume"
    wrong = "[...document.querySelectorAll('[aria-invalid=true]')].map((field) => field.id)"
    assert page.evaluate(wrong) == ["volume", "flow", "temperature"]
    assert page.locator("#temperature").is_visible() and page.locator("#flow").input_value() == "a lot"
    page.locator("#temperature").fill("")
    # The four answers: how big, how much compost, what food, what air.
    page.locator("#volume").fill("20")
    page.locator("#compost_amount").fill("0,5")
    page.locator("#food_1").select_option("molasses")
    page.get_by_role("radio", name="I don’t know").check()
    assert page.locator("#flow").is_hidden()
    page.get_by_role("button", name="Start the clock").click()
    arrive(page, "**/brews/brew-of-*")
    page.locator(".call .say").wait_for()
    until(page, "!document.querySelector('.call .say').textContent.includes('Working')")
    assert "No call" not in page.locator(".call .say").inner_text()
    page.get_by_text("things are guesses").wait_for()
    first = page.url
    # The second brew: two taps.
    go(page, served.base + "/")
    page.get_by_role("link", name="New brew").click()
    page.get_by_role("button", name="Start the clock").click()
    arrive(page, "**/brews/brew-of-*")
    assert page.url.split("?")[0] != first.split("?")[0]
    assert len({brew.vessel for brew in served.notebook.find(Brew)}) == 1
    assert [told for told in one.faults if "422" not in told] == [] and not one.foreign  # the refused form, as meant


def _arrived(served: Served, count: int) -> None:
    """Wait until so many readings are in the notebook."""
    end = time.monotonic() + PATIENCE_S
    while len(served.notebook.readings("barrel-by-the-door")) < count:
        assert time.monotonic() < end, "what waited on the device never came"
        time.sleep(0.1)


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_whole_brew_from_the_first_screen_to_the_harvest(browser: Any, served: Served, size: str) -> None:
    one = visit(browser, served, size)
    page, base = one.page, served.base
    fill_first_brew(page, base, 10)
    page.locator(".call .say").wait_for()
    until(page, "!document.querySelector('.call .say').textContent.includes('Working')")
    before = page.locator(".call").first.inner_text()
    page.locator("figure.chart svg").first.wait_for()

    # Two taps and the number: Record, the digits with a decimal comma, Keep.
    go(page, base + "/")
    page.get_by_role("link", name="Record", exact=True).locator("visible=true").first.click()
    arrive(page, "**/record")
    type_with_keys(page, "42,5")
    page.get_by_role("button", name="Keep", exact=True).click()
    arrive(page, "**/brews/barrel-by-the-door?done=*")
    page.locator("#notices").get_by_text("42,5").first.wait_for()

    # Another device looks on while the call changes: nobody reloads its page.
    other = visit(browser, served, "desk", "dark")
    go(other.page, base + "/brews/barrel-by-the-door")
    other.page.evaluate("window.untouched = true")
    until(other.page, "was => document.querySelector('.call').innerText !== was", before)
    assert other.page.evaluate("window.untouched") is True
    SHOTS.mkdir(exist_ok=True)
    go(page, base + "/")
    let_parts_arrive(page)
    page.screenshot(path=SHOTS / f"brewing-{size}.png", full_page=True)

    # The connection goes: the page still opens, two readings are typed, the server restarts, they arrive once and in order.
    go(page, base + "/brews/barrel-by-the-door/record")
    until(page, "navigator.serviceWorker.controller !== null")
    go(page, base + "/brews/barrel-by-the-door/record")
    served.stop()
    go(page, base + "/brews/barrel-by-the-door/record")
    page.get_by_text("Kept copy of").wait_for()  # the page says that it is not the newest, and since when
    for number, digits in enumerate(("55", "61"), start=1):
        type_with_keys(page, digits)
        tap_twice(page.get_by_role("button", name="Keep", exact=True))
        until(page, "number => document.querySelectorAll('#waiting li').length === number", number)  # in the device's store
    page.reload()
    page.locator("#waiting li").nth(1).wait_for()
    page.screenshot(path=SHOTS / f"waiting-{size}.png", full_page=True)
    served.start()
    _arrived(served, 3)
    assert [reading.signal for reading in served.notebook.readings("barrel-by-the-door")] == [42.5, 55.0, 61.0]
    until(page, "document.querySelector('#waiting').hidden")

    go(page, base + "/brews/barrel-by-the-door/harvest")
    page.get_by_label("earthy", exact=True).check()
    page.locator("#volume").fill("90")
    page.get_by_role("button", name="Harvested").click()
    arrive(page, "**/brews/barrel-by-the-door*")
    page.get_by_text("Harvested after").wait_for()
    page.screenshot(path=SHOTS / f"harvested-{size}.png", full_page=True)
    assert one.foreign == [] and other.foreign == []
    assert one.faults == [] and other.faults == []


def test_an_entry_typed_on_an_old_page_and_a_double_tap_come_once(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    fill_first_brew(one.page, served.base, 2)
    go(one.page, served.base + "/brews/barrel-by-the-door/record?what=oxygen")
    type_with_keys(one.page, "7,9")
    tap_twice(one.page.get_by_role("button", name="Keep", exact=True))
    arrive(one.page, "**/brews/barrel-by-the-door?done=*")
    one.page.go_back()
    one.page.locator(".pad").wait_for()
    one.page.locator("#signal").fill("7,5")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    arrive(one.page, "**/brews/barrel-by-the-door?done=*")
    assert served.notebook.log("barrel-by-the-door", "oxygen")[1].tolist() == [7.9, 7.5]


def test_a_refused_entry_stays_in_the_form_with_its_remedy(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    fill_first_brew(one.page, served.base, 2)
    go(one.page, served.base + "/brews/barrel-by-the-door/record?what=pH")
    one.page.locator("#signal").fill("99")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    one.page.get_by_role("alert").wait_for()
    assert one.page.locator("#signal").input_value() == "99"
    until(one.page, "document.querySelector('#waiting').hidden")


def test_a_second_entry_typed_while_the_first_is_being_sent_is_kept_too(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    fill_first_brew(one.page, served.base, 2)
    go(one.page, served.base + "/brews/barrel-by-the-door/record?what=oxygen")
    held: list[Any] = []
    slow = [True]  # a slow line: the answer does not come yet
    one.page.route("**/readings", lambda route: held.append(route) if slow else route.continue_())
    one.page.locator("#signal").fill("7,9")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    until(one.page, "document.querySelector('#signal').value === ''")
    one.page.locator("#signal").fill("7,5")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    until(one.page, "document.querySelector('#signal').value === ''")
    one.page.locator("#signal").fill("6")  # the third is only being typed when the line comes back
    one.page.wait_for_timeout(1500)  # longer than a second of the clock: the first was under way all that time
    slow.clear()
    for route in held:
        route.continue_()
    end = time.monotonic() + PATIENCE_S
    while len(found := served.notebook.log("barrel-by-the-door", "oxygen")[1].tolist()) < 2:
        assert time.monotonic() < end, found
        one.page.wait_for_timeout(100)
    assert found == [7.9, 7.5]
    assert one.page.locator("#signal").input_value() == "6"


def test_a_page_that_renews_itself_does_not_take_away_a_tap_that_is_on_its_way(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    fill_first_brew(one.page, served.base, 2)
    one.page.locator(".call .say").first.wait_for()
    until(one.page, "!document.querySelector('.call .say').textContent.includes('Working')")
    go(one.page, served.base + "/")
    live = served.server.config.app.state.live
    heard: list[str] = []
    wire = one.context.new_cdp_session(one.page)
    wire.send("Network.enable")
    wire.on("Network.eventSourceMessageReceived", lambda told: heard.append(told["data"]))
    # A slow line: the next page does not come yet. The page's clock stands at the tap: it is recent on the slowest machine.
    one.page.evaluate("""() => {
        addEventListener('click', (event) => event.preventDefault());
        window.mark = 'here';
        const now = performance.now();
        performance.now = () => now;
        document.querySelector('nav a').click();
    }""")
    end = time.monotonic() + PATIENCE_S
    while sum("brews" in words for words in heard) < 10:
        assert time.monotonic() < end, heard
        live.tell("brews")
        one.page.wait_for_timeout(100)
    assert one.page.evaluate("window.mark") == "here"


def test_without_room_on_the_device_an_entry_is_never_said_to_be_kept_nor_lost(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    fill_first_brew(one.page, served.base, 2)
    full = "IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); };"
    one.page.add_init_script(full)
    go(one.page, served.base + "/brews/barrel-by-the-door/record?what=oxygen")
    one.page.route("**/readings", lambda route: route.abort())
    one.page.locator("#signal").fill("7,9")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    one.page.get_by_text("Not kept").wait_for()
    assert one.page.locator("#signal").input_value() == "7,9"
    one.page.unroute("**/readings")
    one.page.wait_for_timeout(1600)  # longer than a double tap
    one.page.get_by_role("button", name="Keep", exact=True).click()
    until(one.page, "document.querySelector('#signal').value === ''")
    assert served.notebook.log("barrel-by-the-door", "oxygen")[1].tolist() == [7.9]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The invented yard, so that every page has something to show."""
    made = Served(folder=tmp_path_factory.mktemp("demo"), port=free_port())
    made.start()
    usecases.notebook.make_demo(made.notebook, now=datetime.now().astimezone())
    yield made
    made.stop()


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
    for words, size, script in (("320 px", SIZES["narrow"], ""), ("200 % text", before, LARGE_TEXT)):
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
    SHOTS.mkdir(exist_ok=True)
    for path in pages:
        one.page.emulate_media(color_scheme="light")
        go(one.page, demo.base + path)
        for look, rules in (("light", None), ("dark", OF_COLOURS)):
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

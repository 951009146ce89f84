"""What a browser can do beside typing: speak, ask for notices, print, wait. What a test machine lacks has a stand-in."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.calls import no_call
from tests.ports import free_port
from tests.web.browsing import CHROMIUM, PATIENCE_S, Served, arrive, browser, go, visit, with_a_brew
from tests.web.test_push import ASKED

pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]
__all__ = ["browser"]

LISTENS = """
  window.heard = "seven point nine milligrams";
  window.SpeechRecognition = class { start() {
    if (window.heard) this.onresult({ results: [[{ confidence: 0.9, words: window.heard }]] });
    else this.onerror({ error: "no-speech" });
    this.onend(); } };
"""
PUSHES = """
  const asked = ASKED;
  let mine = null;
  const manager = {
    getSubscription: async () => mine,
    subscribe: async (how) => { window.serverKey = how.applicationServerKey.length;
      mine = { endpoint: asked.endpoint, toJSON: () => asked, unsubscribe: async () => { mine = null; } }; return mine; },
  };
  Object.defineProperty(ServiceWorkerContainer.prototype, "ready", { get: async () => ({ pushManager: manager }) });
  Notification.requestPermission = async () => "granted";
"""


@pytest.fixture(scope="module")
def brewing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """An app with one brew under air, for what a hand does."""
    made = Served(folder=Path(tmp_path_factory.mktemp("hand")), port=free_port(), advise=no_call)
    made.start()
    with_a_brew(made)
    yield made
    made.stop()


def test_a_value_can_be_spoken_and_is_seen_before_it_is_kept(browser: Any, brewing: Served) -> None:
    one = visit(browser, brewing, "phone")
    one.page.add_init_script(LISTENS)
    go(one.page, f"{brewing.base}/brews/barrel-by-the-door/record?what=oxygen")
    say, field = one.page.get_by_role("button", name="Say it"), one.page.locator("#signal")
    for heard, typed in (
        ("7.9", "7.9"),
        ("8,2 mg pro Liter", "8,2"),
        ("one hundred and five", "105"),
        ("below forty two point oh", "below forty two point oh"),  # no number word: left as heard, for the person to mend
        ("less than five", "<5"),
        ("twenty-three point zero four", "23.04"),
        ("seven point nine", "7.9"),
    ):
        one.page.evaluate("heard => { window.heard = heard; }", heard)
        say.click()
        assert field.input_value() == typed
    one.page.evaluate("window.heard = ''")
    say.click()
    one.page.get_by_text("Nothing was understood").wait_for()
    assert field.input_value() == "7.9"
    assert len(brewing.notebook.log("barrel-by-the-door", "oxygen")[1]) == 0  # nothing is kept by speaking alone
    one.page.get_by_role("button", name="Keep", exact=True).click()
    arrive(one.page, "**/brews/barrel-by-the-door?done=*")
    assert brewing.notebook.log("barrel-by-the-door", "oxygen")[1].tolist() == [7.9]
    assert one.faults == [] and one.foreign == []
    # A browser that does not listen shows no button.
    other = visit(browser, brewing, "desk")
    other.page.add_init_script("delete window.SpeechRecognition; delete window.webkitSpeechRecognition;")
    go(other.page, f"{brewing.base}/brews/barrel-by-the-door/record?what=oxygen")
    other.page.locator(".pad button").first.wait_for()
    assert other.page.get_by_role("button", name="Say it").count() == 0


def test_a_device_asks_for_notices_and_ends_them(browser: Any, brewing: Served) -> None:
    import json

    one = visit(browser, brewing, "phone")
    one.page.add_init_script(PUSHES.replace("ASKED", json.dumps(ASKED)))
    go(one.page, f"{brewing.base}/reminders")
    kept = brewing.server.config.app.state.web_state
    one.page.get_by_role("button", name="Tell this device").click()
    one.page.get_by_text("This device is told.").wait_for()
    assert [item["endpoint"] for item in kept.get("pushes")] == [ASKED["endpoint"]]
    assert one.page.evaluate("window.serverKey") == 65  # an uncompressed point, as browsers want it
    one.page.get_by_role("button", name="Tell it no more").click()
    one.page.get_by_text("This device is not told.").wait_for()
    assert kept.get("pushes") == [] and one.faults == []


def test_the_page_for_the_wall_prints_ink_on_white_without_buttons(browser: Any, brewing: Served) -> None:
    one = visit(browser, brewing, "desk", "dark")
    go(one.page, f"{brewing.base}/brews/barrel-by-the-door")
    one.page.get_by_role("link", name="A page for the wall").click()
    one.page.get_by_role("button", name="Print").wait_for()
    one.page.emulate_media(media="print", color_scheme="dark")
    assert one.page.get_by_role("button", name="Print").is_hidden() and one.page.locator(".rail").is_hidden()
    assert one.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert one.page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(0, 0, 0)"
    assert one.page.locator(".by-hand").is_visible()


def test_long_work_is_seen_to_go_on(browser: Any, brewing: Served) -> None:
    page = visit(browser, brewing, "desk").page
    page.route("**/parts/turn", lambda route: route.fulfill(json={"before": 3}))
    go(page, f"{brewing.base}/reminders")
    page.locator('.rail a[href="/shelf"]').wait_for()
    # A page that does not come: the link is taken, and nothing follows.
    page.evaluate("""() => {
        addEventListener('click', (event) => event.preventDefault());
        document.querySelector('.rail a[href="/shelf"]').click();
    }""")
    page.locator("#working progress").wait_for()
    assert page.locator("#working [role=status]").inner_text().startswith("Working")
    page.locator("#working [role=status]").get_by_text("3 before you.").wait_for()
    go(page, f"{brewing.base}/shelf")
    assert page.locator("#working").count() == 0


def test_start_record_and_harvest_by_keyboard_alone(browser: Any, tmp_path: Path) -> None:
    served = Served(folder=tmp_path, port=free_port(), advise=no_call)
    served.start()
    one = visit(browser, served, "desk")
    page = one.page

    def to(test: str) -> None:
        """Press Tab until the focus is where it should be."""
        for _ in range(150):
            if page.evaluate(f"(() => {{ const e = document.activeElement; return {test}; }})()"):
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"never reached by Tab: {test}")

    def follow(test: str, pattern: str) -> None:
        """Press Enter on a link; again if the page renewed that part under the finger."""
        end, here = time.monotonic() + PATIENCE_S, page.url
        while page.url == here:
            assert time.monotonic() < end, f"no link followed: {test}"
            to(test)
            page.keyboard.press("Enter")
            pressed = time.monotonic()
            while page.url == here and time.monotonic() < pressed + 0.5:
                page.wait_for_timeout(20)
        arrive(page, pattern)

    go(page, served.base + "/brews/new")
    for field, typed in (("volume", "20"), ("compost_amount", "0,5"), ("flow", "5")):
        to(f"e.id === '{field}'")
        page.keyboard.type(typed)
    to("e.textContent.includes('Start the clock')")
    page.keyboard.press("Enter")
    arrive(page, "**/brews/brew-of-*")
    key = page.url.split("/brews/")[1].split("?")[0]
    follow("e.textContent.trim() === 'Record'", "**/record")
    follow("e.textContent.trim() === 'Oxygen'", "**/record?what=oxygen")
    to("e.id === 'signal'")
    page.keyboard.type("7,5")
    page.keyboard.press("Enter")
    arrive(page, "**?done=*")
    assert served.notebook.log(key, "oxygen")[1].tolist() == [7.5]
    follow("e.getAttribute('href')?.endsWith('/harvest')", "**/harvest")
    to("e.name === 'smell'")
    page.keyboard.press("Space")
    to("e.textContent.trim() === 'Harvested'")
    page.keyboard.press("Enter")
    page.get_by_text("Harvested after").wait_for()
    assert one.faults == []
    served.stop()

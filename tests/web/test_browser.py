"""A whole brew driven in a browser, on a phone and on a desk; every page looked at by axe; nothing asked from elsewhere."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from aerobe.records import Brew
from tests.web.browsing import (
    CHROMIUM,
    PATIENCE_S,
    Served,
    ago,
    answered,
    arrive,
    browser,
    calling,
    go,
    let_parts_arrive,
    served,
    tap_twice,
    until,
    visit,
    with_a_brew,
)

__all__ = ["browser", "calling", "served"]  # fixtures

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
    browser: Any, calling: Served
) -> None:
    one = visit(browser, calling, "phone")
    page = one.page
    go(page, calling.base + "/brews/new")
    # A slip in two answers, one of them folded away: both are told, the first has the focus.
    page.locator("#flow").fill("a lot")
    page.get_by_text("When it began, its name").click()
    page.locator("#temperature").fill("warm")
    page.get_by_role("button", name="Start the clock").click()
    page.locator("#volume-wrong").wait_for()
    until(page, "document.activeElement.id === 'volume'")
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
    go(page, calling.base + "/")
    page.get_by_role("link", name="New brew").click()
    page.get_by_role("button", name="Start the clock").click()
    arrive(page, "**/brews/brew-of-*")
    assert page.url.split("?")[0] != first.split("?")[0]
    assert len({brew.vessel for brew in calling.notebook.find(Brew)}) == 1
    assert [told for told in one.faults if "422" not in told] == [] and not one.foreign  # the refused form, as meant


def _arrived(served: Served, count: int) -> None:
    """Wait until so many readings are in the notebook."""
    end = time.monotonic() + PATIENCE_S
    while len(served.notebook.readings("barrel-by-the-door")) < count:
        assert time.monotonic() < end, "what waited on the device never came"
        time.sleep(0.1)


@pytest.mark.parametrize("size", ["phone", pytest.param("desk", marks=pytest.mark.night)])
def test_a_whole_brew_from_the_first_screen_to_the_harvest(browser: Any, calling: Served, size: str) -> None:
    one = visit(browser, calling, size)
    page, base = one.page, calling.base
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
    other = visit(browser, calling, "desk", "dark")
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
    calling.stop()
    go(page, base + "/brews/barrel-by-the-door/record")
    page.get_by_text("Kept copy of").wait_for()  # the page says that it is not the newest, and since when
    for number, digits in enumerate(("55", "61"), start=1):
        type_with_keys(page, digits)
        tap_twice(page.get_by_role("button", name="Keep", exact=True))
        until(page, "number => document.querySelectorAll('#waiting li').length === number", number)  # in the device's store
    page.reload()
    page.locator("#waiting li").nth(1).wait_for()
    page.screenshot(path=SHOTS / f"waiting-{size}.png", full_page=True)
    calling.start()
    _arrived(calling, 3)
    assert [reading.signal for reading in calling.notebook.readings("barrel-by-the-door")] == [42.5, 55.0, 61.0]
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
    with_a_brew(served)
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
    with_a_brew(served)
    go(one.page, served.base + "/brews/barrel-by-the-door/record?what=pH")
    one.page.locator("#signal").fill("99")
    one.page.get_by_role("button", name="Keep", exact=True).click()
    one.page.get_by_role("alert").wait_for()
    assert one.page.locator("#signal").input_value() == "99"
    until(one.page, "document.querySelector('#waiting').hidden")


def test_entries_keep_their_order_where_answers_are_slow(browser: Any, served: Served) -> None:
    # The server tells its second, four seconds pass on the way: that says nothing against this device's clock.
    page = visit(browser, served, "phone").page
    with_a_brew(served)
    go(page, served.base + "/brews/barrel-by-the-door/record?what=oxygen")
    told = answered(
        page,
        """async () => {
        localStorage.removeItem("aerobe-clock"); // asked again if the page renews itself
        const queue = await import("/static/queue.js?alone");
        const form = document.querySelector("form[data-queue]");
        const stood = Date.now();
        const clock = () => stood;
        let way = 0, slow = 4000, wrong = 0;
        Date.now = () => clock() + way + wrong;
        window.fetch = async () => {
          const date = new Date(clock() + way).toUTCString();
          way += slow;
          return new Response("{}", { headers: { date } });
        };
        const typed = () => queue.read(form, null).entry.server_at - clock() - way;
        const before = typed();
        await queue.flush();
        const after = typed();
        wrong = -3600000; slow = 0; // and a clock that is an hour behind is found out all the same
        await queue.flush();
        return [before, after, typed()];
    }""",
    )
    assert told[0] == told[1] == 0
    assert abs(told[2]) <= 1000


def test_a_second_entry_typed_while_the_first_is_being_sent_is_kept_too(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    with_a_brew(served)
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
    go(one.page, with_a_brew(served))
    one.page.locator(".call .say").first.wait_for()
    until(one.page, "!document.querySelector('.call .say').textContent.includes('Working')")
    go(one.page, served.base + "/")
    let_parts_arrive(one.page)
    live = served.server.config.app.state.live
    heard: list[str] = []
    wire = one.context.new_cdp_session(one.page)
    wire.send("Network.enable")
    wire.on("Network.eventSourceMessageReceived", lambda told: heard.append(told["data"]))
    # A slow line: the next page does not come yet. The page's clock stands at the tap: it is recent on the slowest machine.
    # A page that renews itself just before is asked again.
    answered(
        one.page,
        """() => {
        addEventListener('click', (event) => event.preventDefault());
        window.mark = 'here';
        const now = performance.now();
        performance.now = () => now;
        document.querySelector('nav a').click();
    }""",
    )
    end = time.monotonic() + PATIENCE_S
    while sum("brews" in words for words in heard) < 10:
        assert time.monotonic() < end, heard
        live.tell("brews")
        one.page.wait_for_timeout(100)
    assert one.page.evaluate("window.mark") == "here"


def test_without_room_on_the_device_an_entry_is_never_said_to_be_kept_nor_lost(browser: Any, served: Served) -> None:
    one = visit(browser, served, "phone")
    with_a_brew(served)
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

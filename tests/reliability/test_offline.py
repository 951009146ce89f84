"""The network off in a real browser: what can wait on the device arrives once; what cannot says so and stays in its form."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest

from aerobe import usecases
from tests.calls import no_call
from tests.ports import free_port
from tests.web.browsing import CHROMIUM, PATIENCE_S, Served, arrive, browser, go, tap_twice, until, visit

__all__ = ["browser"]
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")]
QUEUED = {
    "assay:colour-test": "120,5",
    "oxygen": "7,9",
    "temperature": "19,5",
    "pH": "7,1",
    "conductivity": "900",
    "smell": "earthy",
}
PAGES = (
    "/brews/new",
    "/safety",
    "/safety/brews/kelp-5",
    "/safety/use",
    "/safety/compost/orchard-heap",
    "/data",
    "/settings",
    "/trials/new",
    "/trials/kelp-question",
    "/assay",
    "/assay/count",
    "/assay/compare",
    "/assay/tests",
    "/oxygen/measure",
    "/oxygen/probe",
    "/oxygen/size",
    "/evidence",
    "/reports",
    "/shelf",
    "/brews/kelp-1/readings/kelp-1-0.5h-sample-1",
)


@pytest.fixture
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    made = Served(folder=tmp_path_factory.mktemp("offline"), port=free_port(), advise=no_call)
    made.start()
    usecases.notebook.make_demo(made.notebook, now=datetime.now().astimezone())
    yield made
    made.stop()


def network(device: Any, *, off: bool) -> None:
    """The device's network, by the browser's own protocol for tools."""
    device.context.set_offline(off)


def counts(book: Any) -> dict[str, int]:
    found = dict.fromkeys(QUEUED, 0)
    for channel in ("oxygen", "temperature", "pH", "conductivity"):
        found[channel] = len(book.log("kelp-5", channel, probe="by hand")[0])
    found["assay:colour-test"] = sum(item.signal == 120.5 for item in book.readings("kelp-5"))
    found["smell"] = len(book.kept("smell", "kelp-5"))
    return found


def arrived_once(book: Any, wanted: dict[str, int]) -> None:
    """Wait until this is in the notebook, and a little longer for what should not come."""
    end = time.monotonic() + PATIENCE_S
    while counts(book) != wanted and time.monotonic() < end:
        time.sleep(0.1)
    time.sleep(0.5)
    assert counts(book) == wanted


def test_every_kind_of_entry_waits_while_the_network_is_off_and_arrives_once(browser: Any, served: Served) -> None:
    phone = visit(browser, served, "phone")
    page, base = phone.page, served.base
    go(page, f"{base}/brews/kelp-5/record")
    until(page, "navigator.serviceWorker.controller !== null")
    pages = [f"{base}/brews/kelp-5/record?what={what}" for what in QUEUED]
    for address in [*pages, f"{base}/brews/kelp-5/harvest"]:
        go(page, address)
    network(phone, off=True)
    for address, (what, typed) in zip(pages, QUEUED.items(), strict=True):
        go(page, address)  # as it was seen last
        if what == "smell":
            page.get_by_label(typed, exact=True).check()
        else:
            page.locator("#signal").fill(typed)
        tap_twice(page.get_by_role("button", name="Keep", exact=True))
        page.get_by_text("Kept on this device").wait_for()
    go(page, f"{base}/brews/kelp-5/harvest")
    page.get_by_label("earthy", exact=True).check()
    page.get_by_role("button", name="Harvested").click()
    page.get_by_text("Kept on this device").wait_for()
    assert counts(served.notebook) == dict.fromkeys(QUEUED, 0)
    network(phone, off=False)
    go(page, f"{base}/brews/kelp-5/record?what=oxygen")
    arrived_once(served.notebook, dict.fromkeys(QUEUED, 1))
    view = usecases.brews.brew_view(served.notebook, "kelp-5", now=datetime.now().astimezone())
    assert view.harvest is not None and view.harvest.smell == "earthy"
    assert phone.faults == []


def test_an_entry_whose_answer_was_lost_is_sent_again_and_there_once(browser: Any, served: Served) -> None:
    phone = visit(browser, served, "phone")
    page, first, lost = phone.page, [True], []

    def lose(route: Any) -> None:
        # The server has it, the phone never hears so.
        if not first:
            route.continue_()
            return
        first.clear()
        lost.append(route.fetch(timeout=1000 * PATIENCE_S).status)
        route.abort("connectionreset")

    page.route("**/brews/kelp-5/readings", lose)
    go(page, f"{served.base}/brews/kelp-5/record?what=oxygen")
    page.locator("#signal").fill("7,9")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_text("Kept on this device").wait_for()
    assert lost == [200] and counts(served.notebook)["oxygen"] == 1
    page.evaluate("dispatchEvent(new Event('online'))")
    until(page, "document.querySelector('#waiting').hidden")
    assert counts(served.notebook)["oxygen"] == 1


def test_a_form_that_cannot_wait_says_so_and_keeps_what_was_typed(browser: Any, served: Served) -> None:
    phone = visit(browser, served, "phone")
    page, tried, silent = phone.page, 0, []
    summary = usecases.notebook.notebook_summary(served.notebook)
    for path in PAGES:
        go(page, served.base + path)
        forms = page.locator("form[method=post]:not([data-queue])").count()
        network(phone, off=True)
        for number in range(forms):
            page.evaluate("document.getElementById('notices').replaceChildren()")
            page.evaluate(
                """number => {
                    const form = document.querySelectorAll('form[method=post]:not([data-queue])')[number];
                    const field = form.querySelector('input[type=text], input:not([type]), textarea');
                    if (field) field.value = 'typed';
                    form.noValidate = true;
                    form.requestSubmit();
                }""",
                number,
            )
            page.locator("#notices").get_by_text("No connection").wait_for()
            kept = page.evaluate(
                """number => {
                    const form = document.querySelectorAll('form[method=post]:not([data-queue])')[number];
                    const field = form.querySelector('input[type=text], input:not([type]), textarea');
                    return !field || field.value === 'typed';
                }""",
                number,
            )
            if not kept or not page.url.endswith(path):
                silent.append((path, number))
            tried += 1
        network(phone, off=False)
    assert silent == [] and tried > 25
    assert usecases.notebook.notebook_summary(served.notebook) == summary
    # And with the network back the same form goes through.
    go(page, served.base + "/safety/brews/kelp-5")
    network(phone, off=True)
    form = page.locator("form[action$='/smell']")
    form.locator("button").last.click()
    page.locator("#notices").get_by_text("No connection").wait_for()
    network(phone, off=False)
    form.get_by_label("earthy", exact=True).check()
    form.locator("button").last.click()
    arrive(page, "**/safety/brews/kelp-5?done=*")
    assert len(served.notebook.kept("smell", "kelp-5")) == 1


def test_a_notebook_that_cannot_write_now_keeps_the_entry_waiting_and_says_why(browser: Any, served: Served) -> None:
    phone = visit(browser, served, "phone")
    page, full = phone.page, [True]

    def refuse(route: Any) -> None:
        if full:
            told = '{"problem": "The disk is full.", "remedy": "Free some space; what was kept before is safe."}'
            route.fulfill(status=503, content_type="application/json", body=told)
        else:
            route.continue_()

    page.route("**/brews/kelp-5/readings", refuse)
    go(page, f"{served.base}/brews/kelp-5/record?what=oxygen")
    page.locator("#signal").fill("7,9")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_text("The disk is full").wait_for()
    assert page.locator("#waiting li").count() == 1
    full.clear()
    page.evaluate("dispatchEvent(new Event('online'))")
    until(page, "document.querySelector('#waiting').hidden")
    assert counts(served.notebook)["oxygen"] == 1

"""The network gone in the midst of every form: before it arrived and after it was handled. Sent again, all is there once."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import pytest

from aerobe.notebook import check
from tests.reliability.doors import covers
from tests.reliability.forms import Form, forms
from tests.reliability.served import Wire, wired
from tests.reliability.world import addresses

FORMS = forms()
WRITING = [form for form in FORMS if form.writes]
# What was done is done, and the second answer says so.
# A yard in a notebook that is not empty, a file that is none, recipes whose codes another form has closed by then.
# A package that no place sent, and a notice to a device that asked for none.
MAY_BE_REFUSED = ("/demo", "/reports/check", "/compare", "/trials/kelp-question/site", "/notices/trial")
SAYS_SO = {"/settings/senders/remove": 404, "/settings/devices/remove": 404, "/demo": 422, "/reports/check": 422}


def named(form: Form) -> str:
    return f"{form.address} {form.fields.get('what') or form.fields.get('asked') or ''}".strip()


@pytest.fixture(scope="module")
def wire(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wire]:
    with wired(tmp_path_factory.mktemp("wire")) as made:
        yield made
        assert check(made.world.notebook) == []
        assert made.complaints == []


def test_every_address_that_takes_a_form_is_tried(wire: Wire) -> None:
    assert covers(addresses(wire.world.app)) == set()


@pytest.mark.parametrize("form", FORMS, ids=named)
def test_a_form_that_never_arrived_whole_has_done_nothing_and_can_be_sent_again(wire: Wire, form: Form) -> None:
    request = wire.request(form, entry=f"before-{FORMS.index(form)}")
    before = wire.world.holds()
    for share in (0.2, 0.7, 1.0):
        wire.cut_before(request, share)
    time.sleep(0.05)
    assert wire.world.holds() == before


@pytest.mark.parametrize(
    "form",
    [pytest.param(form, marks=pytest.mark.slow) if form.heavy and not form.writes else form for form in FORMS],
    ids=named,
)
def test_a_form_whose_answer_was_lost_can_be_sent_again_and_counts_once(wire: Wire, form: Form) -> None:
    request = wire.request(form, entry=f"after-{FORMS.index(form)}")
    before = wire.world.holds()
    lost = wire.cut_after(request)
    after = wire.world.holds()
    if form.address not in MAY_BE_REFUSED:
        assert lost in (200, 303), wire.send(request)[1]
    status, answer = wire.send(request)
    assert status == SAYS_SO.get(form.address, lost), answer[:2000]
    assert wire.world.holds() == after
    if status in (404, 422):
        assert re.search(r"role=.alert.|already|remedy", answer)
    if not form.writes:
        assert after == before


def test_the_device_that_pairs_again_after_a_lost_answer_is_the_one_device(wire: Wire) -> None:
    form = next(form for form in FORMS if form.address == "/pair")
    request = wire.request(form, entry="pair-once")
    wire.cut_after(request)
    status, answer = wire.send(request)
    cookie = re.search(rf"{re.escape(wire.world.app.state.pairing.cookie)}=([^;]+)", answer)
    assert status == 303 and cookie is not None
    assert sum(item["name"] == "phone" and item.get("entry") == "pair-once" for item in wire.world.state.get("devices")) == 1
    # Somebody else who saw the code gets nothing for it.
    code = re.search(rb'name="code"\r\n\r\n(.+?)\r\n|code=([^&]+)', request)
    assert code is not None
    typed = (code[1] or code[2]).decode()
    other = Form(address="/pair", fields={"code": typed, "name": "thief"})
    assert wire.send(wire.request(other, entry="another form"))[0] == 403


def test_the_token_shown_last_is_the_one_that_counts(wire: Wire) -> None:
    form = next(form for form in FORMS if form.address == "/settings/senders")
    request = wire.request(form, entry="sender-once")
    before = len(wire.world.state.get("senders"))
    wire.cut_after(request)
    _, answer = wire.send(request)
    assert len(wire.world.state.get("senders")) == before + 1
    tokens = re.findall(r"[A-Za-z0-9_-]{32}", answer)
    from aerobe.web._senders import sender_of

    assert any(_known(wire, token, sender_of) for token in tokens)


def _known(wire: Wire, token: str, sender_of) -> bool:  # type: ignore[no-untyped-def]
    from aerobe.errors import NotAllowed

    try:
        return bool(sender_of(wire.world.state, f"Bearer {token}"))
    except NotAllowed:
        return False

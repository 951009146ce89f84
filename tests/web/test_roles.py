"""What each kind of device may do, and that shutting one out ends all of it at once."""

from __future__ import annotations

import asyncio
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from starlette.types import Message, Receive, Scope, Send

from aerobe.web._alarms import Alarm
from aerobe.web._app import page_modules
from aerobe.web._guard import Guard
from aerobe.web._pairing import IDLE_AT_MOST
from aerobe.web._roles import HELPER, OWNER, READER, ROLES, VIEWER, Access, may
from tests.web.conftest import Shed, form_token


def device(shed: Shed, role: str, address: str = "192.168.1.77") -> TestClient:
    """A paired device of the local network."""
    pairing = shed.app.state.pairing
    token = pairing.accept(pairing.offer(role=role).code, "Phone")
    return TestClient(shed.app, base_url="https://192.168.1.5:8471", client=(address, 50000), cookies={"aerobe_device": token})


def token_of(client: TestClient) -> str:
    """The form token of a device's own pages; the blind reader has the settings of the look only by POST."""
    return form_token(client.get("/pair").text)


OWNERS_ONLY = [
    "/settings/devices/offer",
    "/settings/devices/remove",
    "/settings/devices/role",
    "/settings/broker",
    "/settings/alarms",
    "/settings/senders",
    "/settings/senders/remove",
    "/demo",
]


@pytest.mark.parametrize("path", OWNERS_ONLY)
@pytest.mark.parametrize("role", [HELPER, VIEWER, READER])
def test_settings_and_devices_are_the_owners(brewing: Shed, role: str, path: str) -> None:
    phone = device(brewing, role)
    before = brewing.app.state.web_state.get("broker"), brewing.app.state.pairing.devices()
    assert phone.post(path, data={"host": "10.0.0.9", "form_token": token_of(phone)}).status_code == 403
    assert (brewing.app.state.web_state.get("broker"), brewing.app.state.pairing.devices()) == before


@pytest.mark.parametrize("path", ["/data/export", "/data/export?people=1", "/reports/brew/barrel-1.zip?people=true"])
@pytest.mark.parametrize("role", [HELPER, VIEWER, READER])
def test_only_the_owner_takes_people_out(brewing: Shed, role: str, path: str) -> None:
    assert device(brewing, role).get(path).status_code == 403


def test_a_viewer_reads_and_writes_nothing(brewing: Shed) -> None:
    phone, before = device(brewing, VIEWER), brewing.notebook.last_change()
    assert phone.get("/brews/barrel-1").status_code == 200
    sent = {"what": "oxygen", "signal": "5", "form_token": token_of(phone)}
    assert phone.post("/brews/barrel-1/readings", data=sent).status_code == 403
    assert brewing.notebook.last_change() == before


def test_a_blind_reader_sees_no_brew(brewing: Shed) -> None:
    phone = device(brewing, READER)
    for path in (
        "/",
        "/menu",
        "/record",
        "/brews/barrel-1",
        "/trials",
        "/shelf",
        "/live",
        "/parts/alarms",
        "/api/trials",
        "/data",
    ):
        answer = phone.get(path)
        assert answer.status_code == 403 and "Barrel" not in answer.text, path


def test_a_helper_sees_no_address_password_or_other_device_in_the_settings(brewing: Shed) -> None:
    brewing.app.state.web_state.change("broker", lambda _: {"host": "10.0.0.9", "port": 1883, "user": "me", "topics": []})
    answer = device(brewing, HELPER).get("/settings")
    assert answer.status_code == 200 and "10.0.0.9" not in answer.text and "Shut out" not in answer.text


def test_a_device_of_no_known_role_may_nothing() -> None:
    assert not any(may(Access(role=""), method, path, {}) for method in ("GET", "POST") for path in ("/", "/brews", "/settings"))
    assert all(may(Access(role=OWNER), "POST", path, {}) for path in OWNERS_ONLY)
    assert set(ROLES) == {OWNER, HELPER, READER, VIEWER}


@pytest.mark.parametrize("path", ["/settings/../settings/broker", "//settings/broker", "/SETTINGS/broker", "/settings%2Fbroker"])
def test_no_spelling_of_a_path_gets_round_a_role(brewing: Shed, path: str) -> None:
    phone = device(brewing, HELPER)
    answer = phone.post(path, data={"host": "10.0.0.9", "form_token": token_of(phone)})
    assert answer.status_code in (403, 404, 405)
    assert brewing.app.state.web_state.get("broker") == {}


def test_codes_of_a_device_end_with_it(brewing: Shed) -> None:
    pairing = brewing.app.state.pairing
    phone = device(brewing, OWNER)
    asked = phone.app.state.pairing.access_of(phone.cookies["aerobe_device"])
    made = pairing.offer(by=asked.device)
    pairing.remove(asked.device)
    other = TestClient(brewing.app, base_url="https://192.168.1.5:8471", client=("192.168.1.78", 1))
    assert other.post("/pair", data={"code": made.code, "name": "x", "form_token": token_of(other)}).status_code == 403


def test_the_form_that_let_a_device_in_does_not_let_it_in_again_after_it_was_shut_out(brewing: Shed) -> None:
    pairing = brewing.app.state.pairing
    code = pairing.offer().code
    pairing.accept(code, "Phone", entry="form-1")
    assert pairing.accept(code, "Phone", entry="form-1")  # the answer was lost: once more
    pairing.remove(pairing.devices()[0]["id"])
    phone = TestClient(brewing.app, base_url="https://192.168.1.5:8471", client=("192.168.1.77", 1))
    sent = {"code": code, "name": "Phone", "entry": "form-1", "form_token": token_of(phone)}
    assert phone.post("/pair", data=sent).status_code == 403


def test_the_live_stream_of_a_device_ends_with_it(brewing: Shed) -> None:
    live = brewing.app.state.live

    async def listen() -> list[str]:
        mine, other = live.listen("phone"), live.listen("tablet")
        live.shut_out("phone")
        heard = [words async for words, _ in live.topics(mine) if words]
        assert live.listening("tablet") == 1 and live.listening("phone") == 0
        live.leave(other)
        return heard

    assert asyncio.run(asyncio.wait_for(listen(), 5.0)) == []


def test_a_device_shut_out_is_told_to_throw_its_pages_away(brewing: Shed) -> None:
    phone = device(brewing, HELPER)
    assert "x-aerobe-shut-out" not in phone.get("/").headers
    brewing.app.state.pairing.remove(brewing.app.state.pairing.devices()[0]["id"])
    assert phone.get("/").headers["x-aerobe-shut-out"] == "yes"


def test_a_device_that_stayed_away_is_paired_anew_and_one_that_comes_is_renewed(brewing: Shed) -> None:
    phone = device(brewing, HELPER)
    brewing.clock.turn(hours=(IDLE_AT_MOST - timedelta(days=1)).total_seconds() / 3600)
    assert "aerobe_device" in phone.get("/menu").headers.get("set-cookie", "")
    assert "aerobe_device" not in phone.get("/menu").headers.get("set-cookie", "")
    brewing.clock.turn(hours=(IDLE_AT_MOST + timedelta(days=2)).total_seconds() / 3600)
    assert phone.get("/menu").status_code == 403


def test_a_kept_password_is_not_sent_to_another_place(shed: Shed) -> None:
    state = shed.app.state.web_state
    broker = {"host": "10.0.0.9", "port": "1883", "user": "me", "topics": ""}
    for change in ({"port": "1884"}, {"host": "10.0.0.66"}, {"user": "you"}):
        shed.post(
            "/settings/broker", **{"host": "10.0.0.9", "port": "1883", "user": "me", "broker_password": "hush", "topics": ""}
        )
        assert state.get("broker")["password"] == "hush"
        shed.post("/settings/broker", **{**broker, **change})
        assert state.get("broker")["password"] == ""
    mail = {"mail_to": "a@b.example", "mail_host": "m.example", "mail_port": "587", "mail_user": "me"}
    shed.post("/settings/alarms", **mail, mail_password="hush")
    shed.post("/settings/alarms", **mail)
    assert state.get("alarms")["mail_password"] == "hush"
    shed.post("/settings/alarms", **{**mail, "mail_host": "evil.example"})
    assert state.get("alarms")["mail_password"] == ""


@pytest.mark.parametrize("value", ['"a\\015\\012Set-Cookie: b=c; ' + "x" * 40 + '"', "é" * 40, "short", "a" * 5000])
def test_an_odd_session_cookie_is_replaced_and_never_sent_back(shed: Shed, value: str) -> None:
    bare = TestClient(shed.app, base_url="http://localhost")
    answer = bare.get("/pair", headers={"cookie": f"aerobe_session={value}".encode()})
    assert answer.status_code == 200
    assert "b=c" not in answer.headers.get("set-cookie", "") and "\r" not in str(answer.headers)


def test_plain_http_is_sent_on_to_https_where_there_is_one(shed: Shed) -> None:
    from aerobe.web import ServeSettings, create_app

    app = create_app(shed.notebook, clock=shed.clock, settings=ServeSettings(watching=False, secure_port=8643))
    phone = TestClient(app, base_url="http://192.168.1.5:8642", client=("192.168.1.77", 1))
    answer = phone.get("/pair?code=ABC", follow_redirects=False)
    assert answer.status_code == 307 and answer.headers["location"] == "https://192.168.1.5:8643/pair?code=ABC"
    assert phone.get("/pair/authority.crt", follow_redirects=False).status_code == 404  # none in this app, but not sent on
    here = TestClient(app, base_url="http://localhost:8642")
    assert here.get("/pair", follow_redirects=False).status_code == 200


def test_looking_at_the_pairing_page_spends_no_attempt(shed: Shed) -> None:
    phone = TestClient(shed.app, base_url="https://192.168.1.5:8471", client=("192.168.1.77", 1))
    for _ in range(20):
        token = form_token(phone.get("/pair").text)
    code = shed.app.state.pairing.offer().code
    sent = {"code": code, "name": "Phone", "form_token": token}
    assert phone.post("/pair", data=sent, follow_redirects=False).status_code == 303


def test_a_blind_reader_records_under_the_code_and_learns_nothing_else(brewing: Shed) -> None:
    from dataclasses import replace

    from aerobe.records import Brew

    old = brewing.notebook.get(Brew, "barrel-1")
    brewing.notebook.change(replace(old, blind_code="XD6"), at=brewing.clock())
    phone = device(brewing, READER)
    shown = phone.get("/blind").text
    assert "XD6" in shown and "Barrel" not in shown and "barrel-1" not in shown and "Leaf" not in shown
    sent = {"code": ":XD6", "assay": "home-colour-test", "signal": "41", "form_token": form_token(shown), "entry": "b1"}
    answer = phone.post("/blind/readings", data=sent, follow_redirects=False)
    assert answer.status_code == 303 and "barrel" not in answer.headers["location"].lower()
    assert [item.signal for item in brewing.notebook.readings("barrel-1")] == [41.0]
    wrong = phone.post("/blind/readings", data={**sent, "code": ":ZZZ", "entry": "b2"})
    assert wrong.status_code == 404 or wrong.status_code == 422
    assert "barrel-1" not in wrong.text


def test_neither_a_stranger_nor_a_blind_reader_is_told_of_an_alarm_or_a_loss(brewing: Shed) -> None:
    at = brewing.clock()
    alarm = Alarm(brew="barrel-1", brew_name="Barrel 1", kind="oxygen", says="Oxygen is low.", at=at, urgent=True)
    brewing.app.state.watch._standing = (alarm,)
    assert "Oxygen is low." in brewing.client.get("/menu").text
    brewing.notebook.lost = ("a reading of Barrel 1",)
    stranger = TestClient(brewing.app, base_url="https://192.168.1.5:8471", client=("192.168.1.79", 1))
    told = [stranger.get("/pair"), stranger.post("/pair", data={"code": "AAAA-AAAA", "form_token": token_of(stranger)})]
    reader = device(brewing, READER)
    told += [reader.get(path) for path in ("/blind", "/offline", "/pair")]
    assert [answer.status_code for answer in told] == [200, 403, 200, 200, 200]
    assert not any("Barrel" in answer.text or "Oxygen is low" in answer.text for answer in told)


# What is open to whom, over every address of the app: whoever adds one decides here who may.
TO_STRANGERS = {("GET", "/pair"), ("POST", "/pair"), ("GET", "/pair/authority.crt"), ("POST", "/log/points")}
TO_READERS = TO_STRANGERS | {
    ("GET", "/blind"),
    ("POST", "/blind/readings"),
    ("GET", "/app.webmanifest"),
    ("GET", "/service-worker.js"),
    ("GET", "/offline"),
    ("POST", "/settings/look"),
}
TO_VIEWERS = {("POST", "/pair"), ("POST", "/log/points"), ("POST", "/settings/look")}  # beside what can be read
NOT_TO_HELPERS = {
    ("GET", "/data/export"),
    ("POST", "/data/export"),
    ("POST", "/demo"),
    *(("POST", f"/settings/devices/{what}") for what in ("offer", "role", "remove")),
    *(("POST", f"/settings/{what}") for what in ("senders", "senders/remove", "broker", "alarms", "units")),
}


def every_address() -> list[tuple[str, str, str]]:
    """Method, pattern, and an address of it, of every page and every address for programs."""
    return [
        (method, route.path, re.sub(r"\{\w+\}", "x", route.path))
        for module in page_modules()
        for route in module.router.routes
        for method in sorted(route.methods - {"HEAD"})
    ]


def test_every_address_is_open_to_whom_the_table_says(brewing: Shed) -> None:
    every = every_address()
    assert len(every) > 150
    assert {(method, path) for method, path, _ in every} >= TO_READERS | TO_VIEWERS | NOT_TO_HELPERS
    reached: list[str] = []

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        reached.append(scope["path"])

    pairing = brewing.app.state.pairing
    guard = Guard(app, pairing=pairing, burst=1e9, per_s=1e9)
    tokens = {role: pairing.accept(pairing.offer(role=role).code, "Phone") for role in (READER, VIEWER, HELPER)}

    async def let_in(role: str, method: str, address: str) -> bool:
        cookie = f"{pairing.cookie}={tokens.get(role, '')}".encode()
        scope = {"type": "http", "method": method, "path": address, "scheme": "https", "query_string": b""}
        scope |= {"headers": [(b"host", b"192.168.1.5:8471"), (b"cookie", cookie)], "client": ("192.168.1.79", 1)}
        reached.clear()
        await guard(scope, _nothing, _away)
        return bool(reached)

    for method, path, address in every:
        way = (method, path)
        found = {role: asyncio.run(let_in(role, method, address)) for role in ("", READER, VIEWER, HELPER)}
        assert found[""] == (way in TO_STRANGERS), way
        assert found[READER] == (way in TO_READERS), way
        assert found[VIEWER] == (way in TO_VIEWERS or (method == "GET" and way not in NOT_TO_HELPERS)), way
        assert found[HELPER] == (way not in NOT_TO_HELPERS), way
    assert not {path for method, path, _ in every if method not in ("GET", "POST")}


async def _nothing() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}


async def _away(_: Message) -> None:
    """Nobody reads the answer."""

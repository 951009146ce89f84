"""Who gets in, how much, how often; and what a browser may do with a page."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe.web import ServeSettings, WebState, create_app, open_state
from aerobe.web._guard import Bucket
from tests.web.conftest import Clock, Shed, form_token


def stranger(shed: Shed, address: str = "192.168.1.77") -> TestClient:
    """A device of the local network."""
    return TestClient(shed.app, base_url="https://192.168.1.5:8471", client=(address, 50000))


@pytest.mark.parametrize(
    "path", ["/", "/menu", "/data/export", "/settings", "/record", "/live", "/openapi.json", "/parts/alarms"]
)
def test_a_device_that_is_not_paired_sees_nothing(brewing: Shed, path: str) -> None:
    answer = stranger(brewing).get(path)
    assert answer.status_code == 403
    assert "Barrel" not in answer.text


def test_a_device_that_is_not_paired_writes_nothing(brewing: Shed) -> None:
    before = brewing.notebook.last_change()
    answer = stranger(brewing).post("/brews/barrel-1/readings", data={"what": "oxygen", "signal": "1"})
    assert answer.status_code == 403
    assert brewing.notebook.last_change() == before


def test_a_code_lets_one_device_in_once(brewing: Shed) -> None:
    code = brewing.app.state.pairing.offer().code
    phone, other = stranger(brewing), stranger(brewing, "192.168.1.78")
    token = form_token(phone.get("/pair", params={"code": code}).text)
    sent = {"code": code.lower(), "name": "Phone", "form_token": token}
    assert phone.post("/pair", data=sent, follow_redirects=False).status_code == 303
    assert phone.get("/").status_code == 200
    sent["form_token"] = form_token(other.get("/pair").text)
    assert other.post("/pair", data=sent).status_code == 403
    assert other.get("/").status_code == 403


def test_looking_at_the_pairing_page_does_not_spend_the_code(shed: Shed) -> None:
    code = shed.app.state.pairing.offer().code
    for _ in range(3):
        stranger(shed).get("/pair", params={"code": code})
    assert shed.app.state.pairing.accept(code, "Phone")


def test_a_code_ends_after_ten_minutes(shed: Shed) -> None:
    code = shed.app.state.pairing.offer().code
    shed.clock.turn(minutes=11)
    phone = stranger(shed)
    answer = phone.post("/pair", data={"code": code, "name": "Phone", "form_token": form_token(phone.get("/pair").text)})
    assert answer.status_code == 403
    assert "new code" in answer.text


def test_guessing_codes_is_slowed_down(shed: Shed) -> None:
    phone = stranger(shed)
    token = form_token(phone.get("/pair").text)
    answers = [phone.post("/pair", data={"code": "AAAAAAAA", "form_token": token}).status_code for _ in range(8)]
    assert answers[-1] == 429


def test_a_device_that_was_shut_out_sees_nothing(shed: Shed) -> None:
    code = shed.app.state.pairing.offer().code
    phone = stranger(shed)
    phone.post("/pair", data={"code": code, "name": "Phone", "form_token": form_token(phone.get("/pair").text)})
    assert phone.get("/menu").status_code == 200
    shed.post("/settings/devices/remove", device=shed.app.state.pairing.devices()[0]["id"])
    assert phone.get("/menu").status_code == 403


def test_devices_and_forms_outlive_a_restart_of_the_server(shed: Shed, tmp_path: Path) -> None:
    token = shed.app.state.pairing.accept(shed.app.state.pairing.offer().code, "Phone")
    again = create_app(
        shed.notebook, state=open_state(tmp_path / "app.json"), clock=shed.clock, settings=ServeSettings(watching=False)
    )
    phone = TestClient(again, base_url="https://192.168.1.5:8471", client=("192.168.1.77", 1), cookies={"aerobe_device": token})
    assert phone.get("/menu").status_code == 200
    old_page = TestClient(again, base_url="http://localhost", cookies=dict(shed.client.cookies))
    sent = old_page.post("/settings/look", data={"look": "dark"}, headers={"x-aerobe-form": shed.token}, follow_redirects=False)
    assert sent.status_code == 303


def test_the_memory_of_the_app_keeps_no_token_in_the_clear(shed: Shed, tmp_path: Path) -> None:
    token = shed.app.state.pairing.accept(shed.app.state.pairing.offer().code, "Phone")
    kept = (tmp_path / "app.json").read_text()
    assert "Phone" in kept and token not in kept
    assert (tmp_path / "app.json").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "headers", [{}, {"x-aerobe-form": "0" * 64}, {"x-aerobe-form": "ü".encode()}], ids=["none", "wrong", "odd"]
)
def test_a_form_without_the_pages_token_changes_nothing(shed: Shed, headers: dict[str, str | bytes]) -> None:
    assert shed.client.post("/settings/look", data={"look": "dark"}, headers=headers).status_code == 403


def test_a_form_of_a_foreign_page_changes_nothing(shed: Shed) -> None:
    headers = {"x-aerobe-form": shed.token, "origin": "https://elsewhere.example"}
    assert shed.client.post("/settings/look", data={"look": "dark"}, headers=headers).status_code == 403


def test_a_token_of_another_session_is_of_no_use(shed: Shed) -> None:
    other = TestClient(shed.app, base_url="http://localhost")
    other.get("/menu")
    assert other.post("/settings/look", data={"look": "dark"}, headers={"x-aerobe-form": shed.token}).status_code == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "aerobe.evil.example:8470", "", "me@127.0.0.1", "[::1", "[fe80::1%25x]"]
)
def test_a_foreign_name_for_this_machine_is_refused(shed: Shed, host: str) -> None:
    assert shed.client.get("/menu", headers={"host": host}).status_code == 421


def test_a_request_of_two_lengths_is_refused_and_its_line_closed(shed: Shed) -> None:
    """RFC 9112, 6.1: such a message may be an attempt at request smuggling and ought to be handled as an error."""
    sent = {"transfer-encoding": "chunked", "content-length": "4"}
    answer = shed.client.request("POST", "/pair", content=b"a=b&", headers=sent)
    assert answer.status_code == 400 and answer.headers["connection"] == "close"


@pytest.mark.parametrize("host", ["localhost:8470", "LOCALHOST:8470", "127.0.0.1", "[::1]:8470", "192.168.1.5:8471"])
def test_addresses_of_this_machine_are_known(shed: Shed, host: str) -> None:
    assert shed.client.get("/menu", headers={"host": host}).status_code == 200


def test_every_answer_carries_the_strict_policy(shed: Shed) -> None:
    for path in ("/", "/menu", "/static/app.css", "/nothing", "/data/export", "/app.webmanifest"):
        headers = shed.client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_a_body_that_is_too_large_is_refused_before_it_is_read(shed: Shed) -> None:
    answer = shed.post("/settings/look", look="x" * 2_000_000)
    assert answer.status_code == 413
    assert "smaller" in answer.text


def test_a_body_that_hides_its_size_is_cut_off(shed: Shed) -> None:
    def endless():  # type: ignore[no-untyped-def]
        for _ in range(40):
            yield b"x" * 100_000

    headers = {"x-aerobe-form": shed.token, "content-type": "application/x-www-form-urlencoded"}
    assert shed.client.post("/settings/look", content=endless(), headers=headers).status_code == 413


def test_many_requests_at_once_are_slowed_down(shed: Shed) -> None:
    app = create_app(
        shed.notebook,
        state=WebState(None, {"secret": "00" * 32}),
        clock=shed.clock,
        settings=ServeSettings(watching=False, burst=10, per_s=1e-6),
    )
    client = TestClient(app, base_url="http://localhost")
    codes = [client.get("/static/app.css").status_code for _ in range(20)]
    assert codes[0] == 200 and codes[-1] == 429


def test_the_bucket_fills_again_and_forgets_old_addresses() -> None:
    clock = Clock()
    bucket = Bucket(burst=2, per_s=1, clock=lambda: clock.now.timestamp(), remember=10)
    assert [bucket.take("a") for _ in range(3)] == [True, True, False]
    clock.turn(seconds=1)
    assert bucket.take("a")
    for number in range(50):
        bucket.take(str(number))
    assert len(bucket._left) <= 10


def test_a_new_memory_is_made_and_a_damaged_one_is_said(tmp_path: Path) -> None:
    from aerobe.errors import NotebookFault

    open_state(tmp_path / "app.json").change("devices", lambda kept: [*kept, {"id": "1", "hash": "x", "name": "a", "since": ""}])
    assert len(open_state(tmp_path / "app.json").get("devices")) == 1
    (tmp_path / "app.json").write_text("{")
    with pytest.raises(NotebookFault, match="no reading is lost"):
        open_state(tmp_path / "app.json")


def test_two_notebooks_on_one_machine_do_not_push_each_others_devices_out(shed: Shed, tmp_path: Path) -> None:
    """A browser sends its cookies to every port of a machine."""
    other = create_app(shed.notebook, state=open_state(tmp_path / "other.json"), settings=ServeSettings(watching=False))
    phone = TestClient(shed.app, base_url="https://192.168.1.5:8471", client=("192.168.1.77", 50000))
    for app in (shed.app, other):
        with TestClient(app, base_url="https://192.168.1.5:8471", client=("192.168.1.77", 50000), cookies=phone.cookies) as at:
            token = form_token(at.get("/pair").text)
            code = app.state.pairing.offer().code
            sent = at.post("/pair", data={"code": code, "form_token": token}, follow_redirects=False)
            assert sent.status_code == 303
            phone.cookies.update(at.cookies)
    assert phone.get("/menu").status_code == 200


def test_a_cookie_of_something_else_on_this_machine_does_no_harm(shed: Shed) -> None:
    token = shed.app.state.pairing.accept(shed.app.state.pairing.offer().code, "phone")
    phone = TestClient(shed.app, base_url="http://192.168.1.5:8470", client=("192.168.1.77", 50000))
    assert (
        phone.get("/menu", headers={"cookie": f'odd={{"a": [1]}}; @=; {shed.app.state.pairing.cookie}={token}'}).status_code
        == 200
    )


@pytest.mark.parametrize(
    "name",
    [
        "x-forwarded-for",
        "forwarded",
        "x-real-ip",
        "x-forwarded-host",
        "via",
        "x-forwarded-server",
        "cf-connecting-ip",
        "x-client-ip",
    ],
)
def test_what_is_handed_on_by_something_on_this_machine_is_not_its_owner(shed: Shed, name: str) -> None:
    assert shed.client.get("/menu", headers={name: "127.0.0.1"}).status_code == 403


def test_private_pages_are_kept_by_nobody_else_and_asked_about_again(shed: Shed) -> None:
    assert shed.client.get("/menu").headers["cache-control"] == "private, no-cache"


@pytest.mark.parametrize("wanted", ["text/html", "application/json"])
def test_a_bug_of_ours_is_answered_in_words(shed: Shed, monkeypatch: pytest.MonkeyPatch, wanted: str) -> None:
    def burst(*_: object, **__: object) -> object:
        raise RuntimeError("<odd>")

    monkeypatch.setattr("aerobe.usecases.notebook.notebook_summary", burst)
    careful = TestClient(shed.app, base_url="http://localhost", raise_server_exceptions=False)
    answer = careful.get("/data", headers={"accept": wanted})
    assert answer.status_code == 500 and "a fault of the program" in answer.text and "odd" not in answer.text
    assert answer.headers["content-type"].startswith(wanted) and "content-security-policy" in answer.headers

"""Notices by push: encrypted as the standard's own example, signed, sent to public services only, ended with the device."""

from __future__ import annotations

import json
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
import trustme
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from aerobe.errors import UnusableRecord
from aerobe.web import _push
from aerobe.web._alarms import Alarm, AlarmSettings, Dispatch
from aerobe.web._push import Notices, PushRequest, Subscription, encrypted, plain_bytes, post, require_push_endpoint, signed
from tests.web.conftest import START, Shed
from tests.web.test_alarms import web_address

# RFC 8291, section 5 and appendix A: keys, salt and the message as it is sent, all as printed there.
SENDER = "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"
DEVICE = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
DEVICE_PRIVATE = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"
SECRET = "BTBZMqHH6r4Tts7J_aSIgg"
SALT = "DGv6ra1nlYgDCS1FRnbzlw"
SENT = (
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6"
    "cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
)
ENDPOINT = "https://push.example.org/wpush/v2/abc"
ASKED = {"endpoint": ENDPOINT, "keys": {"p256dh": DEVICE, "auth": SECRET}}
LOW = Alarm(brew="b", brew_name="Barrel", kind="oxygen low", says="Oxygen is 1.0 mg/L.", at=START, urgent=True)


def private(text: str) -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int.from_bytes(plain_bytes(text), "big"), ec.SECP256R1())


def test_a_message_is_encrypted_as_the_standard_prints_it() -> None:
    made = encrypted(
        b"When I grow up, I want to be a watermelon",
        p256dh=plain_bytes(DEVICE),
        auth=plain_bytes(SECRET),
        sender=private(SENDER),
        salt=plain_bytes(SALT),
    )
    assert made == plain_bytes(SENT)


def read_by_device(body: bytes) -> bytes:
    """What a browser does with a message (RFC 8188 section 2, RFC 8291 section 3), written apart from the sender."""
    salt, public, sealed = body[:16], body[21 : 21 + body[20]], body[21 + body[20] :]
    mine = private(DEVICE_PRIVATE)
    shared = mine.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), public))

    def hkdf(secret: bytes, salted: bytes, info: bytes, length: int) -> bytes:
        return HKDF(hashes.SHA256(), length, salted, info).derive(secret)

    secret = hkdf(shared, plain_bytes(SECRET), b"WebPush: info\0" + plain_bytes(DEVICE) + public, 32)
    key, nonce = hkdf(secret, salt, b"Content-Encoding: aes128gcm\0", 16), hkdf(secret, salt, b"Content-Encoding: nonce\0", 12)
    return AESGCM(key).decrypt(nonce, sealed, None).rstrip(b"\0").removesuffix(b"\x02")


def test_a_signature_says_who_sends_to_whom_and_not_for_long() -> None:
    key = private(SENDER)
    scheme, _, rest = signed(ENDPOINT, key, now=START, contact="mailto:me@tea.example").partition(" ")
    token, public = (part.split("=", 1)[1] for part in rest.split(", "))
    head, claims, signature = token.split(".")
    assert scheme == "vapid" and json.loads(plain_bytes(head)) == {"typ": "JWT", "alg": "ES256"}
    told = json.loads(plain_bytes(claims))
    assert told["aud"] == "https://push.example.org" and told["sub"] == "mailto:me@tea.example"
    assert 0 < told["exp"] - START.timestamp() <= 24 * 3600  # RFC 8292, section 2
    raw = plain_bytes(signature)
    point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), plain_bytes(public))
    der = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    point.verify(der, f"{head}.{claims}".encode(), ec.ECDSA(hashes.SHA256()))
    assert plain_bytes(public) == key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


@pytest.mark.parametrize(
    "endpoint",
    [
        "http://push.example.org/a",
        "https://192.168.1.1/a",
        "https://127.1/a",
        "https://[::1]/a",
        "https://localhost/a",
        "https://router/a",
        "https://nas.local/a",
        "https://nas.lan./a",
        "https://push.example.org:8443/a",
        "https://me@push.example.org/a",
        "ftp://push.example.org/a",
    ],
)
def test_only_a_public_service_is_ever_called(endpoint: str) -> None:
    with pytest.raises(UnusableRecord):
        require_push_endpoint(endpoint)


def test_a_public_name_for_an_address_of_this_network_is_not_called(shed: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_push, "post", lambda request: pytest.fail("called"))
    for inside in ("192.168.1.1", "127.0.0.1", "fd00::1", "169.254.169.254"):
        monkeypatch.setattr(_push, "addresses_of", lambda host, inside=inside: ["93.184.215.14", inside])
        with pytest.raises(OSError, match="no public address"):
            Notices(shed.state, shed.clock).tell(subscription(), (LOW,))


def subscription(device: str = "") -> Subscription:
    return Subscription(device=device, endpoint=ENDPOINT, p256dh=DEVICE, auth=SECRET)


@contextmanager
def push_service(status: int = 201) -> Iterator[tuple[int, Any, list[tuple[dict[str, str], bytes]]]]:
    """A push service of our own on this machine, over TLS."""
    got: list[tuple[dict[str, str], bytes]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            head = {name.lower(): value for name, value in self.headers.items()}
            got.append((head, self.rfile.read(int(head["content-length"]))))
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    authority = trustme.CA()
    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert("localhost").configure_cert(context)
        server.socket = context.wrap_socket(server.socket, server_side=True)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        trusted = ssl.create_default_context()
        authority.configure_trust(trusted)
        yield server.server_port, trusted, got
        server.shutdown()


def test_what_arrives_at_a_service_can_be_read_by_the_device_alone(shed: Shed) -> None:
    made = Notices(shed.state, shed.clock).request(subscription(), {"title": "Barrel", "body": "Oxygen is 1.0 mg/L."})
    with push_service() as (port, trusted, got):
        local = PushRequest(endpoint=f"https://localhost:{port}/a", headers=made.headers, body=made.body)
        assert post(local, trusted=trusted) == 201
        with pytest.raises(OSError):
            post(local)  # a certificate that nobody vouches for
    ((head, body),) = got
    assert head["content-encoding"] == "aes128gcm" and head["authorization"].startswith("vapid t=") and int(head["ttl"]) > 0
    assert b"Oxygen" not in body and json.loads(read_by_device(body)) == {"title": "Barrel", "body": "Oxygen is 1.0 mg/L."}


def test_a_device_asks_and_is_told_and_one_that_the_service_forgot_is_forgotten(
    shed: Shed, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = shed.client.get("/reminders").text
    assert shed.app.state.watch.notices.public_key() in page
    assert ask(shed, "/notices", ASKED).status_code == 200
    assert ask(shed, "/notices", ASKED).status_code == 200 and len(shed.state.get("pushes")) == 1  # the same once
    sent: list[PushRequest] = []
    status = [201]
    monkeypatch.setattr(_push, "addresses_of", lambda host: ["93.184.215.14"])
    monkeypatch.setattr(_push, "post", lambda request: sent.append(request) or status[0])
    assert ask(shed, "/notices/trial", {}).status_code == 200 and len(sent) == 1
    watch = shed.app.state.watch
    for _ in range(2):  # once for an alarm that stands
        watch.dispatch.send(watch.dispatch.due((LOW,), AlarmSettings(), now=START), AlarmSettings(), now=START)
    assert json.loads(read_by_device(sent[1].body))["title"] == "Barrel" and len(sent) == 2
    status[0] = 410
    watch.dispatch.send((LOW,), AlarmSettings(), now=START + timedelta(hours=3))
    assert shed.state.get("pushes") == [] and watch.dispatch.says == ""


def ask(shed: Shed, path: str, content: dict[str, Any]) -> Any:
    headers = {"x-aerobe-form": shed.token, "accept": "application/json"}
    return shed.client.post(path, json=content, headers=headers)


def test_what_a_browser_cannot_have_sent_is_refused(shed: Shed) -> None:
    keys = ASKED["keys"]
    for wrong in (
        {},
        {"endpoint": ENDPOINT},
        {"endpoint": ENDPOINT, "keys": {"p256dh": 5, "auth": SECRET}},
        {"endpoint": ENDPOINT, "keys": {**keys, "auth": "AAAA"}},  # type: ignore[dict-item]
        {"endpoint": ENDPOINT, "keys": {**keys, "p256dh": SECRET}},  # type: ignore[dict-item]
        {"endpoint": "https://192.168.1.1/a", "keys": keys},
    ):
        assert ask(shed, "/notices", wrong).status_code == 422
    assert shed.state.get("pushes") == []
    headers = {"content-type": "application/json", "accept": "application/json"}
    assert shed.client.post("/notices", content=json.dumps(ASKED), headers=headers).status_code == 403  # from a page elsewhere


def test_a_device_that_is_shut_out_idle_or_may_see_no_brew_is_told_nothing(shed: Shed) -> None:
    notices = shed.app.state.watch.notices
    pairing = shed.app.state.pairing
    pairing.accept(pairing.offer().code, "phone")
    device = pairing.devices()[0]["id"]
    notices.add(device, ASKED)
    assert [item.device for item in notices.subscriptions()] == [device]
    pairing.change_role(device, "blind reader")
    assert notices.subscriptions() == [] and notices.ways() == {}
    pairing.change_role(device, "viewer")
    assert len(notices.ways()) == 1
    shed.clock.turn(days=61)
    assert notices.subscriptions() == []
    shed.clock.turn(days=-61)
    pairing.remove(device)
    assert shed.state.get("pushes") == []


def test_the_key_stays_the_same_and_lies_with_the_secrets(shed: Shed) -> None:
    first = Notices(shed.state, shed.clock).public_key()
    assert Notices(shed.state, shed.clock).public_key() == first and len(plain_bytes(first)) == 65


def test_a_way_that_fails_makes_no_other_way_repeat_itself() -> None:
    told: list[int] = []

    def fails(alarms: tuple[Alarm, ...]) -> None:
        told.append(len(alarms))
        raise OSError("away")

    dispatch = Dispatch(lambda: {"notice x": fails})
    with web_address() as (address, got):
        settings = AlarmSettings(webhook=address)
        for minutes in (0, 1, 2):
            now = START + timedelta(minutes=minutes)
            dispatch.send(dispatch.due((LOW,), settings, now=now), settings, now=now)
    assert len(got) == 1 and len(told) == 3 and dispatch.says == "notice: away"
